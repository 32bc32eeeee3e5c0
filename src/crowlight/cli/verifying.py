"""``crowlight verify``: this installation against published numbers."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["verify"]


def verify(
    as_json: Annotated[bool, typer.Option("--json", help="Print a JSON list.")] = False,
) -> None:
    """Compute the published cases and compare; fails if any is off."""
    import json
    from dataclasses import asdict

    from crowlight.checks import all_cases

    checks = list(all_cases())
    failed = sum(not check.ok for check in checks)
    if as_json:
        typer.echo(json.dumps([{**asdict(c), "ok": c.ok} for c in checks], indent=1))
    else:
        for c in checks:
            mark = "ok  " if c.ok else "FAIL"
            typer.echo(
                f"{mark} {c.name}: {c.value:.6g} {c.unit}, published {c.expected:g} "
                f"(within {c.tolerance:g}) [{c.source}]"
            )
        typer.echo(f"{len(checks) - failed} of {len(checks)} agree")
    if failed:
        raise typer.Exit(1)
