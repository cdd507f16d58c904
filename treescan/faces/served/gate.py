"""Who may ask? Only who came by the link (or knows the password), through this address, from this page, with a body of decent size."""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST_BODY = 2_000_000
"""Of a change. [bytes]"""
LARGEST_UPLOAD = 1_500_000_000
"""Of a cloud that is brought by the page; a larger one is named on the command line. [bytes]"""
WRONG_WAIT = 1.0
"""Between two passwords, from wherever they come. [s]"""
OWN_MARK = b"x-treescan"
"""Header that the page sends with all that changes something; no other page can without being asked by the browser first."""
SAFE = (
    (b"content-security-policy", b"default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


@dataclass
class Gate:
    """What is asked of every caller.

    host, port : where the page is served; token : stands in the link; password : asked for instead where the page is
    open to other machines, "" = this machine alone.
    """

    host: str
    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    password: str = ""
    passes: set[str] = field(default_factory=set)
    _last_wrong: float = -WRONG_WAIT

    @property
    def cookie(self) -> str:
        """Name of the cookie; one a port, for cookies do not know ports."""
        return f"treescan_{self.port}"

    @property
    def link(self) -> str:
        """Where the page is found."""
        address = f"http://{self.host}:{self.port}/"
        return address if self.password else f"{address}?token={self.token}"

    def names(self) -> set[str]:
        """How this server is called in a Host header."""
        alone = {f"127.0.0.1:{self.port}", f"localhost:{self.port}"}
        return {f"{self.host}:{self.port}", *alone} if self.password else alone

    def lets_in(self, token: str) -> str | None:
        """A pass for the token of the link; None for another. With a password the link has no token."""
        if self.password or not secrets.compare_digest(token.encode(), self.token.encode()):
            return None
        return self._pass()

    def knows(self, password: str) -> str | None:
        """A pass for the password; None for a wrong one, or one tried too soon after a wrong one."""
        now = time.monotonic()
        if not self.password or now - self._last_wrong < WRONG_WAIT:
            return None
        if not secrets.compare_digest(password.encode(), self.password.encode()):
            self._last_wrong = now
            return None
        return self._pass()

    def _pass(self) -> str:
        given = secrets.token_urlsafe(24)
        self.passes.add(given)
        return given

    def refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Why this request is not let through: status and the code of the sentence; None where it is."""
        headers = {k.lower(): v for k, v in scope["headers"]}
        if headers.get(b"host", b"").decode("latin-1").lower() not in self.names():
            return 421, "served_wrong_host"
        origin = headers.get(b"origin")
        if origin is not None and origin.decode("latin-1").lower() not in {f"http://{n}" for n in self.names()}:
            return 403, "served_wrong_origin"
        if _odd(scope):
            return 400, "served_wrong_path"
        path, method = scope["path"], scope["method"]
        entering = path == "/enter" and method == "POST"
        if method not in {"GET", "HEAD"} and not entering and headers.get(OWN_MARK) != b"1":
            return 403, "served_wrong_origin"
        most = LARGEST_UPLOAD if path.startswith("/upload/") else LARGEST_BODY
        if method in {"POST", "PUT", "PATCH"} and b"content-length" not in headers:
            return 411, "served_no_length"
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or int(length) > most:
            return 413, "served_too_large"
        if path in {"/", "/enter"}:
            return None  # the page's own door looks at token and password
        return None if self.known(headers) else (403, "served_no_token")

    def known(self, headers: MutableMapping[bytes, bytes] | dict[bytes, bytes]) -> bool:
        """Whether the cookie holds a pass that was given."""
        try:
            held = SimpleCookie(headers.get(b"cookie", b"").decode("latin-1")).get(self.cookie)
        except CookieError:
            return False
        return held is not None and any(secrets.compare_digest(held.value.encode(), p.encode()) for p in self.passes)

    def around(self, app: App, said: Callable[[str], str]) -> App:
        """The app behind the gate; `said` gives the sentence of a code."""

        async def gated(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] == "lifespan":
                await app(scope, receive, send)
                return
            if scope["type"] == "websocket":
                await receive()
                await send({"type": "websocket.close", "code": 1008})
                return
            if (no := self.refusal(scope)) is not None:
                body = said(no[1]).encode()
                heads = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close"), *SAFE]
                await send({"type": "http.response.start", "status": no[0], "headers": heads})
                await send({"type": "http.response.body", "body": body})
                return
            await app(scope, receive, _marked(send))

        return gated


def _marked(send: Send) -> Send:
    """Every answer carries the headers that keep other pages out."""

    async def marked(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {k.lower() for k, _ in message.get("headers", ())}
            message["headers"] = [*message.get("headers", ()), *((k, v) for k, v in SAFE if k not in own)]
        await send(message)

    return marked


def _odd(scope: Scope) -> bool:
    """A path that tries to leave its folder, in any spelling."""
    raw = scope.get("raw_path") or scope["path"].encode()
    path = scope["path"]
    parts = path.replace("\\", "/").split("/")
    return ".." in parts or "\\" in path or "\0" in path or "//" in path or b"%2e%2e" in raw.lower() or b"%2f" in raw.lower() or b"%5c" in raw.lower()
