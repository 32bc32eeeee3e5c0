"""``crowlight plan``, ``did``, ``after`` and ``wish``: the next cut, and what came of it."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk

__all__ = ["after", "did", "plan", "wish"]


class Result(StrEnum):
    """How a reed is after something was done."""

    BETTER = "better"
    SAME = "same"
    WORSE = "worse"


def plan(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, SI units.")] = False,
    guess: Annotated[
        str, typer.Option(help="Your own hunch first, in words; it is kept and compared later.")
    ] = "",
    who: Annotated[str, typer.Option(help="Whose hunch.")] = "",
    zone: Annotated[str, typer.Option(help="Where the hunch would cut, such as tip.")] = "",
) -> None:
    """Say what may be wrong with a reed, and what to do next: perhaps nothing."""
    import json

    from crowlight.bench.advice_kinds import Guess
    from crowlight.report.advice import advice_plain, advice_text
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        if guess or zone:
            hunch = Guess(who=who, zone=zone, does="scrape" if zone else None, remark=guess)
            found = desk.advice.guess(reed, hunch)
        else:
            found = desk.advice.plan(reed)
        best = desk.advice.best_moment(reed)
        owed = desk.posted.owed(reed)
    typer.echo(
        json.dumps(advice_plain(found, best, owed=owed), indent=1, ensure_ascii=False)
        if as_json
        else advice_text(found, best, owed=owed)
    )


def did(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    option: Annotated[
        int | None, typer.Option(help="Number of the option; what was advised if not given.")
    ] = None,
    strokes: Annotated[
        int | None, typer.Option(min=1, max=1000, help="Light strokes, if not as offered.")
    ] = None,
    clip: Annotated[
        float | None, typer.Option(help="Clipped off, mm, if not as offered; against a stop.")
    ] = None,
    something_else: Annotated[
        bool, typer.Option("--something-else", help="It was not what was advised; say what.")
    ] = False,
    zone: Annotated[str, typer.Option(help="Where it was cut instead, such as heart.")] = "",
    blade: Annotated[str, typer.Option(help="marked, plain or both.")] = "both",
    part: Annotated[str, typer.Option(help="Part of the zone, such as left-corner.")] = "",
    remark: Annotated[str, typer.Option(help="In words.")] = "",
) -> None:
    """Write down what was done: as advised, another option, or something else."""
    from crowlight.bench.done import Deed
    from crowlight.errors import InputError
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        if something_else or zone:
            payload = _instead(zone, blade, part, strokes, clip, remark)
            done = desk.advice.something_else(reed, payload)
        else:
            if clip is not None and not 0 < clip <= 2:
                msg = f"a clip of {clip:g} mm must lie between 0 and 2 mm; 0.1 to 0.2 are usual"
                raise InputError(msg)
            deed = Deed(strokes=strokes, clip=None if clip is None else clip * 1e-3, remark=remark)
            done = desk.advice.did(reed, option, deed=deed)
        _echo_entry(desk, reed, done.entries[-1])
    typer.echo("One slow swell now, then: crowlight after REED better, same or worse")


def _instead(
    zone: str, blade: str, part: str, strokes: int | None, clip: float | None, remark: str
) -> Any:
    """Return what was done instead of what was advised."""
    from crowlight.bench.kinds import read
    from crowlight.errors import InputError

    if clip is not None and not zone:
        return read("clip", 2, {"amount": clip * 1e-3, "against": "stop"})
    if not zone:
        msg = "say what was done instead: --zone with --strokes, or --clip"
        raise InputError(msg)
    blades = ("marked", "plain") if blade == "both" else (blade,)
    data = {"zone": zone, "blades": blades, "strokes": strokes, "remark": remark}
    return read("cut", 2, data | ({"part": part} if part else {}))


def after(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    result: Annotated[Result, typer.Argument(help="One slow swell afterwards.")],
    remark: Annotated[str, typer.Option(help="In words.")] = "",
) -> None:
    """Write down how the reed is after what was done to it last."""
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        done = desk.advice.after(reed, result.value, remark=remark)
        _echo_entry(desk, reed, done.entries[-1])


def wish(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    resistant: Annotated[
        float | None, typer.Option(min=-1, max=1, help="-1 much easier to 1 much more resistant.")
    ] = None,
    bright: Annotated[
        float | None, typer.Option(min=-1, max=1, help="-1 much more covered to 1 brighter.")
    ] = None,
    open_: Annotated[
        float | None,
        typer.Option("--open", min=-1, max=1, help="-1 more closed to 1 more open."),
    ] = None,
    loved: Annotated[str, typer.Option(help="A kept reed it is to be like.")] = "",
    concert_in: Annotated[
        float | None, typer.Option(min=0, help="Wanted for a performance in so many hours.")
    ] = None,
) -> None:
    """Write down what the player would like instead of the reed as it is."""
    from crowlight.bench.advice_kinds import Wish
    from crowlight.errors import InputError
    from crowlight.wiring import open_desk

    if (resistant, bright, open_, concert_in) == (None, None, None, None) and not loved:
        msg = "nothing is wished; give --resistant, --bright, --open, --loved or --concert-in"
        raise InputError(msg)
    with open_desk(context.obj) as desk:
        wished = Wish(
            easy_resistant=resistant,
            covered_bright=bright,
            closed_open=open_,
            loved=desk.records.reed(loved).uuid if loved else None,
            concert_in=None if concert_in is None else concert_in * 3600.0,
        )
        done = desk.write(reed, wished)
        _echo_entry(desk, reed, done.entries[-1])


def _echo_entry(desk: Desk, reed: str, entry: Any) -> None:
    name = desk.records.reed(reed).name
    typer.echo(f"reed {name}: written down as entry {entry.seq}, {entry.payload.kind}")
