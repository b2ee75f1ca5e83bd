"""Who may come in: hosts, origins, form tokens, the pass key of `--lan`, and how much they bring.

An ASGI layer around the whole page, so that no route can forget it. Knows no sheet and no
machine. Secrets live in a file of the owner's alone, so that a restart locks nobody out.
"""

from __future__ import annotations

import hmac
import json
import secrets
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse

from asleft.page.memory import write_whole

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "asleft"
KEY_LASTS_S = 12 * 3600.0  # an evening and a morning after
SLOWEST_S = 30.0  # nobody is locked out for longer by somebody else's guesses
FORM_BYTES = 64 * 1024
REPORT_BYTES = 1024 * 1024
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that is taken for another one
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:;"
    " connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),  # without any, a form of ours has the origin null
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
# Without a key these alone are open: the sheet that asks for it and what it looks like.
_OPEN = ("/key", "/static/")


class Keys:
    """The pass key, the cookie and the form token, kept for some hours over restarts.

    Args:
        home: the store's folder.
        wall_s: the time of day in seconds, for how old the key is.
        steady_s: a steady clock in seconds, for how long guesses are put off.
    """

    def __init__(
        self,
        home: Path,
        *,
        wall_s: Callable[[], float] = time.time,
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._steady_s = steady_s
        self._wrong, self._closed_until_s = 0, 0.0
        path = home / "page" / "key.json"
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
            fresh = 0 <= wall_s() - float(kept["at"]) < KEY_LASTS_S
            self.key, self._secret = str(kept["key"]), str(kept["secret"])
        except (OSError, ValueError, KeyError, TypeError):
            fresh = False
        if not fresh:
            words = ("".join(secrets.choice(_LETTERS) for _ in range(5)) for _ in range(3))
            self.key, self._secret = "-".join(words), secrets.token_hex(32)
            kept = {"at": wall_s(), "key": self.key, "secret": self._secret}
            write_whole(path, json.dumps(kept))

    @property
    def token(self) -> str:
        """What every form of ours carries."""
        return self._signed("form")

    @property
    def cookie(self) -> str:
        """What a browser carries that has given the key."""
        return self._signed(f"cookie {self.key}")

    def is_ours(self, token: str) -> bool:
        """Whether a form is one of ours."""
        return hmac.compare_digest(token.encode(), self.token.encode())

    def knows_key(self, cookie: str) -> bool:
        """Whether a browser has given the key before."""
        return hmac.compare_digest(cookie.encode(), self.cookie.encode())

    def try_key(self, typed: str) -> float | None:
        """Try a key: None lets in, else the seconds until the next try counts.

        Every wrong try doubles the wait, up to half a minute; tries in between do not count.
        """
        now_s = self._steady_s()
        if now_s < self._closed_until_s:
            return self._closed_until_s - now_s
        given = typed.strip().lower()
        if hmac.compare_digest(given.encode(), self.key.encode()):
            self._wrong = 0
            return None
        self._wrong += 1
        wait_s = min(SLOWEST_S, 0.25 * 2.0 ** min(self._wrong, 10))
        self._closed_until_s = now_s + wait_s
        return wait_s

    def _signed(self, what: str) -> str:
        return hmac.new(self._secret.encode(), what.encode(), "sha256").hexdigest()


class Doors:
    """The ASGI layer: refuses what comes from elsewhere before any route sees it.

    Args:
        app: the page.
        keys: pass key and tokens.
        hosts: what a `Host` may say, with the port.
        lan: whether the pass key is asked for.
    """

    def __init__(self, app: ASGIApp, keys: Keys, *, hosts: frozenset[str], lan: bool) -> None:
        self._app, self._keys, self._hosts, self._lan = app, keys, hosts, lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *_HEADERS]
            await send(message)

        headers = Headers(scope=scope)
        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            await PlainTextResponse(refusal, 403)(scope, receive, with_headers)
        elif not self._may_see(scope["path"], headers):
            to_key = RedirectResponse("/key", 303)
            await to_key(scope, receive, with_headers)
        else:
            await self._app(scope, receive, with_headers)

    def _refusal(self, method: str, headers: Headers) -> str | None:
        """Why a request is turned away, or None."""
        host = headers.get("host", "").lower()
        if host not in self._hosts:
            return "This address is not the page's own."
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"http://{host}":
            return "Another page may not ask this."
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            # Following a link to here is harmless; bringing something along is not.
            harmless = method == "GET" and headers.get("sec-fetch-mode") == "navigate"
            return None if harmless else "Another page may not ask this."
        return None

    def _may_see(self, path: str, headers: Headers) -> bool:
        if not self._lan or path.startswith(_OPEN):
            return True
        return self._keys.knows_key(cookie_parser(headers.get("cookie", "")).get(COOKIE, ""))
