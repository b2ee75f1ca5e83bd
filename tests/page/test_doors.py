"""Who is kept out: other pages, wrong hosts, guessed keys, tricks with paths, floods."""

from __future__ import annotations

import socket
import time

import httpx2
import pytest

from asleft.page.doors import FORM_BYTES, SLOWEST_S, Keys

from .conftest import Served, Visitor, wait_for

FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    served = Served("open", "--page-port", "0", home=tmp_path_factory.mktemp("doors") / "home")
    yield served
    served.end()


def test_what_comes_from_elsewhere_is_refused(opened):
    """Another host's page, a name rebound to this computer, a form without our token."""
    visitor = Visitor(opened.address).get("/")
    body = f"token={visitor.token}&name=clock"
    port = opened.address.rstrip("/").rsplit(":", 1)[1]

    def post(**headers: str) -> int:
        reply = httpx2.post(f"{opened.address}machine", content=body, headers={**FORM, **headers})
        return reply.status_code

    assert post(origin="http://elsewhere.example") == 403
    assert post(origin="null") == 403
    assert post(host=f"elsewhere.example:{port}") == 403
    assert post(**{"sec-fetch-site": "cross-site"}) == 403
    assert httpx2.post(f"{opened.address}machine", data={"name": "clock"}).status_code == 403
    assert httpx2.post(f"{opened.address}stop", data={"token": "0" * 64}).status_code == 403
    assert "clock" not in visitor.get("/").text
    assert post(origin=opened.address.rstrip("/")) == 303
    assert "clock" in visitor.get("/").text


def test_tricks_with_paths_and_large_forms(opened):
    visitor = Visitor(opened.address).get("/")
    for path in (
        "static/../app.py",
        "static/%2e%2e/app.py",
        "static/..%2f..%2fdoors.py",
        "static//etc/passwd",
        "m/../../etc/passwd/now",
        "m/%2e%2e%2f/now",
        "m/nobody/record.pdf",
        "m/nobody/record.exe",
    ):
        reply = _raw(opened.address, f"GET /{path} HTTP/1.1")
        assert reply.split()[1] in (b"404", b"409"), path
        assert b"import" not in reply
    large = "token=" + visitor.token + "&name=" + "a" * (10 * 1024 * 1024)
    try:
        status = httpx2.post(
            f"{opened.address}machine", content=large, headers=FORM, timeout=20
        ).status_code
    except httpx2.TransportError:  # it hung up in the middle of it, which is as good
        status = 413
    assert status == 413
    assert visitor.get("/").status == 200
    assert len("name=") + FORM_BYTES < len(large)


def test_the_policy_stands_on_every_answer(opened):
    for path in ("", "static/sheet.css", "nowhere", "live"):
        with httpx2.stream("GET", opened.address + path, timeout=5) as reply:
            policy = reply.headers["content-security-policy"]
            assert "default-src 'none'" in policy and "unsafe" not in policy
            assert reply.headers["x-content-type-options"] == "nosniff"


def test_two_hundred_streams_do_not_stop_the_service(opened):
    """Most are refused, and sheets are served as before."""
    host, port = opened.address.removeprefix("http://").rstrip("/").split(":")
    request = f"GET /live HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode()
    streams = []
    try:
        for _ in range(200):
            stream = socket.create_connection((host, int(port)), timeout=5)
            stream.sendall(request)
            streams.append(stream)
        wait_for(lambda: sum(_refused(stream) for stream in streams) >= 150)
        visitor = Visitor(opened.address)
        wait_for(lambda: visitor.get("/").status == 200)
    finally:
        for stream in streams:
            stream.close()


def _refused(stream: socket.socket) -> bool:
    stream.setblocking(False)
    try:
        return b" 503 " in stream.recv(64, socket.MSG_PEEK)
    except BlockingIOError:
        return False
    except OSError:
        return True


def test_lan_needs_its_key(serve):
    """Without the key there is one sheet; with it, a cookie that no script sees."""
    served = serve("open", "--lan", "--page-port", "0")
    shown = served.errors.read_text()
    key = shown.split("Pass key: ")[1].split()[0]
    visitor = Visitor(served.address).get("/")
    assert visitor.url.endswith("/key") and key not in visitor.html
    assert Visitor(served.address).get("/m/any/now").url.endswith("/key")
    visitor.press("/key", key="not the key")
    assert visitor.status == 429
    time.sleep(0.6)  # the first wrong try puts the next one off by half a second
    reply = httpx2.post(f"{served.address}key", data={"key": key})
    cookie = reply.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and key not in cookie
    visitor.press("/key", key=key)
    assert "Workshop" in visitor.text


def test_a_thousand_guesses_are_put_off(tmp_path):
    """Each wrong try doubles the wait up to a bound; what comes meanwhile is not looked at."""
    now_s = [0.0]
    keys = Keys(tmp_path, wall_s=lambda: 0.0, steady_s=lambda: now_s[0])
    looked_at = 0
    for _ in range(1000):
        wait_s = keys.try_key("wrong")
        assert wait_s is not None and wait_s <= SLOWEST_S
        looked_at += keys.try_key(keys.key) is None
        now_s[0] += 0.1
    assert looked_at == 0
    now_s[0] += SLOWEST_S
    assert keys.try_key(f" {keys.key.upper()} ") is None


def test_the_key_outlives_a_restart_and_not_a_day(tmp_path):
    first = Keys(tmp_path, wall_s=lambda: 1000.0)
    assert Keys(tmp_path, wall_s=lambda: 2000.0).key == first.key
    assert Keys(tmp_path, wall_s=lambda: 1000.0 + 24 * 3600).key != first.key
    assert (tmp_path / "page" / "key.json").stat().st_mode & 0o077 == 0


def _raw(address: str, line: str) -> bytes:
    """A request as it stands: a client would tidy the path."""
    host, port = address.removeprefix("http://").rstrip("/").split(":")
    with socket.create_connection((host, int(port)), timeout=10) as sock:
        sock.sendall(f"{line}\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n".encode())
        chunks = []
        while chunk := sock.recv(65536):
            chunks.append(chunk)
    return b"".join(chunks)
