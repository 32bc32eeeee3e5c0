"""Where somebody goes after writing something down: back to what they came from."""

from __future__ import annotations

from uuid import UUID

from fastapi import Request

__all__ = ["FROM_ARRIVAL", "back_to"]

#: Added to the address of a form that is opened from the list of what comes before any touch.
FROM_ARRIVAL = "?from=arrival"

_PAGES = {
    "arrival": "/reeds/{reed}/arrival",
    "next": "/reeds/{reed}/next",
    "bench": "/bench?reed={reed}",
}


def back_to(request: Request, reed: UUID, done: str = "", form: str = "") -> str:
    """Return the address of the page to go back to.

    Parameters
    ----------
    request : Request
        Of the form; its `from` names the page it was opened from. The reed's own page if it names
        none.
    reed : UUID
        The reed.
    done, form : str
        What that page is to say was done, and with which form.
    """
    page = _PAGES.get(request.query_params.get("from", ""), "/reeds/{reed}").format(reed=reed)
    if not done:
        return page
    return f"{page}{'&' if '?' in page else '?'}done={done}&form={form}"
