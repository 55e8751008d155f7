"""Who may call the desk: this machine, by the address with its token, from the desk's own page.

Every request passes here first.  The token is the first part of the path, so that a page of another
site can't know any address; the host is checked besides, since a name of another site can be made
to point at this machine (DNS rebinding); and a call that changes something must say that it comes
from the desk's own page (Fetch Metadata's Sec-Fetch-Site, or Origin of RFC 6454).
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: What a page from the desk may do: its own files, nothing inline, nothing from elsewhere.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS: Mapping[str, str] = MappingProxyType(
    {
        "Content-Security-Policy": POLICY,
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
        "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    }
)
#: Close code of RFC 6455: no web socket is served.
POLICY_VIOLATION = 1008
#: Methods that change nothing.
READING = frozenset({"GET", "HEAD"})


class Guard:
    """Lets a request through to the desk, with the token taken off its path, or refuses it."""

    def __init__(self, app: ASGIApp, token: str, hosts: Iterable[str]) -> None:
        """hosts: what the Host header may be, `127.0.0.1:8137`."""
        self.app, self._token, self._hosts = app, token.encode(), frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": POLICY_VIOLATION})
            return
        why = self._refusal(scope)
        if why:
            await PlainTextResponse(why, 403, dict(HEADERS))(scope, receive, send)
            return
        root = f"/{self._token.decode()}"
        inner = {**scope, "path": scope["path"].removeprefix(root) or "/"}

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                told = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    told.setdefault(name, value)
            await send(message)

        await self.app(inner, receive, with_headers)

    def _refusal(self, scope: Scope) -> str:
        """Why a request is turned away; empty: it is welcome."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if len(headers.getlist("host")) != 1 or host not in self._hosts:
            return "the desk answers to its own address only\n"
        first = scope["path"].removeprefix("/").partition("/")[0]
        token = first.encode("utf-8", "surrogatepass")
        if not hmac.compare_digest(token, self._token) or scope["path"] == f"/{first}":
            return "the address lacks the desk's token: use the one that the desk printed\n"
        if not _from_here(scope["method"], headers, host):
            return "the desk takes calls from its own page only\n"
        return ""


def _from_here(method: str, headers: Headers, host: str) -> bool:
    """Whether the browser says that the call comes from the desk's page; for reading, that it
    does not come from another site's."""
    site, origin = headers.get("sec-fetch-site"), headers.get("origin")
    if origin is not None and origin != f"http://{host}":
        return False
    if method in READING:
        return site in (None, "same-origin", "none")
    return site == "same-origin" or (site is None and origin is not None)
