"""The pages, as one application."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from importlib.resources import files

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from crowlight import __version__
from crowlight.bench.desk import Desk
from crowlight.errors import CrowlightError
from crowlight.report.words import mark
from crowlight.web.pages import Pages, stylesheet, words_for
from crowlight.web.replies import Replies
from crowlight.web.routes import (
    arrival,
    back,
    batch_making,
    batches,
    blades,
    calibration,
    closing,
    entries,
    journeys,
    letters,
    light,
    listing,
    measure,
    next_cut,
    next_log,
    offline,
    play,
    posted,
    readings,
    record,
    reed,
    scores,
    settings,
    sitting,
    sound_files,
    sounds,
)
from crowlight.web.running import Running
from crowlight.web.security import BodyTooLarge, Guard, Tokens
from crowlight.web.sending import status_of
from crowlight.wiring.failpoints import Failpoint, pass_by

__all__ = ["HOSTS", "create_app"]

#: Names of this machine for itself.
HOSTS = ("127.0.0.1", "localhost", "::1")

_log = logging.getLogger(__name__)
_KEEP = "public, max-age=31536000, immutable"


def create_app(
    desk: Desk,
    *,
    hosts: Iterable[str] = HOSTS,
    secret: bytes | None = None,
    failpoint: Failpoint = pass_by,
) -> FastAPI:
    """Return the application that shows a desk.

    Parameters
    ----------
    desk : Desk
        The use cases and what they are joined to; stays the caller's to close.
    hosts : iterable of str
        Names under which this machine may be addressed.
    secret : bytes, optional
        Key of the form tokens; a new one at every start if not given.
    failpoint : callable, optional
        See `crowlight.wiring.failpoints`.

    Returns
    -------
    FastAPI
        The application; serve it on 127.0.0.1.
    """
    app = FastAPI(
        title="crowlight", version=__version__, docs_url=None, redoc_url=None, debug=False
    )
    app.state.desk = desk
    app.state.pages = Pages(Tokens(secret))
    app.state.running = Running()
    app.add_middleware(Replies, failpoint=failpoint)
    app.add_middleware(Guard, hosts=tuple(hosts))
    shown = (
        listing,
        readings,
        entries,
        reed,
        blades,
        next_cut,
        next_log,
        play,
        calibration,
        journeys,
        sounds,
        sound_files,
        settings,
        sitting,
        measure,
        closing,
        back,
    )
    for module in (
        *shown,
        scores,
        batch_making,
        batches,
        posted,
        arrival,
        letters,
        light,
        record,
        offline,
    ):
        app.include_router(module.router)
    app.add_api_route("/static/{version}/{name}", _static, include_in_schema=False)
    app.add_api_route("/favicon.ico", _icon, include_in_schema=False)
    app.add_exception_handler(CrowlightError, _known_error)
    app.add_exception_handler(BodyTooLarge, _too_large)
    app.add_exception_handler(RequestValidationError, _bad_address)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(Exception, _bug)
    return app


def _static(version: str, name: str) -> Response:
    """Return a style sheet or a script; the address changes with the content."""
    if name == "pages.css":
        body, kind = stylesheet(), "text/css; charset=utf-8"
    else:
        folder = files("crowlight.web") / "static" / "js"
        known = {f.name: f for f in folder.iterdir() if f.name.endswith(".js")}
        if name not in known:
            raise HTTPException(404)
        body, kind = known[name].read_bytes(), "text/javascript; charset=utf-8"
    return Response(body, media_type=kind, headers={"Cache-Control": _KEEP})


def _icon() -> Response:
    return Response(status_code=204)


def _page(request: Request, status: int, title: str, text: str) -> Response:
    if request.url.path.endswith(".json"):
        return JSONResponse({"detail": text}, status)
    pages: Pages = request.app.state.pages
    return pages.render(request, "error.html", status=status, title=title, text=text)


def _known_error(request: Request, error: Exception) -> Response:
    words = words_for(request)
    status = status_of(error) if isinstance(error, CrowlightError) else 500
    title = words(mark("Not there")) if status == 404 else words(mark("That did not work"))
    return _page(request, status, title, str(error))


def _too_large(request: Request, error: Exception) -> Response:
    words = words_for(request)
    limit = error.limit if isinstance(error, BodyTooLarge) else 0
    text = words.say(
        mark(
            "What was sent is larger than %(limit)s MB, the most this page takes. Nothing was "
            "changed; send it in parts."
        ),
        limit=words.number(limit / 1e6, 0),
    )
    response = _page(request, 413, words(mark("Too large")), text)
    response.headers["Connection"] = "close"  # the rest of the body is not read
    return response


def _bad_address(request: Request, error: Exception) -> Response:
    words = words_for(request)
    text = words(mark("There is no such page; go back to the list of reeds."))
    return _page(request, 404, words(mark("Not there")), text)


def _http_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    words = words_for(request)
    if status == 404:
        return _bad_address(request, error)
    text = words(mark("This page cannot be used that way; go back to the list of reeds."))
    return _page(request, status, words(mark("That did not work")), text)


def _bug(request: Request, error: Exception) -> Response:
    _log.error("a page failed: %s %s", request.method, request.url.path, exc_info=error)
    words = words_for(request)
    text = words(
        mark(
            "Something in crowlight itself failed. What was written down before is safe; go back "
            "and try once more. The window crowlight was started from says what happened."
        )
    )
    return _page(request, 500, words(mark("That did not work")), text)
