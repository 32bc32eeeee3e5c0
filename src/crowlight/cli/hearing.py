"""``crowlight listen``: measure sound files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

__all__ = ["listen"]

_SHOWN = (
    ("class", "class", ""),
    ("pitch_hz", "pitch", "Hz"),
    ("pitch_cents", "from the target", "cents"),
    ("pitched_share", "pitched share", ""),
    ("stray_db", "stray partials", "dB"),
    ("breath_db", "breath noise", "dB"),
    ("rattle_percent", "rattle", "%"),
    ("steadiness_cents", "steadiness", "cents"),
    ("attack_s", "attack", "s"),
)


def listen(
    files: Annotated[list[Path], typer.Argument(help="Sound files.", dir_okay=False)],
    kind: Annotated[str, typer.Option("--as", help="crow, peep or notes.")] = "crow",
    reference: Annotated[
        float | None, typer.Option("--a", help="The player's A, Hz; 440, or found in notes.")
    ] = None,
    tuning: Annotated[str, typer.Option(help="Tuning that notes are compared with.")] = "equal",
    as_json: Annotated[bool, typer.Option("--json", help="Print a JSON list.")] = False,
) -> None:
    """Say what is there in recordings of a crow, a peep or notes."""
    import json

    from crowlight.errors import InputError
    from crowlight.wiring import listen_to_file

    if kind not in ("crow", "peep", "notes"):
        msg = f"--as {kind!r} must be crow, peep or notes"
        raise InputError(msg)
    found: list[dict[str, Any]] = []
    for file in files:
        options = {"kind": kind, "reference": reference, "tuning": tuning}
        for heard in listen_to_file(file, **options, report=_progress(file.name)):
            found.append(heard)
            if not as_json:
                typer.echo(_text(heard))
    if as_json:
        typer.echo(json.dumps(found, indent=1, ensure_ascii=False))


def _progress(name: str) -> Callable[[float], None]:
    """Return what says every tenth of a long recording, apart from the answer."""
    said = 0

    def report(fraction: float) -> None:
        nonlocal said
        if int(10 * fraction) > said:
            said = int(10 * fraction)
            typer.echo(f"{name}: {10 * said} %", err=True)

    return report


def _text(heard: dict[str, Any]) -> str:
    lines = [f"{heard['file']} from {heard['start_s']:.1f} s, as {heard['kind']}"]
    lines += [f"  note: {note}" for note in heard["notes_on_file"]]
    for reason in heard["reasons"]:
        lines.append(f"  {reason['text']}; {reason['remedy']}")
    if heard["kind"] == "notes":
        for n in heard["notes"]:
            lines.append(
                f"  {n['name']:4} {n['start_s']:7.2f} to {n['end_s']:7.2f} s "
                f"{_number(n['pitch_cents'], '+.0f')} cents, steady to "
                f"{_number(n['steadiness_cents'], '.0f')} cents"
            )
        return "\n".join(lines)
    if heard["usable"]:
        for key, word, unit in _SHOWN:
            value = heard.get(key)
            text = value if isinstance(value, str) else _number(value, ".4g")
            interval = (heard.get("intervals") or {}).get(key)
            ends = [_number(end, ".4g") for end in interval or ()]
            span = f" ({ends[0]} to {ends[1]})" if ends else ""
            lines.append(f"  {word}: {text} {unit}{span}".rstrip())
    return "\n".join(lines)


def _number(value: Any, form: str) -> str:
    return "not known" if value is None else format(value, form)
