"""How the pages are shown on this device: kept in cookies, which hold nothing but choices.

Settings are also kept under a person's name; choosing the name on another device takes them over
there. Three cookies share them: what positions are counted from, how the reed is held, and the
rest. Whatever else stands in a cookie counts for nothing.
"""

from __future__ import annotations

from contextlib import suppress
from uuid import UUID

from babel import Locale
from babel.core import UnknownLocaleError
from starlette.requests import Request
from starlette.responses import Response

from crowlight.bench.display import Display, display_from
from crowlight.report.words import Shown
from crowlight.web.counted import COUNTED_FROM, counted_from
from crowlight.web.held import HELD, guesses_first, held

__all__ = ["DISPLAY", "WHO", "display_of", "keep_display", "numbers_for", "shown_for", "who_is"]

#: Names of the cookies.
DISPLAY, WHO = "crowlight-display", "crowlight-who"
_YEAR = 365 * 24 * 3600  # seconds
#: What stands in the cookie of display, in order.
_HERE = ("unit", "numbers", "theme", "contrast", "text", "palette", "spoken")


def display_of(request: Request) -> Display:
    """Return the settings of the device that asks."""
    reed = held(request)
    kept = request.cookies.get(DISPLAY, "")[:200].split(".")
    return display_from(
        {
            **dict(zip(_HERE, kept, strict=False)),
            "count_from": counted_from(request).value,
            "tip": reed.tip.value,
            "knife": reed.knife.value,
            "guess": "yes" if guesses_first(request) else "no",
        }
    )


def keep_display(response: Response, display: Display) -> None:
    """Keep settings on the device that is answered."""
    values = {
        DISPLAY: ".".join(getattr(display, name) for name in _HERE),
        HELD: f"{display.tip}.{display.knife}.{display.guess}",
        COUNTED_FROM: display.count_from,
    }
    for name, value in values.items():
        response.set_cookie(name, value, max_age=_YEAR, path="/", httponly=True, samesite="lax")


def who_is(request: Request) -> UUID | None:
    """Return the person this device says is at the bench; None for nobody."""
    with suppress(ValueError):
        return UUID(request.cookies.get(WHO, ""))
    return None


def numbers_for(request: Request, display: Display) -> str:
    """Return a locale that writes numbers as is wished.

    A few stand for all the others with the same marks, so that there are few sets of words.
    """
    if display.numbers != "auto":
        return {"point": "en", "comma": "de"}[display.numbers]
    header = request.headers.get("accept-language", "")[:200]
    first = header.split(",")[0].split(";")[0].strip().replace("-", "_")
    with suppress(UnknownLocaleError, ValueError):
        symbols = Locale.parse(first).number_symbols.get("latn", {})
        return {(",", "."): "de", (",", "\N{NO-BREAK SPACE}"): "cs"}.get(
            (symbols.get("decimal"), symbols.get("group")),
            "fr" if symbols.get("decimal") == "," else "en",
        )
    return "en"


def shown_for(request: Request) -> Shown:
    """Return how numbers and maps are shown to the device that asks."""
    display = display_of(request)
    numbers = numbers_for(request, display)
    return Shown(
        numbers="" if numbers == "en" else numbers,
        unit=display.unit,  # pyright: ignore[reportArgumentType]  # one of the choices
        palette=display.palette,  # pyright: ignore[reportArgumentType]  # one of the choices
    )
