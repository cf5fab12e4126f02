"""Who is let in, tried on a real server with plain sockets; the rules by themselves too."""

import http.client
import json
import socket

import pytest

from coilwright.bench.guard import Rules
from coilwright.bench.serve import Asked, serve
from coilwright.errors import BadInput
from tests.bench.server import SHORT, Server

HERE = Rules("127.0.0.1", 8470)


@pytest.mark.parametrize("host", ["127.0.0.1:8470", "localhost:8470", "[::1]:8470", "LOCALHOST:8470"])
def test_our_own_names_are_let_in(host):
    assert HERE.allows_host(host)


@pytest.mark.parametrize(
    "host",
    ["evil.example:8470", "127.0.0.1.evil.example:8470", "127.0.0.1:8471", "192.0.2.7:8470", "", "[::1", "a:b:c"],
)
def test_other_names_are_not(host):
    assert not HERE.allows_host(host)


def test_listening_on_all_lets_addresses_in_but_no_names():
    rules = Rules("0.0.0.0", 8470, "secretsecret")
    assert rules.allows_host("192.0.2.7:8470")
    assert not rules.allows_host("rebound.example:8470")


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:9999", "https://localhost.evil.example:8470", "file://"]
)
def test_other_origins_are_not_let_in(origin):
    assert not HERE.allows_origin(origin, "127.0.0.1:8470")


def test_another_address_needs_a_token():
    with pytest.raises(BadInput, match="token"):
        serve(Asked(host="0.0.0.0", browser=False), print)
    with pytest.raises(BadInput, match="letters and figures"):
        serve(Asked(token="with space and ;", browser=False), print)


def test_a_port_in_use_is_told():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(BadInput, match="cannot be listened on"):
            serve(Asked(port=taken.getsockname()[1], browser=False), print)


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("guarded")
    (folder / "job.toml").write_text(SHORT, encoding="utf-8")
    (folder.parent / "outside.toml").write_text(SHORT, encoding="utf-8")
    running = Server(folder)
    yield running
    running.stop()


def ask(server, path="/", method="GET", body=None, **headers):
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    line.putrequest(method, path, skip_host=True)
    line.putheader("Host", headers.pop("host", f"127.0.0.1:{server.port}"))
    for name, value in headers.items():
        line.putheader(name.replace("_", "-"), value)
    line.endheaders()
    if body is not None:
        line.send(body)
    answer = line.getresponse()
    text = answer.read().decode("utf-8", "replace")
    line.close()
    return answer, text


def test_the_page_answers_and_says_what_may_load(server):
    answer, text = ask(server, "/job/job.toml")
    assert answer.status == 200
    assert "getter ring" in text
    policy = answer.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy


def test_a_foreign_name_that_points_here_is_refused(server):
    answer, text = ask(server, host=f"rebound.example:{server.port}")
    assert answer.status == 403
    assert "own address only" in text


def test_a_request_from_another_page_is_refused(server):
    answer, text = ask(server, origin="http://evil.example")
    assert answer.status == 403
    assert "evil.example" in text


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://evil.example"}, {"host": "rebound.example:80", "origin": "http://rebound.example:80"}],
)
def test_a_socket_from_another_page_is_refused(server, headers):
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13"}
    key = {"Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ=="}
    path = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    answer, _ = ask(server, path, **upgrade, **key, **headers)
    assert answer.status == 403
    own, _ = ask(server, path, **upgrade, **key, origin=f"http://127.0.0.1:{server.port}")
    assert own.status == 101


@pytest.mark.parametrize(
    "path",
    [
        "/job/../outside.toml",
        "/job/%2e%2e/outside.toml",
        "/job/..%2foutside.toml",
        "/job//etc/passwd",
        "/job/%00",
        "/job/sub/../../outside.toml",
    ],
)
def test_no_way_out_of_the_folder(server, path):
    answer, text = ask(server, path)
    assert "Tube" not in text and "getter ring" not in text and "root:" not in text
    assert answer.status in (200, 400, 404)
    assert "folder" in text or answer.status != 200


def test_a_gigabyte_is_refused_before_it_is_sent(server):
    answer, text = ask(server, "/", method="POST", content_length=str(10**9), body=b"x" * 1000)
    assert answer.status == 413
    assert "64 MB" in text


def test_a_gigabyte_that_does_not_say_so_is_cut_off(server):
    """Sent in pieces without a length: the server stops taking it long before its end."""
    sent, piece = 0, b"x" * 1_000_000
    with socket.create_connection(("127.0.0.1", server.port), timeout=5) as line:
        head = f"POST /_nicegui/upload HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nTransfer-Encoding: chunked\r\n\r\n"
        line.sendall(head.encode())
        try:
            while sent < 10**9:
                line.sendall(b"%x\r\n" % len(piece) + piece + b"\r\n")
                sent += len(piece)
        except OSError:
            pass
    assert sent < 3e8
    assert ask(server)[0].status == 200


MALFORMED = [
    "", "4", "42[", '42["event",{}]', '42["handshake",{"client_id":"nobody"}]', "40" + "[" * 2000, "2probe", "99",
    '42["event",{"client_id":5,"id":"x","listener_id":null,"args":[]}]', '451-["event",{"_placeholder":true,"num":0}]',
    '42["javascript_response",{"client_id":[1]}]', '42["ack",5]', "\x00\ud7ff",
]  # fmt: skip


@pytest.mark.parametrize("message", MALFORMED)
def test_malformed_messages_leave_the_server_alive(server, message):
    from websockets.exceptions import WebSocketException
    from websockets.sync.client import connect

    address = f"ws://127.0.0.1:{server.port}/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    with connect(address, origin=f"http://127.0.0.1:{server.port}") as line:
        try:
            line.recv(timeout=2)
            line.send("40")
            line.send(message)
            line.send(json.dumps({"not": "of this protocol"}))
            line.recv(timeout=0.3)
        except (TimeoutError, WebSocketException):
            pass
    assert server.alive
    assert ask(server)[0].status == 200
    assert "Traceback" not in server.talk.read_text()


def test_a_token_is_asked_for_once_and_kept_in_a_cookie(tmp_path):
    (tmp_path / "job.toml").write_text(SHORT, encoding="utf-8")
    guarded = Server(tmp_path, "--token", "abcdefgh12345678")
    try:
        assert ask(guarded)[0].status == 401
        assert ask(guarded, "/?token=wrong")[0].status == 401
        answer, _ = ask(guarded, "/job/job.toml?token=abcdefgh12345678&place=shot")
        assert answer.status == 303
        assert answer.headers["location"] == "/job/job.toml?place=shot"
        cookie = answer.headers["set-cookie"]
        assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
        assert ask(guarded, "/job/job.toml", cookie=cookie.split(";")[0])[0].status == 200
        assert ask(guarded, "/_nicegui_ws/socket.io/?EIO=4&transport=polling")[0].status == 401
    finally:
        guarded.stop()
