"""``crowlight blade``, ``crow`` and ``travel``: what the models say about a reed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from crowlight.bench.places import SiteAsked

__all__ = ["blade", "crow", "travel"]


def blade(
    context: typer.Context,
    target: Annotated[str, typer.Argument(metavar="REED|FILE", help="A kept reed, or a table.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say what the thickness map means for stiffness, closing and the next stroke."""
    import json

    from crowlight.cli.reading import read_bytes
    from crowlight.report.blades import blades_plain, blades_text
    from crowlight.wiring import blades_of_file, open_desk

    path = Path(target)
    if path.is_file():
        found = blades_of_file(read_bytes(path), name=path.name)
    else:
        with open_desk(context.obj) as desk:
            found = desk.models.blades(target)
    typer.echo(json.dumps(blades_plain(found), indent=1) if as_json else blades_text(found))


def crow(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    altitude: Annotated[float, typer.Option(help="Above mean sea level, m.")] = 0.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    sound: Annotated[
        Path | None, typer.Option(help="Write the modelled crow as a WAV file.", dir_okay=False)
    ] = None,
) -> None:
    """Model the crow of a reed: a model, to be trusted in ratios and signs only."""
    import json

    from crowlight.wiring import open_desk, write_wav

    with open_desk(context.obj) as desk:
        found = desk.models.crow(reed, altitude=altitude)
        if sound is not None:
            heard = desk.models.crow_sound(reed, altitude=altitude)
            write_wav(sound, heard["samples"], heard["rate"], title=f"Modelled crow of {reed}")
    typer.echo(json.dumps(found, indent=1) if as_json else _crow_text(found))
    if sound is not None:
        typer.echo(f"wrote {sound}: a model's sound, not a recording", err=True)


def _crow_text(found: dict[str, Any]) -> str:
    low, middle, high = found["pitch_hz"]
    lines = [
        "Physics, untested on real reeds: trust ratios and signs, not single numbers.",
        f"The crow starts near {middle:.0f} Hz (5 to 95 %: {low:.0f} to {high:.0f} Hz).",
        "As one blows harder, in multiples of the pressure where it starts:",
    ]
    strip = found["strip"]
    for over, regime, agree in zip(
        strip["pressure_over_threshold"], strip["regime"], strip["agreement"], strict=True
    ):
        lines.append(f"  x {over:4.2f}  {regime:9} holds in {agree:.0%} of disturbed runs")
    lines.append(
        "The lower octave as a doubled period is a hypothesis; a slow crescendo tests it: does it "
        "appear at once, at half the upper note?"
    )
    return "\n".join(lines)


def travel(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    to: Annotated[str, typer.Option("--to", help="A kept place, or a name with --altitude.")],
    home: Annotated[str, typer.Option("--from", help="Where it is finished; a kept place.")] = "",
    altitude: Annotated[
        float | None, typer.Option(help="Of the destination, m, if it is not kept.")
    ] = None,
    home_altitude: Annotated[
        float | None, typer.Option(help="Of where it is finished, m, if it is not kept.")
    ] = None,
    made: Annotated[str, typer.Option(help="finished, blank or cane.")] = "finished",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say whether a reed will work where it is going, and what to do about it."""
    import json

    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.models.travel(
            reed,
            home=_asked(desk, home, home_altitude, "home"),
            to=_asked(desk, to, altitude, "the destination"),
            made=made,
        )
    typer.echo(json.dumps(found, indent=1) if as_json else _travel_text(found))


def _asked(desk: Any, name: str, altitude: float | None, what: str) -> SiteAsked:
    from crowlight.bench.places import SiteAsked
    from crowlight.errors import InputError

    if altitude is not None:
        return SiteAsked(name=name or what, altitude=altitude)
    if not name:
        msg = f"{what} is not named; name a kept place, or give its altitude"
        raise InputError(msg)
    return desk.models.site(name)


def _travel_text(found: dict[str, Any]) -> str:
    lines = [
        "Altitude is a few per cent of threshold and some cents; moisture may matter as much.",
        f"From {found['from']['name']} to {found['to']['name']}, {found['state']} reed.",
    ]
    for effect in found["effects"]:
        t = effect["together"]
        scale, unit = (100.0, "%") if effect["unit"] == "1" else (1.0, effect["unit"])
        doubt = " (sign not sure)" if t["straddles_zero"] else ""
        lines.append(
            f"  {effect['name'].replace('-', ' '):16} {scale * t['middle']:+6.1f} {unit} "
            f"({scale * t['low']:+.1f} to {scale * t['high']:+.1f}){doubt} [physics]"
        )
    lines += [f"- {a['text']} [{a['basis']}]" for a in found["advice"]]
    lines += [f"contested: {c['claim']} / {c['counter']} {c['said']}" for c in found["claims"]]
    return "\n".join(lines)
