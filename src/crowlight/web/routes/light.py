"""A reed against the light: choose a photograph, mark four points, see which side is lighter."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.light_kinds import LightMarks
from crowlight.bench.lit import Lit
from crowlight.bench.workshop_kinds import Photo
from crowlight.errors import CrowlightError, InputError
from crowlight.look import Answer
from crowlight.report.light import (
    CAUTIONS,
    DENIAL,
    FACING,
    NEXT,
    NOTES,
    PASSED,
    USUAL_LENGTH,
    facing_said,
    headline,
    light_picture,
    light_rows,
)
from crowlight.report.photographs import ON_PAPER, smaller
from crowlight.report.posted_words import SHOWS
from crowlight.report.words import Words, mark
from crowlight.web.looking import as_kept
from crowlight.web.numbers import shown, typed_number
from crowlight.web.photographs import PICTURE_HEADERS, keep_sent
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: The four points in the order in which they are marked: round the reed.
_POINTS: tuple[tuple[str, str], ...] = (
    ("tip_left", mark("Tip, left corner")),
    ("tip_right", mark("Tip, right corner")),
    ("foot_right", mark("Thread, right edge")),
    ("foot_left", mark("Thread, left edge")),
)
_FROM = (("x", mark("from the left")), ("y", mark("from the top")))


@dataclass(frozen=True, slots=True)
class _Answered:
    """A measurement, or why there is none."""

    lit: Lit | None = None
    why: str = ""
    status: int = 200


@router.get("/reeds/{reed}/light")
def light_page(
    request: Request, reed: UUID, bench: UseBench, photo: UUID | None = None
) -> Response:
    """Show the photograph that was asked for, or the one marked last, and what it tells."""
    return _page(request, bench, reed, photo)


@router.get("/reeds/{reed}/light/{entry}")
def upright(reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Return a photograph upright and no larger than a page shows."""
    found = smaller(bench.desk.posted.photo(reed, entry), ON_PAPER)
    return Response(found.shown, media_type=found.media_type, headers=PICTURE_HEADERS)


@router.post("/reeds/{reed}/light/photos")
async def send_photo(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Keep a photograph against the light."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_keep, request, bench, reed, sent)


def _keep(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    _, data = sent.files.get("photo", ("", b""))
    if not troubles and not data:
        text = bench.words(mark("No photograph was chosen; choose one."))
        troubles, status = [Trouble("photo", text)], 422
    if not troubles:
        status, troubles = keep_sent(bench, reed, "light", sent)
    if not troubles:
        return RedirectResponse(f"/reeds/{reed}/light?photo={sent.uuid}&done=photo", status)
    return _page(request, bench, reed, None, troubles=troubles, status=status)


@router.post("/reeds/{reed}/light")
async def send_marks(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Keep the marks and show what they tell."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_mark, request, bench, reed, sent)


def _mark(request: Request, bench: Bench, reed: UUID, sent: Sent) -> Response:
    marks, troubles = _marks_of(sent, bench.words)
    status = 422
    if sent.troubles:
        troubles, status = list(sent.troubles), 403
    photo = _uuid(sent.one("photo"))
    if marks is not None and not troubles:
        try:
            bench.desk.posted.photo(reed, marks.photo)
            write_once(bench.desk, reed, marks, sent)
        except CrowlightError as error:
            status, troubles = status_of(error), [trouble_of(error, bench.words)]
        else:
            at = f"/reeds/{reed}/light?photo={marks.photo}&done=light&form=light#answer"
            return RedirectResponse(at, 303)
    return _page(request, bench, reed, photo, troubles=troubles, status=status, sent=sent)


def _marks_of(sent: Sent, words: Words) -> tuple[LightMarks | None, list[Trouble]]:
    """Read the form; what is wrong is said field by field."""
    troubles: list[Trouble] = []

    def number(name: str, label: str, unit: str) -> float | None:
        typed = sent.one(name)
        if not typed:
            text = words.say(mark("%(field)s is empty; fill it in"), field=label)
            troubles.append(Trouble(name, text))
            return None
        try:
            return typed_number(typed, unit=unit, words=words)
        except InputError as error:
            troubles.append(Trouble(name, f"{label}: {error}"))
            return None

    data: dict[str, object] = {}
    for point, label in _POINTS:
        pair: list[float] = []
        for axis, way in _FROM:
            said = f"{words(label)}, {words(way)}"
            value = number(f"{point}_{axis}", said, "%")
            if value is not None and not 0 <= value <= 100:
                text = mark("%(field)s must lie between 0 and 100 %%; mark the point again")
                troubles.append(Trouble(f"{point}_{axis}", words.say(text, field=said)))
            elif value is not None:
                pair.append(value / 100)
        data[point] = tuple(pair)
    if sent.one("reach"):
        reach = number("reach", words(mark("Tip to the lower marks")), "mm")
        if reach is not None and not 5 <= reach <= 40:
            text = mark("The lower marks must lie 5 to 40 mm from the tip.")
            troubles.append(Trouble("reach", words(text)))
        elif reach is not None:
            data["reach"] = reach * 1e-3
    data |= {name: sent.one(name) for name in ("facing", "passed") if sent.one(name)}
    data |= {"photo": _uuid(sent.one("photo")), "remark": sent.one("remark")}
    if troubles:
        return None, troubles
    try:
        return LightMarks.model_validate(data), []
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        name = str(first["loc"][0]) if first["loc"] else ""
        known = {"facing", "passed", "remark"}
        text = words(mark("This could not be read; choose or write it again."))
        return None, [Trouble(name if name in known else "", text)]


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _answered(bench: Bench, reed: UUID, photo: UUID | None) -> _Answered:
    try:
        return _Answered(lit=bench.desk.light.look(reed, photo))
    except CrowlightError as error:
        status = status_of(error)
        return _Answered(why=str(error), status=status if status != 500 else 422)


def _page(
    request: Request,
    bench: Bench,
    reed: UUID,
    photo: UUID | None,
    *,
    troubles: list[Trouble] | None = None,
    status: int = 200,
    sent: Sent | None = None,
) -> Response:
    sheet = as_kept(bench.desk, reed)
    words, desk = bench.words, bench.desk
    photos = desk.posted.photos(reed)
    lit_of = desk.light.marked(reed, photo)
    marks = lit_of.payload if lit_of and isinstance(lit_of.payload, LightMarks) else None
    shown_uuid = photo or (marks.photo if marks else None)
    if shown_uuid is None:
        against = [e for e in photos if isinstance(e.payload, Photo) and e.payload.shows == "light"]
        shown_uuid = against[-1].uuid if against else None
    chosen = next((e for e in photos if e.uuid == shown_uuid), None)
    if photo is not None and chosen is None and sent is None:
        desk.posted.photo(reed, photo)  # says that there is none
    # what was typed for a photograph that is gone stays in sight
    marking = shown_uuid if chosen else (sent.one("photo") if sent else None)
    answered = _answered(bench, reed, photo) if marks and not troubles else _Answered()
    lit = answered.lit
    look = lit.found.look if lit else None
    return bench.pages.render(
        request,
        "light.html",
        status=max(status, answered.status),
        sheet=sheet,
        photos=photos,
        chosen=chosen,
        marking=marking,
        posted=desk.posted.posting(reed) is not None,
        shows=SHOWS,
        points=[(name, words(label)) for name, label in _POINTS],
        typed=sent.typed if sent else _typed(marks),
        facing=FACING,
        passed=PASSED,
        lit=lit,
        why=answered.why,
        headline=headline(look, words) if look else "",
        zones=light_rows(look.zones, lit.tip, words) if lit and look else [],
        bands=light_rows(look.bands, lit.tip, words) if lit and look else [],
        differs=bool(look and any(p.answer is Answer.DIFFERS for p in (*look.zones, *look.bands))),
        drawn=light_picture(lit.found, f"/reeds/{reed}/light/{lit.photo.uuid}", words)
        if lit and look and look.bands
        else "",
        seen_as=facing_said(lit.marks, words) if lit else "",
        notes=[words(NOTES[n]) for n in lit.found.notes] if lit else [],
        cautions=[words(c) for c in CAUTIONS],
        denial=words(DENIAL),
        next_said=words(NEXT),
        usual_length=words(USUAL_LENGTH),
        uuid=sent.uuid if sent and status != 409 else None,
        troubles=troubles or [],
    )


def _typed(marks: LightMarks | None) -> dict[str, list[str]]:
    """Return what one would have typed to set these marks."""
    if marks is None:
        return {"facing": ["unsure"], "passed": ["both"]}
    typed: dict[str, list[str]] = {}
    for name, _ in _POINTS:
        x, y = getattr(marks, name)
        typed[f"{name}_x"], typed[f"{name}_y"] = [shown(100 * x)], [shown(100 * y)]
    typed |= {"facing": [marks.facing], "passed": [marks.passed], "remark": [marks.remark]}
    if marks.reach is not None:
        typed["reach"] = [shown(marks.reach * 1e3)]
    return typed
