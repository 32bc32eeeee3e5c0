"""What keeps other machines and other web pages away from a maker's records.

The pages are served to this machine alone. That does not keep a page of some other site, open in
the same browser, from sending forms here; so a request is refused unless

- its Host is one of the few names of this machine (against rebinding of a foreign name),
- it comes from these pages, if it would change anything (Origin, Sec-Fetch-Site),
- it carries the token of its form, if it would change anything,
- its body stays below a limit, whether or not it says how long it is.

Answers carry a content policy that lets nothing be fetched from elsewhere.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterable, Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["COOKIE", "POLICY", "POLICY_REPORT", "BodyTooLarge", "Guard", "Tokens", "policy"]

COOKIE = "crowlight"
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_MEGABYTE = 1_000_000
#: Largest body of a request [bytes]; a table of 100,000 readings has about 5 MB.
BODY_LIMIT = 1 * _MEGABYTE
FILE_LIMIT = 20 * _MEGABYTE
#: A photograph and the form around it.
PHOTO_LIMIT = FILE_LIMIT + BODY_LIMIT
#: Three minutes of stereo at 48 kHz and 24 bits have 52 MB.
SOUND_LIMIT = 60 * _MEGABYTE
_LIMITS = {"/import": FILE_LIMIT, "/photos": PHOTO_LIMIT, "/sounds": SOUND_LIMIT}


def policy(**extra: str) -> str:
    """Return the content policy of a page, with sources added for some directives."""
    rules = {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data:",
        "connect-src": "'self'",
        "worker-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    for name, sources in extra.items():
        key = name.replace("_", "-")
        rules[key] = f"{rules.get(key, '')} {sources}".strip()
    return "; ".join(f"{name} {value}" for name, value in rules.items())


#: Of ordinary pages.
POLICY = policy()
#: Of a report opened in the browser: its style is inside it, and it runs nothing.
POLICY_REPORT = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; sandbox allow-modals"
)

_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # not "no-referrer": that would make the browser send "Origin: null" with our own forms
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self)",
    "Cache-Control": "no-store",
}


class BodyTooLarge(Exception):
    """The body of a request is larger than it may be.

    Parameters
    ----------
    limit : int
        Largest size [bytes].
    """

    def __init__(self, limit: int) -> None:
        super().__init__(limit)
        self.limit = limit


class Guard:
    """Middleware that refuses what did not come from these pages.

    Parameters
    ----------
    app : ASGIApp
        What it guards.
    hosts : iterable of str
        Names under which this machine may be addressed, without port.
    """

    def __init__(self, app: ASGIApp, *, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(h.lower() for h in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refusal(scope, headers)
        if refused is not None and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        elif refused is not None:
            await refused(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            limit = _LIMITS.get(scope["path"][scope["path"].rfind("/") :], BODY_LIMIT)
            await self._app(scope, _limited(receive, headers, limit), _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or _hostname(hosts[0]) not in self._hosts:
            return PlainTextResponse(
                "This address is not one of this machine; open the one that crowlight printed "
                "when it started.\n",
                400,
            )
        if scope["type"] == "http" and scope["method"] in _SAFE:
            return None
        if not _same_origin(headers, hosts[0]):
            return PlainTextResponse(
                "Refused: this was sent from another site. Nothing was changed.\n", 403
            )
        return None


def _hostname(host: str) -> str:
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _same_origin(headers: Headers, host: str) -> bool:
    """Tell whether a request that changes something comes from our own pages.

    Browsers send Origin with every POST; Sec-Fetch-Site only where they trust the connection. What
    sends neither is no browser, and has no one's cookies: the token of the form decides.
    """
    site = headers.get("sec-fetch-site")
    if site is not None and site not in {"same-origin", "none"}:
        return False
    origin = headers.get("origin")
    if origin is None:
        return True
    parts = urlsplit(origin)
    return parts.scheme in {"http", "https"} and parts.netloc.lower() == host.lower()


def _limited(receive: Receive, headers: Headers, limit: int) -> Receive:
    """Pass a body on, counting: what is said of its length may be missing or wrong."""
    stated = headers.get("content-length", "")
    seen = int(stated) if stated.isdecimal() else 0
    too_large = seen > limit
    seen = 0

    async def limited() -> Message:
        nonlocal seen
        if too_large:
            raise BodyTooLarge(limit)
        message = await receive()
        if message["type"] == "http.request":
            seen += len(message.get("body", b""))
            if seen > limit:
                raise BodyTooLarge(limit)
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending


class Tokens:
    """Tokens that show that a form was made by these pages for this browser.

    Parameters
    ----------
    secret : bytes, optional
        Key; a new one if not given, and then forms opened before a restart are asked to be sent
        again.
    """

    def __init__(self, secret: bytes | None = None) -> None:
        self._secret = secret or secrets.token_bytes(32)

    def cookie_of(self, request: Request) -> str:
        """Return the browser's cookie, or a new one."""
        kept = request.cookies.get(COOKIE, "")
        usable = 20 <= len(kept) <= 100 and kept.isascii() and kept.isprintable()
        return kept if usable else secrets.token_urlsafe(24)

    def token(self, cookie: str) -> str:
        """Return the token that forms of this browser carry."""
        return hmac.new(self._secret, cookie.encode(), hashlib.sha256).hexdigest()

    def holds(self, request: Request, token: str) -> bool:
        """Tell whether a token belongs to the browser that sends it."""
        cookie = request.cookies.get(COOKIE, "")
        return bool(cookie) and hmac.compare_digest(self.token(cookie), token)
