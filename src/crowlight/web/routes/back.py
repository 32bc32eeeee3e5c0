"""Looking back: the reed's moments in order, and any two of them compared."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.bench.backward import (
    Moment,
    matched_volumes,
    moments_of,
    photos_at,
    programme_level,
    sounds_at,
    usual_pair,
)
from crowlight.bench.desk import Sheet
from crowlight.bench.mapping import placed_style
from crowlight.bench.ports import Entry
from crowlight.bench.recordings import KeptRecording
from crowlight.bench.workshop_kinds import Photo
from crowlight.errors import CrowlightError, NotFound
from crowlight.reed import Blade
from crowlight.reed.styles import Style
from crowlight.report.change_map import change_picture, change_rows, thickness_rows
from crowlight.report.counting import Counting
from crowlight.report.environment import style as style_sheet
from crowlight.report.maps import thickness_picture
from crowlight.report.posted_words import SHOWS
from crowlight.report.words import mark
from crowlight.web.counted import counted_from, counting_for, remember
from crowlight.web.log import lines
from crowlight.web.looking import as_kept, judged
from crowlight.web.security import POLICY_REPORT, policy
from crowlight.web.sending import Bench, UseBench, status_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_POLICY = policy(media_src="'self'")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shot:
    """A photograph: its entry, what it shows, and when, both in words too."""

    uuid: UUID
    seq: int
    shows: str
    at: datetime
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One moment of the timeline."""

    moment: Moment
    title: str
    says: str
    pictures: bool
    sound: UUID | None
    photo: _Shot | None


@router.get("/reeds/{reed}/back")
def back_page(
    request: Request, reed: UUID, bench: UseBench, before: str = "", after: str = ""
) -> Response:
    """Show the timeline, and two moments compared where two are named."""
    sheet = as_kept(bench.desk, reed)
    moments = moments_of(sheet.entries)
    pair = usual_pair(moments)
    chosen = (before or str(pair[0] if pair else ""), after or str(pair[1] if pair else ""))
    compared, why, status = None, "", 200
    if before or after:
        try:
            compared = _compared(request, bench, sheet, before, after)
        except CrowlightError as error:
            why, status = str(error), status_of(error)
    titles = {x.seq: x for x in lines(sheet, bench.words)}
    page = bench.pages.render(
        request,
        "back.html",
        status=status,
        sheet=sheet,
        rows=[_row(m, titles[m.last], bench) for m in reversed(moments)],
        choices=[
            (str(m.last), f"{m.last}. {bench.words.kind(m.kind)}, {bench.words.moment(m.at)}")
            for m in reversed(moments)
        ],
        chosen=chosen,
        compared=compared,
        why=why,
    )
    page.headers["Content-Security-Policy"] = _POLICY
    remember(request, page)
    return page


def _row(moment: Moment, line: Any, bench: Bench) -> _Row:
    count = len(moment.entries)
    says = line.says
    if count > 1:
        says = bench.words.count("%(num)s reading", "%(num)s readings", count)
    return _Row(
        moment=moment,
        title=line.title,
        says=says,
        pictures=moment.measures,
        sound=moment.entries[-1].uuid if moment.kind == "recording" else None,
        photo=_shot(moment.entries[-1], bench),
    )


def _shot(entry: Entry, bench: Bench) -> _Shot | None:
    photo = entry.payload
    if not isinstance(photo, Photo):
        return None
    words, shows = bench.words, bench.words(SHOWS[photo.shows])
    text = words.say(mark("%(what)s, %(when)s"), what=shows, when=words.moment(entry.happened_at))
    if photo.remark:
        text = f"{text}: {photo.remark}"
    return _Shot(uuid=entry.uuid, seq=entry.seq, shows=shows, at=entry.happened_at, told=text)


def _number(text: str, bench: Bench) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise NotFound(bench.words(mark("Choose two moments of this reed.")))
    return int(text)


def _compared(
    request: Request, bench: Bench, sheet: Sheet, before: str, after: str
) -> dict[str, Any]:
    """Return everything the comparison shows."""
    one, other = sorted((_number(before, bench), _number(after, bench)))
    reed, words = sheet.reed.uuid, bench.words
    found = bench.desk.compare(reed, one, other)
    counting = counting_for(request, found.after)
    style = _style(bench, sheet, found.after.length)
    tip = found.after.length or (style.length if style else 0.07)
    return {
        "before": one,
        "after": other,
        "rows": change_rows(found, words),
        "places": thickness_rows(found, style=style, counting=counting, words=words),
        "happened": [
            (words.kind(e.payload.kind), words.moment(e.happened_at))
            for e in found.difference.happened
        ],
        "maps": [
            (
                words.group(m.state),
                [
                    (
                        words.blade(b),
                        change_picture(
                            m,
                            b,
                            tip=tip,
                            counting=counting,
                            words=words,
                            name=f"change-{n}-{b.value}",
                        ),
                    )
                    for b in Blade
                ],
                m.state.value,
            )
            for n, m in enumerate(found.maps)
        ],
        "counting": counting,
        "photos": [
            (_shot(a, bench), _shot(b, bench)) for a, b in photos_at(sheet.entries, one, other)
        ],
        "sounds": _sounds(request, bench, sheet, one, other),
    }


def _style(bench: Bench, sheet: Sheet, length: float | None) -> Style | None:
    inputs = bench.desk.reed_inputs(sheet.reed, sheet.state)
    try:
        return (
            placed_style(inputs["style"], length, inputs["style_text"]) if inputs["style"] else None
        )
    except CrowlightError:
        return None


def _sounds(
    request: Request, bench: Bench, sheet: Sheet, before: int, after: int
) -> dict[str, Any] | None:
    """Return the two recordings, equally loud; blind, if that is wished."""
    pair = sounds_at(sheet.entries, before, after)
    if pair is None:
        return None
    volumes = matched_volumes(*(_level(bench, r) for r in pair))
    sides = [
        {"uuid": r.entry.uuid, "volume": f"{v:.3f}", "seq": r.entry.seq, "at": r.entry.happened_at}
        for r, v in zip(pair, volumes, strict=True)
    ]
    asked = request.query_params
    blind = asked.get("blind") == "1"
    turned = asked.get("order") == "1" if asked.get("said") else bool(secrets.randbits(1))
    shown = sides[::-1] if blind and turned else sides
    said = asked.get("said", "")
    return {
        "of": pair[0].payload.sound_of,
        "shown": shown,
        "blind": blind,
        "order": "1" if turned else "0",
        "said": said if said in {"A", "B", "same"} else "",
        # which of the two letters was the later recording
        "later": "A" if turned else "B",
    }


def _level(bench: Bench, recording: KeptRecording) -> float:
    heard = bench.desk.sounds.read(bench.desk.blobs.get(recording.payload.digest))
    return programme_level(heard.sound, heard.rate)


@router.get("/reeds/{reed}/back/{seq}/{blade}.svg")
def then(
    request: Request, reed: UUID, seq: int, blade: Blade, bench: UseBench, dark: bool = False
) -> Response:
    """Return the map of a blade as it was after an entry, as a picture of its own."""
    sheet, _ = judged(bench.desk, reed, up_to=seq)
    groups = sheet.assessment.groups if sheet.assessment else ()
    group = next((g for g in groups if g.mapped is not None), None)
    if group is None or sheet.assessment is None:
        raise NotFound(bench.words(mark("There is no thickness map of these readings.")))
    counting = Counting.of(sheet.assessment, counted_from(request))
    svg = thickness_picture(group, blade, words=bench.words, name="then", counting=counting)
    scheme = f":root {{ color-scheme: {'dark' if dark else 'light'} }}"
    sheets = f"<style>{style_sheet('tokens', 'pictures')}{scheme}</style>"
    head, rest = svg.split(">", 1)
    text = f'{head} xmlns="http://www.w3.org/2000/svg">{sheets}{rest}'
    headers = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=60"}
    return Response(text, media_type="image/svg+xml", headers=headers)
