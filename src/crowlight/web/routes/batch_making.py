"""Making a batch, renaming it, putting reeds in and taking them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.names import folded
from crowlight.bench.ports import Batch, Maker, Reed, ReedQuery, ReedSummary
from crowlight.errors import CrowlightError, NotFound
from crowlight.report.belonging import put_said, taken_said
from crowlight.report.words import mark
from crowlight.web.sending import Bench, Sent, UseBench, read_form, status_of, trouble_of
from crowlight.web.typing_in import Trouble, Typed

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Reeds offered at once; others are found by searching.
_OFFERED = 24
#: Reeds of a batch that are listed with thread and cork; any more by their names alone.
_MOST = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class _Choice:
    """A reed to tick: its name, its tag, and the batch it is of now."""

    uuid: UUID
    name: str
    batch: str
    thread_colour: str = ""
    cork_number: str = ""


# --- looking --------------------------------------------------------------------------------------


@router.get("/batches/new")
def new(request: Request, bench: UseBench, q: str = "") -> Response:
    """Show the form for a new batch."""
    return _page(request, bench, None, {"q": [q[:200]]})


@router.get("/batches/{batch}/reeds")
def change(request: Request, batch: UUID, bench: UseBench, q: str = "") -> Response:
    """Show the forms that change a batch."""
    return _page(request, bench, bench.desk.people.batch(batch), {"q": [q[:200]]})


def _page(
    request: Request,
    bench: Bench,
    batch: Batch | None,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
) -> Response:
    text = (typed.get("q") or [""])[0].strip()[:200]
    choices, more = _choices(bench, batch, text, typed.get("reed") or ())
    return bench.pages.render(
        request,
        "batch-change.html",
        status=status,
        batch=batch,
        reeds=_inside(bench, batch) if batch else [],
        choices=choices,
        more=more,
        text=text,
        makers=[("", bench.words(mark("nobody named")))]
        + [(str(p.uuid), p.name) for p in bench.desk.people.all() if isinstance(p, Maker)],
        typed=typed,
        troubles=troubles,
        uuid=uuid,
    )


def _choice(row: ReedSummary) -> _Choice:
    return _Choice(
        uuid=row.uuid,
        name=row.name,
        batch=row.batch,
        thread_colour=row.thread_colour,
        cork_number=row.cork_number,
    )


def _inside(bench: Bench, batch: Batch) -> list[_Choice]:
    """Return the reeds of a batch by name."""
    own = {r.uuid: r for r in bench.desk.batches.reeds_of(batch)}
    query = ReedQuery(batch=batch.name, limit=_MOST)
    rows = {r.uuid: _choice(r) for r in bench.desk.reeds(query).rows}
    return [rows.get(u, _Choice(uuid=u, name=r.name, batch=batch.name)) for u, r in own.items()]


def _choices(
    bench: Bench, batch: Batch | None, text: str, ticked: Sequence[str]
) -> tuple[list[_Choice], bool]:
    """Return reeds to tick, those that are ticked first, and whether there are more of them."""
    names = {b.uuid: b.name for b in bench.desk.people.batches()}
    inside = {r.uuid for r in bench.desk.batches.reeds_of(batch)} if batch else set[UUID]()
    found = bench.desk.reeds(ReedQuery(text=text, limit=_OFFERED + len(inside)))
    rows = {r.uuid: _choice(r) for r in found.rows}
    chosen: dict[UUID, _Choice] = {}
    for reed in _reeds(bench, ticked)[0]:
        plain = _Choice(
            uuid=reed.uuid, name=reed.name, batch=names.get(reed.batch, "") if reed.batch else ""
        )
        chosen[reed.uuid] = rows.get(reed.uuid, plain)
    every = [c for c in (chosen | rows).values() if c.uuid not in inside]
    return every[: max(_OFFERED, len(chosen))], found.total > len(found.rows)


def _reeds(bench: Bench, keys: Sequence[str]) -> tuple[list[Reed], list[Trouble]]:
    """Return the reeds that were ticked, and what is wrong where one is not kept."""
    reeds: list[Reed] = []
    for key in dict.fromkeys(keys):
        try:
            reeds.append(bench.desk.records.reed(UUID(key)))
        except (ValueError, NotFound):
            text = mark("A reed that was ticked is not kept; choose again.")
            return reeds, [Trouble("reed", bench.words(text))]
    return reeds, []


# --- changing -------------------------------------------------------------------------------------


@router.post("/batches/new")
async def make(request: Request, bench: UseBench) -> Response:
    """Make a batch with the reeds that were ticked, or look for more of them."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_make, request, bench, sent)


def _make(request: Request, bench: Bench, sent: Sent) -> Response:
    if sent.one("act") == "find":
        return _page(request, bench, None, sent.typed, uuid=sent.uuid)
    troubles, status = _checked(bench, sent, sent.uuid), 403 if sent.troubles else 422
    if not troubles:
        try:
            batch = _named(bench, sent, sent.uuid)
            _put(bench, batch, sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"/batches/{batch.uuid}/reeds?done=batch", 303)
    return _page(request, bench, None, sent.typed, troubles=troubles, status=status, uuid=sent.uuid)


@router.post("/batches/{batch}/name")
async def rename(request: Request, batch: UUID, bench: UseBench) -> Response:
    """Give a batch another name or maker."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_change, request, bench, batch, sent, "name")


@router.post("/batches/{batch}/put")
async def put_in(request: Request, batch: UUID, bench: UseBench) -> Response:
    """Put the reeds that were ticked into a batch, or look for more of them."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_change, request, bench, batch, sent, "put")


@router.post("/batches/{batch}/take")
async def take_out(request: Request, batch: UUID, bench: UseBench) -> Response:
    """Take the reeds that were ticked out of a batch."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_change, request, bench, batch, sent, "take")


def _change(request: Request, bench: Bench, batch: UUID, sent: Sent, act: str) -> Response:
    kept = bench.desk.people.batch(batch)
    if sent.one("act") == "find":
        return _page(request, bench, kept, sent.typed)
    field = {"name": "name", "put": "reed", "take": "out"}[act]
    status = 403 if sent.troubles else 422
    if act == "name":
        troubles = _checked(bench, sent, kept.uuid)
    else:
        troubles = [*sent.troubles, *_reeds(bench, sent.typed.get(field) or ())[1]]
        if not (troubles or sent.typed.get(field)):
            troubles = [Trouble(field, bench.words(mark("No reed is ticked; tick at least one.")))]
    if not troubles:
        try:
            if act == "name":
                _named(bench, sent, kept.uuid)
            elif act == "put":
                _put(bench, kept, sent)
            else:
                _take(bench, kept, sent)
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            return RedirectResponse(f"/batches/{batch}/reeds?done=batch", 303)
    return _page(request, bench, kept, sent.typed, troubles=troubles, status=status)


def _checked(bench: Bench, sent: Sent, own: UUID) -> list[Trouble]:
    """Return what is wrong with a batch's name, maker and reeds as sent."""
    words, name = bench.words, sent.one("name")
    troubles = list(sent.troubles)
    if not name:
        text = words.say(mark("%(field)s is empty; fill it in"), field=words(mark("Name")))
        troubles.append(Trouble("name", text))
    others = {folded(b.name) for b in bench.desk.people.batches() if b.uuid != own}
    if folded(name) in others:
        text = mark("There is a batch of this name already; choose another name.")
        troubles.append(Trouble("name", words(text)))
    makers = {str(p.uuid) for p in bench.desk.people.all() if isinstance(p, Maker)}
    if sent.one("maker") and sent.one("maker") not in makers:
        text = mark("“%(value)s” is not one of the choices; choose again")
        troubles.append(Trouble("maker", words.say(text, value=sent.one("maker")[:40])))
    return [*troubles, *_reeds(bench, sent.typed.get("reed") or ())[1]]


def _named(bench: Bench, sent: Sent, uuid: UUID) -> Batch:
    maker = UUID(sent.one("maker")) if sent.one("maker") else None
    return bench.desk.people.add_batch(sent.one("name"), maker=maker, uuid=uuid)


def _put(bench: Bench, batch: Batch, sent: Sent) -> None:
    words = bench.words
    names: Mapping[UUID, str] = {b.uuid: b.name for b in bench.desk.people.batches()}
    reeds = [r.uuid for r in _reeds(bench, sent.typed.get("reed") or ())[0]]
    bench.desk.batches.move(
        reeds, batch, said=lambda reed: put_said(reed, batch.name, names, words), sent=sent.uuid
    )


def _take(bench: Bench, batch: Batch, sent: Sent) -> None:
    said = taken_said(batch.name, bench.words)
    # one that another window has moved elsewhere meanwhile stays there
    reeds = [r.uuid for r in _reeds(bench, sent.typed.get("out") or ())[0] if r.batch == batch.uuid]
    bench.desk.batches.move(reeds, None, said=lambda _: said, sent=sent.uuid)
