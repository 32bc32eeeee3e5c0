"""The bench: up to eight reeds in rotation, and one thing to do next with each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import Withdrawn
from crowlight.bench.ports import Reed, ReedQuery, Sitting, SittingReed
from crowlight.bench.posted import Owed
from crowlight.bench.sittings import MOST_REEDS, Act, Step, minutes_wet, next_act, passed_now
from crowlight.errors import CrowlightError, InputError, NotFound
from crowlight.report.advice import ASKS
from crowlight.report.sitting import STEPS, WHY, asked_said
from crowlight.report.words import Words, mark
from crowlight.web.bench_choice import OFFERED, kept_reed, offered
from crowlight.web.fields import FORMS
from crowlight.web.held import guesses_first, held
from crowlight.web.log import Line, lines
from crowlight.web.looking import as_kept
from crowlight.web.next_shown import NextShown, next_shown
from crowlight.web.routes import next_log
from crowlight.web.running import Running, UnderWay
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble, payload_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Kinds of entry that are written down at the bench itself.
_KINDS = ("wetting", "trials", "playing-test", "treated", "cut", "clip", "after-check", "rest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One reed on the bench, as its tile shows it."""

    sheet: Sheet
    here: SittingReed
    wet: str
    last: str
    act: Act
    step: str
    owed: Owed


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """The reed in hand.

    Parameters
    ----------
    tile : Tile
        Its tile.
    step : Step
        The step that is shown: the next one, or the one that was asked for.
    title, why, spoken : str
        What to do, why, and both as one would say them aloud.
    chosen : bool
        Whether the step was asked for and is not the next one.
    undo : Line or None
        The latest entry written since the reed was laid here.
    follows : UUID or None
        What a check afterwards is about.
    """

    tile: Tile
    step: Step
    title: str
    why: str
    spoken: str
    chosen: bool
    undo: Line | None
    follows: UUID | None


# --- looking --------------------------------------------------------------------------------------


@router.get("/bench")
def bench_page(
    request: Request, bench: UseBench, reed: str = "", step: str = "", q: str = ""
) -> Response:
    """Show the reeds on the bench and the one in hand, or choose reeds for a sitting."""
    sitting = bench.desk.records.open_sitting()
    if sitting is None or not sitting.reeds:
        return _choosing(request, bench, text=q, came_from=kept_reed(bench.desk, reed))
    return _page(request, bench, sitting, asked=reed, step=step)


def _choosing(
    request: Request,
    bench: Bench,
    *,
    text: str = "",
    came_from: Reed | None = None,
    typed: Mapping[str, Sequence[str]] | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    if came_from is not None:  # that one is meant to lie here
        typed = {"reed": [str(came_from.uuid)]}
    return bench.pages.render(
        request,
        "bench-choose.html",
        status=status,
        found=offered(bench.desk, text, came_from),
        text=text,
        most=MOST_REEDS,
        typed=typed or {},
        troubles=troubles,
    )


def _page(
    request: Request,
    bench: Bench,
    sitting: Sitting,
    *,
    asked: str = "",
    step: str = "",
    typed: Mapping[str, Sequence[str]] | None = None,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
) -> Response:
    tiles = [_tile(bench, here) for here in sitting.reeds]
    in_hand = asked if asked in {str(t.here.reed) for t in tiles} else str(sitting.shown)
    tile = next((t for t in tiles if str(t.here.reed) == in_hand), tiles[0])
    elsewhere = None if asked == in_hand else kept_reed(bench.desk, asked)
    step = "" if elsewhere else step  # it was meant for the other one
    others = bench.desk.reeds(ReedQuery(limit=OFFERED))
    here = {t.here.reed for t in tiles}
    hand = _hand(tile, step, bench.words)
    advice = _advice(request, bench, tile.sheet) if hand.step is Step.DECIDE else _Advice()
    if not hand.chosen and advice.asks_gauge:
        tile = _tile(bench, tile.here, advice_asks=True)
        tiles = [tile if t.here.reed == tile.here.reed else t for t in tiles]
        hand = _hand(tile, step, bench.words)
    page = bench.pages.render(
        request,
        "bench.html",
        status=202 if advice.under_way and status == 200 else status,
        sitting=sitting,
        tiles=tiles,
        hand=hand,
        advice=advice,
        elsewhere=elsewhere,
        steps=[(s, bench.words(STEPS[s].name)) for s in Step],
        most=MOST_REEDS,
        others=[(str(r.uuid), r.name) for r in others.rows if r.uuid not in here],
        fields={kind: {f.name: f for f in FORMS[kind].fields} for kind in _KINDS},
        forms_of=FORMS,
        typed=typed or {},
        troubles=troubles,
    )
    if advice.under_way:
        page.headers["Progress"] = f"{advice.under_way.fraction:.2f}"
    return page


@dataclass(frozen=True, slots=True, kw_only=True)
class _Advice:
    """What the one screen shows, or how far it is, or why there is none."""

    shown: NextShown | None = None
    under_way: UnderWay | None = None
    why: str = ""

    @property
    def asks_gauge(self) -> bool:
        """Whether too little is known for it, and the gauge is among what would tell most."""
        n = self.shown
        return bool(n and n.measure_first and any(c.address == "readings" for c in n.checks[:3]))


def _advice(request: Request, bench: Bench, sheet: Sheet) -> _Advice:
    """Return what the next-cut screen says of a reed."""
    running: Running = request.app.state.running
    reed = sheet.reed.uuid
    if guesses_first(request):
        return _Advice()  # a hunch comes first, on the screen itself
    try:
        state = running.ask(
            ("next", reed, sheet.reed.seq), bench.desk, lambda d: d.advice.plan(reed)
        )
    except CrowlightError as error:
        return _Advice(why=str(error))
    if isinstance(state, UnderWay):
        return _Advice(under_way=state)
    return _Advice(
        shown=next_shown(
            state.value,
            state=sheet.state,
            held=held(request),
            words=bench.words,
            now=bench.desk.clock.now(),
            owed=bench.desk.posted.owed(reed),
        )
    )


def _tile(bench: Bench, here: SittingReed, *, advice_asks: bool = False) -> Tile:
    sheet = as_kept(bench.desk, here.reed)
    now = bench.desk.clock.now()
    owed = bench.desk.posted.owed(here.reed)
    act = next_act(sheet.state, here, now=now, advice_asks=advice_asks, may_cut=not owed)
    wet = minutes_wet(sheet.state, now)
    words = bench.words
    last = sheet.state.last
    return Tile(
        sheet=sheet,
        here=here,
        wet="" if wet is None else words.count("wet %(num)s min", "wet %(num)s min", round(wet)),
        last=words.kind(last.payload.kind) if last else "",
        act=act,
        step=words(STEPS[act.step].name),
        owed=owed,
    )


def _hand(tile: Tile, asked: str, words: Words) -> Hand:
    step = Step(asked) if asked in set(Step) else tile.act.step
    chosen = step is not tile.act.step
    why = "" if chosen else words(WHY[tile.act.why])
    title = asked_said(step, tile.act, words)
    if step is Step.CUT and tile.owed:
        title = words(ASKS[tile.owed])
    sheet = tile.sheet
    newest = max(sheet.entries, key=lambda e: e.seq, default=None)
    undo = None
    if newest is not None and newest.seq > tile.here.joined:
        line = next(x for x in lines(sheet, words) if x.uuid == newest.uuid)
        undo = None if line.withdrawal else line
    done = [e for e in sheet.state.entries if e.payload.kind in {"cut", "clip", "treated"}]
    return Hand(
        tile=tile,
        step=step,
        title=title,
        why=why,
        spoken=". ".join(t.rstrip(".") for t in (sheet.reed.name, title) if t),
        chosen=chosen,
        undo=undo,
        follows=done[-1].uuid if done else None,
    )


# --- the sitting itself ---------------------------------------------------------------------------


@router.post("/bench")
async def begin(request: Request, bench: UseBench) -> Response:
    """Begin a sitting with the reeds that were ticked."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_begin, request, bench, sent)


def _begin(request: Request, bench: Bench, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    wanted = list(dict.fromkeys(sent.typed.get("reed", [])))
    if not troubles and not 1 <= len(wanted) <= MOST_REEDS:
        text = mark("%(count)s reeds are ticked; tick 1 to %(most)s.")
        text = bench.words.say(text, count=len(wanted), most=MOST_REEDS)
        troubles, status = [Trouble("reed", text)], 422
    if not troubles:
        try:
            kept = [bench.desk.records.reed(key) for key in wanted]
            bench.desk.records.begin_sitting(
                Sitting(
                    uuid=sent.uuid,
                    started_at=bench.desk.clock.now(),
                    shown=kept[0].uuid,
                    reeds=tuple(SittingReed(reed=r.uuid, joined=r.seq) for r in kept),
                )
            )
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse("/bench", 303)
    return _choosing(request, bench, typed=sent.typed, troubles=troubles, status=status)


@router.post("/bench/end")
async def end(request: Request, bench: UseBench) -> Response:
    """End the sitting; what was written down stays with the reeds."""

    def change(sitting: Sitting, _: Sent) -> Sitting:
        return replace(sitting, ended_at=bench.desk.clock.now())

    return await _changed(request, bench, change)


@router.post("/bench/add")
async def add(request: Request, bench: UseBench) -> Response:
    """Lay one more reed on the bench."""

    def change(sitting: Sitting, sent: Sent) -> Sitting:
        kept = bench.desk.records.reed(sent.one("reed"))
        if kept.uuid in {r.reed for r in sitting.reeds}:
            return replace(sitting, shown=kept.uuid)
        if len(sitting.reeds) >= MOST_REEDS:
            text = mark("%(most)s reeds lie here already; take one away first.")
            raise InputError(bench.words.say(text, most=MOST_REEDS))
        new = SittingReed(reed=kept.uuid, joined=kept.seq)
        return replace(sitting, shown=kept.uuid, reeds=(*sitting.reeds, new))

    return await _changed(request, bench, change)


@router.post("/bench/away")
async def away(request: Request, bench: UseBench) -> Response:
    """Take a reed off the bench."""

    def change(sitting: Sitting, sent: Sent) -> Sitting:
        left = tuple(r for r in sitting.reeds if str(r.reed) != sent.one("reed"))
        ended = None if left else bench.desk.clock.now()
        return replace(sitting, reeds=left, shown=left[0].reed if left else None, ended_at=ended)

    return await _changed(request, bench, change)


@router.post("/bench/pass")
async def go_past(request: Request, bench: UseBench) -> Response:
    """Go past a step that needs no entry."""

    def change(sitting: Sitting, sent: Sent) -> Sitting:
        try:
            step = Step(sent.one("step"))
        except ValueError:
            text = mark("There is no step %(name)s; reload the page.")
            raise InputError(bench.words.say(text, name=sent.one("step")[:40])) from None
        reeds: list[SittingReed] = []
        for here in sitting.reeds:
            mine = str(here.reed) == sent.one("reed")
            seq = bench.desk.records.reed(here.reed).seq if mine else 0
            reeds.append(passed_now(here, step, seq) if mine else here)
        shown = next((r.reed for r in reeds if str(r.reed) == sent.one("reed")), sitting.shown)
        return replace(sitting, shown=shown, reeds=tuple(reeds))

    return await _changed(request, bench, change)


async def _changed(
    request: Request, bench: Bench, change: Callable[[Sitting, Sent], Sitting]
) -> Response:
    sent = await read_form(request, bench)
    return await run_in_threadpool(_change, request, bench, sent, change)


def _change(
    request: Request, bench: Bench, sent: Sent, change: Callable[[Sitting, Sent], Sitting]
) -> Response:
    sitting = bench.desk.records.open_sitting()
    if sitting is None:
        return RedirectResponse("/bench", 303)  # ended meanwhile, in another window
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            # looked up before the transaction: only what was read is put in its place
            new = change(sitting, sent)
            bench.desk.records.change_sitting(sitting.uuid, lambda kept: _merged(kept, new))
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse("/bench", 303)
    return _page(request, bench, sitting, asked=sent.one("reed"), troubles=troubles, status=status)


def _merged(kept: Sitting, new: Sitting) -> Sitting:
    """Return `new` with the steps that another window has gone past meanwhile."""
    meanwhile = {r.reed: r.passed for r in kept.reeds}
    return replace(
        new,
        reeds=tuple(
            replace(r, passed=_latest(meanwhile.get(r.reed, {}), r.passed)) for r in new.reeds
        ),
    )


def _latest(one: Mapping[str, int], other: Mapping[str, int]) -> dict[str, int]:
    return {k: max(one.get(k, -1), other.get(k, -1)) for k in {**one, **other}}


# --- entries --------------------------------------------------------------------------------------


@router.post("/bench/write/{kind}")
async def write(request: Request, kind: str, bench: UseBench) -> Response:
    """Write an entry about a reed on the bench down."""
    if kind not in _KINDS:
        raise NotFound(bench.words(mark("There is no form of that name; go back to the bench.")))
    sent = await read_form(request, bench)
    return await run_in_threadpool(_write, request, bench, kind, sent)


def _write(request: Request, bench: Bench, kind: str, sent: Sent) -> Response:
    payload, wrong = payload_of(kind, sent.typed, words=bench.words)
    troubles, status = [*sent.troubles, *wrong], 403 if sent.troubles else 422
    if payload is not None and not troubles:
        try:
            write_once(bench.desk, bench.desk.records.reed(sent.one("reed")).uuid, payload, sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return _back(bench, sent)
    return _again(request, bench, sent, troubles, status)


@router.post("/bench/undo")
async def undo(request: Request, bench: UseBench) -> Response:
    """Take the latest entry back, by an entry that withdraws it."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_undo, request, bench, sent)


def _undo(request: Request, bench: Bench, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    if not troubles:
        try:
            reed = bench.desk.records.reed(sent.one("reed")).uuid
            entry = UUID(sent.one("entry"))
            reason = Withdrawn(reason=bench.words(mark("undone at the bench")))
            write_once(bench.desk, reed, reason, sent, replaces=entry)
        except ValueError as error:  # also ours of a value
            troubles, status = [Trouble("", str(error))], 422
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return _back(bench, sent)
    return _again(request, bench, sent, troubles, status)


def _back(bench: Bench, sent: Sent) -> Response:
    """Return to the bench, with the reed that was written about in hand."""
    sitting = bench.desk.records.open_sitting()
    shown = (
        next((r.reed for r in sitting.reeds if str(r.reed) == sent.one("reed")), None)
        if (sitting)
        else None
    )
    if sitting is not None and shown is not None and sitting.shown != shown:
        bench.desk.records.change_sitting(sitting.uuid, lambda s: replace(s, shown=shown))
    return RedirectResponse("/bench", 303)


def _again(
    request: Request, bench: Bench, sent: Sent, troubles: Sequence[Trouble], status: int
) -> Response:
    sitting = bench.desk.records.open_sitting()
    if sitting is None or not sitting.reeds:
        return _choosing(request, bench, troubles=troubles, status=status)
    more: dict[str, Any] = {"typed": sent.typed, "troubles": troubles, "status": status}
    return _page(request, bench, sitting, asked=sent.one("reed"), step=sent.one("step"), **more)


# --- the next cut ---------------------------------------------------------------------------------
# The heart of the next-cut screen stands on the bench; its buttons come back to the bench.


@router.post("/bench/reeds/{reed}/next/did")
async def did(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down that what was advised was done."""
    return _to_bench(await next_log.did(request, reed, bench), reed)


@router.post("/bench/reeds/{reed}/next/rest")
async def rested(request: Request, reed: UUID, bench: UseBench) -> Response:
    """Write down that the reed was laid aside."""
    return _to_bench(await next_log.rest(request, reed, bench), reed)


def _to_bench(answer: Response, reed: UUID) -> Response:
    return RedirectResponse(f"/bench?reed={reed}", 303) if answer.status_code == 303 else answer


@router.get("/bench/reeds/{reed}/{rest:path}")
def off_the_bench(reed: UUID, rest: str) -> Response:
    """Lead to the page of the reed itself."""
    return RedirectResponse(f"/reeds/{reed}/{quote(rest)}", 303)
