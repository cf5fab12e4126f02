"""A real MQTT broker on a free port, and a publisher that knows what the broker has acknowledged."""

import json
import os
import shutil
import socket
import subprocess
import time

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
MAP = """
machine = "press 2"
stations = 6
[columns]
time = "time"
station = "press.nest"
result = "ok"
tray = "tray"
[result]
good = ["true"]
bad = ["false"]
[readings.start]
column = "start"
unit = "ms"
kind = "time"
"""


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


class Broker:
    """mosquitto with its memory on disk, so that it may be restarted."""

    def __init__(self, folder):
        assert MOSQUITTO, "mosquitto must be installed where CI=true"
        self.folder, self.port = folder, free_port()
        self.config = folder / "mosquitto.conf"
        self.config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {folder}/\n"
            "autosave_interval 1\nautosave_on_changes true\nmax_queued_messages 100000\n"
            + ("user root\n" if os.geteuid() == 0 else "")  # else it steps down to a user who may not write here
        )
        self.program = None
        self.start()

    def start(self):
        self.program = subprocess.Popen(
            [MOSQUITTO, "-c", str(self.config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(200):
            with socket.socket() as s:
                if s.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise RuntimeError("mosquitto does not start")

    def stop(self):
        self.program.terminate()
        self.program.wait(10)

    def address(self, topic="press2/shots"):
        return f"mqtt://127.0.0.1:{self.port}/{topic}"


class Publisher:
    """Publishes with quality of service 1 and waits until the broker has taken each message over."""

    def __init__(self, port):
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="press", clean_session=False)
        self.taken = set()
        self.client.on_publish = lambda _client, _data, mid, _code, _more: self.taken.add(mid)
        self.client.reconnect_delay_set(0.05, 0.2)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def send(self, payload, topic="press2/shots", qos=1):
        text = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        mid, end = self.client.publish(topic, text, qos=qos).mid, time.monotonic() + 20.0
        while mid not in self.taken:
            assert time.monotonic() < end, "the broker does not take the message"
            time.sleep(0.001)

    def close(self):
        self.client.disconnect()
        self.client.loop_stop()


def shot(n, station=1, ok=True, **more):
    """The n-th shot, one a second."""
    stamp = f"2026-05-04T{8 + n // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d}"
    return {"time": stamp, "press": {"nest": station}, "ok": ok, "tray": f"T{n}", "start": 4800 + n % 7, **more}
