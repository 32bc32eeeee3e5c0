"""``crowlight batch``, ``figures`` and ``gauge``: batches, what the work yields, the gauge."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["batch", "figures", "gauge"]


def batch(
    context: typer.Context,
    batch: Annotated[str, typer.Argument(help="Name or uuid of the batch.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say what a batch has in common: the steady difference, its spread, reeds that stand out."""
    import json

    from crowlight.report.batch_plain import batch_plain, batch_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    words = in_locale("en")
    with open_desk(context.obj) as desk:
        shown = desk.batches.of(batch)
    if as_json:
        typer.echo(json.dumps(batch_plain(shown, words), indent=1, allow_nan=False))
    else:
        typer.echo(batch_text(shown, words))


def figures(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say what the workshop yields: shares per stage, minutes and cost per sellable reed, life."""
    import json

    from crowlight.report.figures import figures_plain, figures_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        found = desk.batches.figures()
    if as_json:
        typer.echo(json.dumps(figures_plain(found), indent=1, allow_nan=False))
    else:
        typer.echo(figures_text(found, in_locale("en")))


def gauge(
    context: typer.Context,
    reed: Annotated[
        str, typer.Argument(help="A reed measured twice in each of several mountings.")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Say how well your gauge repeats itself, and what taking the reed off and on again adds."""
    import json

    from crowlight.report.gauge_trial import trial_plain, trial_text
    from crowlight.report.words import in_locale
    from crowlight.wiring import open_desk

    with open_desk(context.obj) as desk:
        trials = desk.batches.gauge_trials(reed)
    if as_json:
        typer.echo(json.dumps([trial_plain(t) for t in trials], indent=1, allow_nan=False))
    else:
        typer.echo("\n\n".join(trial_text(t, in_locale("en")) for t in trials))
