"""What a user wants positions counted from: chosen by a link, kept in a cookie.

The cookie holds nothing but that choice, and whatever else stands in it counts for nothing.
"""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from crowlight.bench.state import ReedState
from crowlight.reed import Origin
from crowlight.report.counting import Counting, counting_of_state

__all__ = ["COUNTED_FROM", "counted_from", "counting_for", "remember"]

#: Name of the cookie.
COUNTED_FROM = "crowlight-from"
_YEAR = 365 * 24 * 3600  # seconds


def _origin(code: str | None) -> Origin | None:
    return Origin(code) if code in set(Origin) else None


def counted_from(request: Request) -> Origin:
    """Return what positions are counted from: as the address says, else the cookie, else the tip.

    Parameters
    ----------
    request : Request
        Its address may carry ``from``: ``tip``, ``rim`` or ``thread``.
    """
    asked = _origin(request.query_params.get("from"))
    return asked or _origin(request.cookies.get(COUNTED_FROM)) or Origin.TIP


def counting_for(request: Request, state: ReedState) -> Counting:
    """Return how positions of a reed are counted: as asked, from the rim if that is not known.

    Parameters
    ----------
    request : Request
        Says what is wished; see `counted_from`.
    state : ReedState
        What is known of the reed.
    """
    return counting_of_state(state, counted_from(request))


def remember(request: Request, response: Response) -> None:
    """Keep the choice an address carries, unless the link stood on another site."""
    asked = _origin(request.query_params.get("from"))
    foreign = request.headers.get("sec-fetch-site", "none") not in {"none", "same-origin"}
    if asked is not None and not foreign:
        response.set_cookie(
            COUNTED_FROM, asked.value, max_age=_YEAR, path="/", httponly=True, samesite="lax"
        )
