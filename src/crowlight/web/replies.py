"""Replies to what was sent: where it leads for scripts that send, and moments for tests.

A script that sends a form cannot follow its redirection without fetching a page it does not want,
nor see where it leads. Asked by the header `ASKED`, the address comes in the body instead.
"""

from __future__ import annotations

import json
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["ASKED", "Replies"]

ASKED = "crowlight-then"
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class Replies:
    """Middleware between the guard and the routes.

    Parameters
    ----------
    app : ASGIApp
        What replies.
    failpoint : callable
        Called with ``reply:before`` and ``reply:after`` around each reply to something sent; see
        `crowlight.wiring.failpoints`.
    """

    def __init__(self, app: ASGIApp, *, failpoint: Callable[[str], None]) -> None:
        self._app = app
        self._failpoint = failpoint

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or scope["method"] in _SAFE:
            await self._app(scope, receive, send)
            return
        asked = Headers(scope=scope).get(ASKED) == "1"
        await self._app(scope, receive, self._replying(send, asked))

    def _replying(self, send: Send, asked: bool) -> Send:
        body: bytes | None = None  # instead of the reply's own

        async def replying(message: Message) -> None:
            nonlocal body
            if message["type"] == "http.response.start":
                self._failpoint("reply:before")
                if asked and message["status"] == 303:
                    headers = MutableHeaders(raw=message["headers"])
                    body = json.dumps({"then": headers["location"]}).encode()
                    del headers["location"]
                    headers["content-type"] = "application/json"
                    headers["content-length"] = str(len(body))
                    message = {**message, "status": 200, "headers": headers.raw}
            elif message["type"] == "http.response.body" and body is not None:
                message, body = {**message, "body": body}, b""
            await send(message)
            if message["type"] == "http.response.body" and not message.get("more_body", False):
                self._failpoint("reply:after")

        return replying
