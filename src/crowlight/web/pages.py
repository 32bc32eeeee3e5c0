"""Rendering a page: the frame, the words, the token of its forms."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any
from uuid import uuid4

from babel import negotiate_locale
from jinja2 import Environment
from starlette.requests import Request
from starlette.responses import HTMLResponse

from crowlight.report.environment import environment, style
from crowlight.report.words import Words, in_locale, mark
from crowlight.web.display import display_of, shown_for
from crowlight.web.security import COOKIE, Tokens
from crowlight.web.threads import thread_fill

__all__ = ["DONE", "Pages", "stylesheet", "words_for"]

#: How a picture says that its dark twin is for dark pages.
_ASKS_SYSTEM = 'media="(prefers-color-scheme: dark)"'
#: Languages there are sentences in.
LANGUAGES = ("en",)

#: What a page says after something was written; the address carries the code.
DONE: Mapping[str, str] = {
    "written": mark("Written down."),
    "corrected": mark("Corrected; the old entry stays in the log, struck out."),
    "withdrawn": mark("Withdrawn; the entry stays in the log, struck out."),
    "imported": mark("Table imported."),
    "imported-before": mark("This table was imported before; nothing was added."),
    "added": mark("Reed added."),
    "taken-in": mark("Taken in. Now photographs and measures, before any touch."),
    "photo": mark("Photograph kept."),
    "light": mark("Marked. The answer is below."),
    "letter": mark("Letter kept as you edited it."),
    "settings": mark("Kept."),
    "batch": mark("Batch kept."),
}


def words_for(request: Request) -> Words:
    """Return the words of the language the browser prefers, shown as this device wants them."""
    header = request.headers.get("accept-language", "")[:200]
    wanted = [part.split(";")[0].strip().replace("-", "_") for part in header.split(",")]
    language = negotiate_locale([w for w in wanted if w], LANGUAGES) or LANGUAGES[0]
    return in_locale(language, shown_for(request))


@cache
def stylesheet() -> bytes:
    """Return the one style sheet of all pages."""
    folder = files("crowlight.web") / "static" / "css"
    names = ("pages", "models", "sounds", "bench", "next", "batches", "posted", "light")
    own = "".join((folder / f"{n}.css").read_text(encoding="utf-8") for n in (*names, "recorder"))
    return (style("tokens", "pictures") + own).encode()


@cache
def _environment(words: Words) -> Environment:
    env = environment(words, "crowlight.web")

    def translated(choices: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        return [(value, words(said)) for value, said in choices]

    def suggestions(choices: Sequence[tuple[str, str]]) -> list[str]:
        return [words(said) for _, said in choices]

    env.globals.update(
        words=words, thread_fill=thread_fill, translated=translated, suggestions=suggestions
    )
    return env


class Pages:
    """Renders pages.

    Parameters
    ----------
    tokens : Tokens
        What makes the tokens of forms.
    """

    def __init__(self, tokens: Tokens) -> None:
        self.tokens = tokens
        folder = files("crowlight.web") / "static" / "js"
        scripts = b"".join(f.read_bytes() for f in sorted(folder.iterdir(), key=lambda f: f.name))
        #: Part of the address of static files, so that browsers may keep them for good.
        self.version = hashlib.sha256(stylesheet() + scripts).hexdigest()[:12]

    def render(
        self, request: Request, template: str, *, status: int = 200, **values: Any
    ) -> HTMLResponse:
        """Return a page.

        Parameters
        ----------
        request : Request
            What is answered.
        template : str
            Name of the template.
        status : int
            HTTP status.
        **values : object
            What the template shows.
        """
        words = words_for(request)
        display = display_of(request)
        cookie = self.tokens.cookie_of(request)
        done = request.query_params.get("done", "")
        text = (
            _environment(words)
            .get_template(template)
            .render(
                token=self.tokens.token(cookie),
                static=f"/static/{self.version}",
                done=words(DONE[done]) if done in DONE else "",
                done_form=request.query_params.get("form", "") if done in DONE else "",
                answered=request.method == "POST",
                display=display,
                fresh_uuid=lambda: str(uuid4()),
                **values,
            )
        )
        if display.theme != "system":
            # pictures with a dark twin ask the system; whoever chose is not asked
            media = "all" if display.theme == "dark" else "not all"
            text = text.replace(_ASKS_SYSTEM, f'media="{media}"')
        response = HTMLResponse(text, status)
        if request.cookies.get(COOKIE) != cookie:
            response.set_cookie(COOKIE, cookie, httponly=True, samesite="strict", path="/")
        return response
