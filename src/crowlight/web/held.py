"""How a user holds the reed, and whether to guess first: chosen by a link, kept in a cookie.

The cookie holds nothing but those choices, and whatever else stands in it counts for nothing.
"""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from crowlight.report.held import Hand, Held, Tip

__all__ = ["HELD", "guesses_first", "held", "remember_held"]

#: Name of the cookie.
HELD = "crowlight-held"
_YEAR = 365 * 24 * 3600  # seconds


def _settings(request: Request) -> dict[str, str]:
    """Return the settings: as the address says, else as the cookie says."""
    names = ("tip", "knife", "guess")
    kept = (request.cookies.get(HELD, "") + "...").split(".")
    return {
        name: request.query_params.get(name) or old for name, old in zip(names, kept, strict=False)
    }


def held(request: Request) -> Held:
    """Return how the reed is held: tip up and the knife in the right hand if nobody chose.

    Parameters
    ----------
    request : Request
        Its address may carry ``tip`` (``up``, ``down``, ``right``, ``left``) and ``knife``
        (``right``, ``left``).
    """
    said = _settings(request)
    tip = Tip(said["tip"]) if said["tip"] in set(Tip) else Tip.UP
    knife = Hand(said["knife"]) if said["knife"] in set(Hand) else Hand.RIGHT
    return Held(tip, knife)


def guesses_first(request: Request) -> bool:
    """Return whether a hunch is asked for before the advice is shown; ``guess=yes`` or ``no``."""
    return _settings(request)["guess"] == "yes"


def remember_held(request: Request, response: Response) -> None:
    """Keep the choices an address carries, unless the link stood on another site."""
    foreign = request.headers.get("sec-fetch-site", "none") not in {"none", "same-origin"}
    if foreign or not {"tip", "knife", "guess"} & set(request.query_params):
        return
    now = held(request)
    guess = "yes" if guesses_first(request) else "no"
    value = f"{now.tip.value}.{now.knife.value}.{guess}"
    response.set_cookie(HELD, value, max_age=_YEAR, path="/", httponly=True, samesite="lax")
