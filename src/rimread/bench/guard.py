"""Who may talk to the bench: only this page, from an allowed name, with the token where asked."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["COOKIE", "Guard"]

COOKIE = "rimread_bench"
_SAFE = frozenset({"GET", "HEAD"})
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
        "img-src 'self' blob: data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """Middleware that lets only the page's own requests through.

    A page of another site that is open in the same browser must neither read the bench nor make it
    do anything: its requests carry another Origin, and a name that was made to point here
    (DNS rebinding) is not among the hosts.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    hosts : collection of str
        Names with port, as they may stand in the Host header.
    token : str
        Must be known to the browser; empty on loopback when none is asked for.
    """

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], token: str = "") -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or hand on one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # the bench speaks no WebSocket
            return
        answer = self._refused(scope, Headers(scope=scope))

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await (answer or self._app)(scope, receive, with_headers)

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        if headers.get("host", "").lower() not in self._hosts:
            return PlainTextResponse("This name does not belong to the bench.", 421)
        if scope["method"] not in _SAFE and not _same_origin(headers):
            return PlainTextResponse("Only the bench's own page may do this.", 403)
        if headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return PlainTextResponse("Only the bench's own page may read this.", 403)
        return self._without_token(scope, headers) if self._token else None

    def _without_token(self, scope: Scope, headers: Headers) -> Response | None:
        if _same(_cookie(headers), self._token):
            return None
        asked = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["method"] == "GET" and scope["path"] == "/" and _same(asked, self._token):
            answer = RedirectResponse("/", 303)  # the token does not stay in the address bar
            answer.set_cookie(COOKIE, self._token, httponly=True, samesite="strict", path="/")
            return answer
        return PlainTextResponse(
            "Open the address with the token that rimread bench printed when it started.", 401
        )


def _same_origin(headers: Headers) -> bool:
    """Whether a request that changes something comes from a page of this very host."""
    try:
        origin = urlsplit(headers.get("origin", ""))
    except ValueError:  # brackets that do not match
        return False
    return origin.scheme in {"http", "https"} and origin.netloc == headers.get("host")


def _cookie(headers: Headers) -> str:
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return morsel.value if morsel else ""


def _same(given: str, token: str) -> bool:
    return secrets.compare_digest(given.encode("utf-8"), token.encode("utf-8"))
