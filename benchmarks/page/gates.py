"""The doors of `--lan` under knocks: guessed keys, other hosts, odd paths, floods.

Everything goes over HTTP as an outsider would send it. Stands on `stage`.
"""

from __future__ import annotations

import re
import socket
import time
from collections import Counter
from pathlib import Path

import httpx2
from benchmarks.page.stage import Figure, Served, Visitor, spread, wait_for

from asleft.page.doors import COOKIE

PATHS = ("static/../app.py", "static/%2e%2e/app.py", "static/..%2f..%2fdoors.py", "m/%2e%2e%2f/now")


def doors(home: Path, few: bool) -> list[Figure]:
    """Knock in every way; afterwards the page must serve whoever has the key."""
    with Served(home / "home", "open", "--lan", "--page-port", "0") as served:
        found = wait_for(lambda: re.search(r"Pass key: (\S+)", served.said))
        assert found is not None
        host = served.address.removeprefix("http://").rstrip("/")
        figures = [*_without_key(served.address, host), _guessed(served.address, few)]
        figures.append(_let_in(served.address, found[1]))
        visitor = Visitor(served.address)
        visitor.client.cookies.set(COOKIE, _cookie(served.address, found[1]))
        figures += [*_elsewhere(visitor, host), _large(visitor), _streams(visitor, host)]
        visitor.close()
    return figures


def _without_key(address: str, host: str) -> list[Figure]:
    """Every route but the key's own leads to the key."""
    routes = ("", "m/any/now", "m/any/live", "m/any/record.json", "live")
    gets = [httpx2.get(address + route).headers.get("location") for route in routes]
    posts = [
        httpx2.post(address + route).headers.get("location") for route in ("stop", "m/any/answer")
    ]
    shut = sum(where == "/key" for where in (*gets, *posts))
    total = len(gets) + len(posts)
    wild = [_raw(host, f"GET /{path} HTTP/1.1", host) for path in PATHS]
    bad = [reply for reply in wild if b" 200 " in reply.split(b"\r\n")[0] or b"import" in reply]
    return [
        Figure("routes shut without the key", f"{shut} of {total}", "all", shut == total),
        Figure("paths that led out", f"{len(bad)} of {len(PATHS)}", "0", not bad),
    ]


def _guessed(address: str, few: bool) -> Figure:
    """A thousand wrong keys; sheets are served meanwhile, and none gets in."""
    statuses: Counter[int] = Counter()
    with httpx2.Client(base_url=address) as client:
        began_s = time.monotonic()
        for number in range(100 if few else 1000):
            statuses[client.post("key", data={"key": f"guess-{number}"}).status_code] += 1
        took_s = time.monotonic() - began_s
        held = client.get("key").status_code == 200
    told = f"{dict(statuses)} in {took_s:.1f} s; service goes on: {held}"
    return Figure("keys guessed, by status", told, "all 429", set(statuses) == {429} and held)


def _let_in(address: str, key: str) -> Figure:
    """The right key counts again within the bound, whoever guessed before."""
    began_s = time.monotonic()
    while httpx2.post(f"{address}key", data={"key": key}).status_code != 303:
        time.sleep(0.25)
        assert time.monotonic() - began_s < 60
    took_s = time.monotonic() - began_s
    return Figure(
        "right key after the guesses", f"let in after {took_s:.1f} s", "31 s", took_s <= 31
    )


def _cookie(address: str, key: str) -> str:
    return str(httpx2.post(f"{address}key", data={"key": key}).cookies[COOKIE])


def _elsewhere(visitor: Visitor, host: str) -> list[Figure]:
    """With the cookie stolen or sent along, what comes from elsewhere is refused all the same."""
    visitor.get()
    name, port = host.split(":")
    tries = (
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"host": f"elsewhere.example:{port}"},
        {"host": f"{name}:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    )
    body = {"token": visitor.token, "name": "clock"}
    refused = sum(
        visitor.client.post("machine", data=body, headers=each).status_code == 403 for each in tries
    )
    untold = visitor.client.post("machine", data={"name": "clock"}).status_code == 403
    kept = "clock" in visitor.get().html
    told = f"{refused + untold} of {len(tries) + 1}, anything kept: {kept}"
    holds = refused == len(tries) and untold and not kept
    return [Figure("posts from elsewhere refused", told, "all", holds)]


def _large(visitor: Visitor) -> Figure:
    """Ten megabytes are not read to their end."""
    body = {"token": visitor.token, "name": "a" * (10 * 1024 * 1024)}
    try:
        told = str(visitor.client.post("machine", data=body).status_code)
    except httpx2.TransportError:  # it hung up in the middle of it, which is as good
        told = "hung up"
    return Figure("a form of 10 MB", told, "413 or hung up", told in ("413", "hung up"))


def _streams(visitor: Visitor, host: str) -> Figure:
    """Two hundred open streams of somebody who has the key; sheets go on being served."""
    cookie = visitor.client.cookies[COOKIE]
    lines = f"GET /live HTTP/1.1\r\nHost: {host}\r\nCookie: {COOKIE}={cookie}\r\n\r\n"
    name, port = host.split(":")
    streams = []
    for _ in range(200):
        streams.append(socket.create_connection((name, int(port)), timeout=5))
        streams[-1].sendall(lines.encode())
    time.sleep(2.0)
    first = Counter(_status(stream) for stream in streams)
    took_s = []
    for _ in range(20):
        began_s = time.monotonic()
        assert visitor.get().client.get("").status_code == 200
        took_s.append(time.monotonic() - began_s)
    for stream in streams:
        stream.close()
    told = f"{dict(first)}; sheets meanwhile {spread(took_s)}"
    return Figure("200 streams opened", told, "bounded, served", first["200"] <= 30)


def _status(stream: socket.socket) -> str:
    stream.setblocking(False)
    try:
        return stream.recv(64).split()[1].decode()
    except (OSError, IndexError):
        return "closed"


def _raw(host: str, line: str, said: str) -> bytes:
    """A request as it stands: a client would tidy the path."""
    name, port = host.split(":")
    with socket.create_connection((name, int(port)), timeout=10) as sock:
        sock.sendall(f"{line}\r\nHost: {said}\r\nConnection: close\r\n\r\n".encode())
        chunks = []
        while chunk := sock.recv(65536):
            chunks.append(chunk)
    return b"".join(chunks)
