"""``crowlight light``: which side of a reed lets more light through, in one photograph."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["light"]


def light(
    context: typer.Context,
    reed: Annotated[str, typer.Argument(help="The reed.")],
    photo: Annotated[
        Path | None,
        typer.Option(help="The photograph, to be kept; else the one marked last.", dir_okay=False),
    ] = None,
    marks: Annotated[
        str,
        typer.Option(
            help="Four points, each as percent from the left and from the top, 'x,y x,y x,y x,y': "
            "tip left, tip right, thread left, thread right, tip up."
        ),
    ] = "",
    facing: Annotated[
        str, typer.Option(help="Blade that faces the camera: marked, plain or unsure.")
    ] = "",
    one_blade: Annotated[
        bool, typer.Option("--one-blade", help="The light went through one blade alone.")
    ] = False,
    reach: Annotated[
        float | None,
        typer.Option(help="Tip to the lower marks, mm, if these are not where the thread ends."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Compare the light through the two sides; never a thickness."""
    import json

    from crowlight.bench.light_kinds import LightMarks
    from crowlight.cli.reading import read_bytes
    from crowlight.errors import InputError
    from crowlight.report.light import light_plain, light_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    if facing not in ("", "marked", "plain", "unsure"):
        msg = f"--facing {facing!r} must be marked, plain or unsure"
        raise InputError(msg)
    if photo is not None and not marks:
        msg = "--photo needs --marks: where tip and thread lie in it"
        raise InputError(msg)
    if not marks and (facing or one_blade or reach is not None):
        msg = "--facing, --one-blade and --reach say what was marked; give --marks with them"
        raise InputError(msg)
    if reach is not None and not 5 <= reach <= 40:
        msg = f"--reach {reach:g} mm must be 5 to 40 mm"
        raise InputError(msg)
    points = _points(marks) if marks else ()
    with open_desk(context.obj) as desk:
        shot = None
        if photo is not None:
            data = read_bytes(photo)
            desk.pictures.read(data)  # a file that cannot be measured is not kept
            shot = desk.light.keep(reed, data).uuid
        elif points:
            last = desk.light.marked(reed)
            if last is None or not isinstance(last.payload, LightMarks):
                msg = "--marks needs --photo: no photograph of this reed was marked before"
                raise InputError(msg)
            shot = last.payload.photo
        if points and shot is not None:
            tip_left, tip_right, foot_left, foot_right = points
            said = LightMarks(
                photo=shot,
                tip_left=tip_left,
                tip_right=tip_right,
                foot_left=foot_left,
                foot_right=foot_right,
                facing=facing or "unsure",  # pyright: ignore[reportArgumentType]  # checked above
                passed="one" if one_blade else "both",
                reach=None if reach is None else reach * 1e-3,
            )
            last = desk.light.marked(reed, shot)
            if last is None or last.payload != said:
                desk.light.mark(reed, said)
        found = desk.light.look(reed, shot)
        name = desk.records.reed(reed).name
    if found is None:
        msg = f"no photograph of {name} was marked yet; give --photo and --marks"
        raise InputError(msg)
    if as_json:
        typer.echo(json.dumps(light_plain(name, found), indent=1))
    else:
        typer.echo(light_text(name, found, in_locale("en")))


def _points(text: str) -> tuple[tuple[float, float], ...]:
    """Read four points in percent."""
    from crowlight.errors import InputError

    remedy = "--marks takes four points as 'x,y x,y x,y x,y', each 0 to 100 percent"
    try:
        points = tuple(tuple(float(n) / 100 for n in p.split(",")) for p in text.split())
    except ValueError:
        raise InputError(remedy) from None
    if len(points) != 4 or any(len(p) != 2 or not all(0 <= n <= 1 for n in p) for p in points):
        raise InputError(remedy)
    return tuple((p[0], p[1]) for p in points)
