"""Readings: typed in rows, or from a table."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from crowlight.bench.desk import Sheet
from crowlight.bench.ports import Entry
from crowlight.errors import CrowlightError, InputError, TableError
from crowlight.reed import instruments
from crowlight.report.words import mark
from crowlight.web.log import lines
from crowlight.web.looking import as_kept
from crowlight.web.readings_form import (
    MOST_ROWS,
    ROWS,
    rows_of,
    start,
    start_correction,
    taken,
)
from crowlight.web.routes.entries import entry_of
from crowlight.web.sending import (
    Bench,
    Sent,
    UseBench,
    read_form,
    status_of,
    trouble_of,
    write_once,
)
from crowlight.web.typing_in import Trouble, Typed

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


def _page(
    request: Request,
    bench: Bench,
    sheet: Sheet,
    typed: Typed,
    *,
    troubles: Sequence[Trouble] = (),
    status: int = 200,
    uuid: UUID | None = None,
    corrects: Entry | None = None,
) -> Response:
    return bench.pages.render(
        request,
        "readings.html",
        status=status,
        sheet=sheet,
        typed=typed,
        rows=rows_of(typed),
        most_rows=MOST_ROWS,
        gauges=list(instruments()),
        troubles=troubles,
        uuid=uuid,
        corrects=corrects,
        news=lines(sheet, bench.words)[:5] if status == 409 else [],
    )


def _corrected(sheet: Sheet, entry: UUID | None, bench: Bench) -> Entry | None:
    if entry is None:
        return None
    old = entry_of(sheet, entry, bench)
    if len(old.readings) > MOST_ROWS:
        text = bench.words.say(
            mark(
                "This entry holds %(count)s readings, more than a form can show (%(most)s). "
                "Withdraw it, correct the table and import it again"
            ),
            count=len(old.readings),
            most=MOST_ROWS,
        )
        raise InputError(text)
    return old


@router.get("/reeds/{reed}/readings")
def readings_form(
    request: Request, reed: UUID, bench: UseBench, corrects: UUID | None = None, rows: str = ""
) -> Response:
    """Show the form for readings, empty or with those to be corrected."""
    sheet = as_kept(bench.desk, reed)
    old = _corrected(sheet, corrects, bench)
    typed = start(sheet.state) if old is None else start_correction(old)
    if rows:
        typed["rows"] = [str(max(rows_of(typed), rows_of({"rows": [rows]})))]
    return _page(request, bench, sheet, typed, corrects=old)


@router.post("/reeds/{reed}/readings")
async def write_readings(
    request: Request, reed: UUID, bench: UseBench, corrects: UUID | None = None
) -> Response:
    """Write readings down, or show more rows."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_write, request, bench, reed, sent, corrects)


def _write(
    request: Request, bench: Bench, reed: UUID, sent: Sent, corrects: UUID | None
) -> Response:
    sheet = as_kept(bench.desk, reed)
    old = _corrected(sheet, corrects, bench)
    if "more" in sent.typed:
        more = {**sent.typed, "rows": [str(min(rows_of(sent.typed) + ROWS, MOST_ROWS))]}
        return _page(request, bench, sheet, more, uuid=sent.uuid, corrects=old)
    # those of the entry to be replaced, or of this form sent before, do not count as earlier
    own = {sent.uuid, old.uuid if old is not None else None}
    before = [t.reading for t in sheet.state.readings if t.entry not in own]
    found, wrong = taken(sent.typed, words=bench.words, before=before, corrects=old)
    troubles, status, uuid = [*sent.troubles, *wrong], 403 if sent.troubles else 422, sent.uuid
    if found is not None and not troubles:
        try:
            write_once(
                bench.desk, reed, found.payload, sent, readings=found.readings, replaces=corrects
            )
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
            if status == 409:
                sheet = as_kept(bench.desk, reed)
                uuid = None
        else:
            done = "corrected" if corrects else "written"
            return RedirectResponse(f"/reeds/{reed}?done={done}&form=readings", 303)
    return _page(
        request,
        bench,
        sheet,
        sent.typed,
        troubles=troubles,
        status=status,
        uuid=uuid,
        corrects=old,
    )


@router.get("/import")
def import_form(request: Request, bench: UseBench, reed: UUID | None = None) -> Response:
    """Show the form for importing a table."""
    name = bench.desk.records.reed(reed).name if reed is not None else ""
    return bench.pages.render(
        request, "import.html", typed={"reed": [name]}, troubles=[], refused=None
    )


@router.post("/import")
async def import_table(request: Request, bench: UseBench) -> Response:
    """Import a table."""
    sent = await read_form(request, bench)
    return await run_in_threadpool(_import, request, bench, sent)


def _import(request: Request, bench: Bench, sent: Sent) -> Response:
    troubles, status = list(sent.troubles), 403
    name, data = sent.files.get("table", ("", b""))
    if not troubles and not name:
        troubles, status = [Trouble("table", bench.words(mark("Choose a file to import.")))], 422
    problems: Sequence[str] = ()
    if not troubles:
        try:
            done = bench.desk.import_table(data, name=name, reed=sent.one("reed"))
        except TableError as error:
            problems = [str(p) for p in error.problems]
            text = bench.words.count(
                "%(num)s line is wrong; nothing of the table was kept. Correct it and choose the "
                "file again.",
                "%(num)s lines are wrong; nothing of the table was kept. Correct them and choose "
                "the file again.",
                len(problems),
            )
            troubles, status = [Trouble("table", text)], 422
        except CrowlightError as error:
            troubles, status = [trouble_of(error, bench.words)], status_of(error)
        else:
            code = "imported" if done.added else "imported-before"
            return RedirectResponse(f"/reeds/{done.reed.uuid}?done={code}&form=import", 303)
    return bench.pages.render(
        request,
        "import.html",
        status=status,
        typed=sent.typed,
        troubles=troubles,
        refused={"name": name, "problems": problems} if problems else None,
    )
