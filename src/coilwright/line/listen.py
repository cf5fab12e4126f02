"""Listen to a machine over MQTT: a shot is acknowledged to the broker only when it is in the database to stay.

The broker keeps a session under a name that is the same at every start, so that what comes while nobody listens waits there.
Everything runs in one thread: an acknowledgement can only go out on the connection its message came in by.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from coilwright.errors import BadInput, CoilwrightError, Fault, MissingExtra
from coilwright.line.intake import Intake, Message

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

_KEEP_ALIVE = 30  # s
_MOST = 200  # messages of one transaction
_FIRST_WAIT, LONGEST_WAIT = 0.5, 60.0  # s between attempts, doubled each time
_STEADY = 10.0  # s of connection after which the waits begin anew
_HOPELESS = (
    "Bad user name or password",
    "Not authorized",
    "Client identifier not valid",
    "Unsupported protocol version",
)


@dataclass(frozen=True)
class Address:
    """mqtt://[user[:password]@]host[:port]/topic, or mqtts:// with TLS. The topic may hold + and #."""

    host: str
    port: int
    topic: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    secure: bool = False

    def __str__(self) -> str:
        return f"mqtt{'s' if self.secure else ''}://{self.host}:{self.port}/{self.topic}"


def read_address(text: str) -> Address:
    """Raises BadInput in one sentence."""
    example = "write e.g. mqtt://broker.local:1883/press2/shots"
    try:
        found = urlsplit(text.replace("#", "%23"))
        port = found.port
    except ValueError as error:
        raise BadInput(Fault("address", f"cannot be read ({error}); {example}")) from None
    if found.scheme not in ("mqtt", "mqtts") or not found.hostname:
        raise BadInput(
            Fault("address", f"must begin with mqtt:// or mqtts:// and name a host; received {text[:80]!r}; {example}")
        )
    topic = unquote(found.path.removeprefix("/"))
    parts = topic.split("/")
    wild = any(("+" in p and p != "+") or ("#" in p and p != "#") for p in parts) or "#" in parts[:-1]
    if not topic or wild or "\0" in topic or len(topic.encode()) > 65535:
        what = f"must end in a topic, + and # standing alone between slashes and # last; received {topic[:80]!r}; {example}"
        raise BadInput(Fault("address", what))
    secure = found.scheme == "mqtts"
    user, password = (None if x is None else unquote(x) for x in (found.username, found.password))
    return Address(found.hostname, port or (8883 if secure else 1883), topic, user, password, secure)


class Listener:
    """One listener of one machine. `say` is told what a person watching would want to know."""

    def __init__(
        self, address: Address, intake: Intake, say: Callable[[str], None], first_wait: float = _FIRST_WAIT
    ) -> None:
        self.address, self.intake, self.say, self.first_wait = address, intake, say, first_wait
        self.connections = self.unsafe = 0
        self._box: list[MQTTMessage] = []
        self._refused: str | None = None
        self._joined = False
        self._client = self._made()

    @property
    def name(self) -> str:
        """The session's name at the broker: the same whenever this machine is listened to for this store."""
        key = f"{self.intake.map.machine}|{self.intake.store.place}|{self.address.topic}"
        return "coilwright-" + hashlib.sha256(key.encode()).hexdigest()[:12]

    def run(self, stop: Callable[[], bool]) -> None:
        """Listen until `stop`. Raises BadInput when the broker or the store refuses for good; outages are waited out."""
        wait = self.first_wait
        while not stop():
            begun = time.monotonic()
            why = self._connect() or self._stay(stop)
            if stop():
                break
            if self._refused:
                raise BadInput(Fault(str(self.address), self._refused))
            wait = self.first_wait if time.monotonic() - begun > _STEADY else wait
            self.say(f"{self.address}: {why}; trying again in {wait:.1f} s")
            pause(wait, stop)
            wait = min(2.0 * wait, LONGEST_WAIT)
        self._client.disconnect()

    def _made(self) -> Client:
        try:
            from paho.mqtt.client import Client
            from paho.mqtt.enums import CallbackAPIVersion
        except ImportError:
            raise MissingExtra("paho-mqtt", "floor", "listening to a machine") from None
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=self.name, clean_session=False, manual_ack=True,
            reconnect_on_failure=False,
        )  # fmt: skip
        if self.address.user is not None:
            client.username_pw_set(self.address.user, self.address.password)
        if self.address.secure:
            client.tls_set()
        client.on_connect, client.on_subscribe = self._on_connect, self._on_subscribe
        client.on_message = lambda _client, _data, message: self._box.append(message)
        return client

    def _connect(self) -> str | None:
        self._box.clear()
        try:
            self._client.connect(self.address.host, self.address.port, _KEEP_ALIVE)
        except (OSError, ValueError) as error:
            return f"the broker cannot be reached ({error})"
        return None

    def _stay(self, stop: Callable[[], bool]) -> str:
        """Read, keep, acknowledge, until the connection is lost; why it was."""
        while not stop():
            code = self._client.loop(0.2)
            while code == 0 and 0 < len(self._box) < _MOST:
                had = len(self._box)
                code = self._client.loop(0.0)
                if len(self._box) == had:
                    break
            if self._box and not self._keep(stop):
                break
            if self._refused or code != 0:
                return "the connection was lost"
        return "stopped"

    def _keep(self, stop: Callable[[], bool]) -> bool:
        """Into the database, however long that takes; only then acknowledged. False when stopped before."""
        wait = self.first_wait
        batch = [Message(bytes(m.payload), m.dup or m.retain) for m in self._box]
        while True:
            try:
                self.intake.take(batch)
                break
            except BadInput:
                raise
            except CoilwrightError as error:
                self.say(f"{error}; kept waiting at the broker, trying again in {wait:.1f} s")
            pause(wait, stop)
            if stop():
                return False
            wait = min(2.0 * wait, LONGEST_WAIT)
        for message in self._box:
            if message.qos:
                self._client.ack(message.mid, message.qos)
            elif not message.retain:
                self._tell_unsafe()
        self._box.clear()
        if self.intake.heard.last:
            self.say(f"set aside, {self.intake.heard.last}")
        return True

    def _tell_unsafe(self) -> None:
        if self.unsafe == 0:
            self.say(
                "messages come with quality of service 0: let the machine publish with 1, else an outage loses shots"
            )
        self.unsafe += 1

    def _on_connect(self, client: Client, _data: Any, flags: Any, code: Any, _more: Any) -> None:
        if code.is_failure:
            if str(code) in _HOPELESS:
                self._refused = f"the broker refuses: {str(code).lower()}; correct user and password in the address"
            return
        if self._joined and not flags.session_present:
            self.say(
                "the broker has forgotten this listener: what was sent to it while nobody listened is not coming any more"
            )
        self.connections += 1
        self._joined = True
        client.subscribe(self.address.topic, qos=1)

    def _on_subscribe(self, _client: Client, _data: Any, _mid: int, codes: Any, _more: Any) -> None:
        if any(code.is_failure for code in codes):
            self._refused = f'the broker refuses the topic "{self.address.topic}"; have it allowed for this user'
        else:
            self.say(f"listening to {self.address} as {self.name}")


def pause(seconds: float, stop: Callable[[], bool]) -> None:
    """Wait, but not longer than until `stop`."""
    until = time.monotonic() + seconds
    while time.monotonic() < until and not stop():
        time.sleep(min(0.1, seconds))
