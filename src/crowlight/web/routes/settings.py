"""How the pages are shown: chosen once, kept on this device and under a person's name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.display import CHOICES, Display, display_from
from crowlight.bench.ports import Person
from crowlight.errors import CrowlightError, NotFound
from crowlight.report.counting import ORIGINS
from crowlight.report.held import HANDS, TIPS
from crowlight.report.words import mark
from crowlight.web.display import WHO, display_of, keep_display, who_is
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of
from crowlight.web.typing_in import Trouble

__all__ = ["LABELS", "router"]

router = APIRouter(include_in_schema=False)

_YEAR = 365 * 24 * 3600  # seconds
_YES_NO: Mapping[str, str] = {"no": mark("no"), "yes": mark("yes")}


def _plain(codes: Mapping[Any, str]) -> dict[str, str]:
    return {code.value: said for code, said in codes.items()}


#: Each setting: its heading, what it may be, and a sentence of help.
LABELS: Mapping[str, tuple[str, Mapping[str, str], str]] = {
    "knife": (
        mark("The knife is"),
        _plain(HANDS),
        mark("Buttons lie on the side of the free hand."),
    ),
    "tip": (mark("The tip points"), _plain(TIPS), mark("Blades are drawn so at the bench.")),
    "count_from": (mark("Count positions from"), _plain(ORIGINS), ""),
    "unit": (
        mark("Thickness in"),
        {
            "mm": mark("mm"),
            "hundredths": mark("hundredths of a mm"),
            "um": mark("micrometres, µm"),
        },
        mark("Also what a gauge that types is taken to send. Lengths stay in mm."),
    ),
    "numbers": (
        mark("Decimals"),
        {
            "auto": mark("as the browser's language has them"),
            "point": mark("point: 0.46"),
            "comma": mark("comma: 0,46"),
        },
        mark("Both marks may always be typed."),
    ),
    "theme": (
        mark("Light or dark"),
        {"system": mark("as this device has it"), "light": mark("light"), "dark": mark("dark")},
        "",
    ),
    "contrast": (mark("Contrast"), {"usual": mark("usual"), "high": mark("high")}, ""),
    "text": (mark("Text"), {"usual": mark("usual"), "large": mark("large")}, ""),
    "palette": (
        mark("Colours of maps"),
        {
            "cane": mark("cane: pale to brown"),
            "sea": mark("sea: pale to blue"),
            "grey": mark("grey"),
        },
        mark("All are told apart without red or green cones; dark is always thick."),
    ),
    "spoken": (
        mark("Say aloud what comes next"),
        _YES_NO,
        mark("By the voice of this browser, at the bench; nothing is sent anywhere."),
    ),
    "guess": (mark("Guess before advice is shown"), _YES_NO, ""),
}
_SECTIONS: Sequence[tuple[str, Sequence[str]]] = (
    (mark("The reed in your hand"), ("knife", "tip", "count_from")),
    (mark("Numbers"), ("unit", "numbers")),
    (mark("To look at"), ("theme", "contrast", "text", "palette")),
    (mark("At the bench"), ("spoken", "guess")),
)


def _page(
    request: Request,
    bench: Bench,
    *,
    typed: Mapping[str, Sequence[str]] | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    people = bench.desk.people.all()
    who = who_is(request)
    words = bench.words
    return bench.pages.render(
        request,
        "settings.html",
        status=status,
        typed=typed or {k: [v] for k, v in display_of(request).as_kept().items()},
        troubles=troubles,
        people=_choices(people),
        who=next((p for p in people if p.uuid == who), None),
        sections=[
            (
                words(title),
                [
                    (name, words(label), [(c, words(said[c])) for c in CHOICES[name]], words(hint))
                    for name in names
                    for label, said, hint in (LABELS[name],)
                ],
            )
            for title, names in _SECTIONS
        ],
    )


def _choices(people: Sequence[Person]) -> list[tuple[str, str]]:
    """Return every person once: who makes and plays reeds stands there twice."""
    return list({str(p.uuid): p.name for p in people}.items())


@router.get("/settings")
def settings_page(request: Request, bench: UseBench) -> Response:
    """Show the settings of this device."""
    return _page(request, bench)


@router.post("/settings")
async def keep_settings(request: Request, bench: UseBench) -> Response:
    """Keep the settings on this device, and under the name of who is at the bench."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, sent)


def _keep(request: Request, bench: Bench, sent: Sent) -> Response:
    display = display_from({name: sent.one(name) for name in CHOICES})
    troubles, status = list(sent.troubles), 403
    who = who_is(request)
    if not troubles and who is not None:
        try:
            bench.desk.records.put_setting(who, display.as_kept())
        except NotFound:
            who = None  # erased since: the device keeps them all the same
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
    if troubles:
        return _page(request, bench, typed=sent.typed, troubles=troubles, status=status)
    return _done(display, "settings")


@router.post("/settings/who")
async def keep_who(request: Request, bench: UseBench) -> Response:
    """Say who is at the bench, and take over what is kept under that name."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_who, request, bench, sent)


def _who(request: Request, bench: Bench, sent: Sent) -> Response:
    if sent.troubles:
        return _page(request, bench, troubles=sent.troubles, status=403)
    chosen = sent.one("who")
    try:
        if name := sent.one("name"):
            person = _called(bench, name, sent.uuid)
        elif chosen:
            person = bench.desk.people.find(chosen)
        else:
            response = RedirectResponse("/settings?done=settings", 303)
            response.delete_cookie(WHO, path="/")
            return response
        kept = bench.desk.records.setting(person.uuid)
    except CrowlightError as error:
        text = trouble_of(error, bench.words).text
        return _page(request, bench, troubles=[Trouble("who", text)], status=status_of(error))
    response = _done(display_from(kept) if kept else display_of(request), "settings")
    response.set_cookie(
        WHO, str(person.uuid), max_age=_YEAR, path="/", httponly=True, samesite="lax"
    )
    return response


def _called(bench: Bench, name: str, uuid: UUID) -> Person:
    """Return the person of this name, who is added as a maker if there is none."""
    with suppress(NotFound):
        return bench.desk.people.find(name)
    return bench.desk.people.add_maker(name, uuid=uuid)


def _done(display: Display, code: str) -> Response:
    response = RedirectResponse(f"/settings?done={code}", 303)
    keep_display(response, display)
    return response
