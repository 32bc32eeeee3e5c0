"""Scrape styles a maker makes from reeds of their own."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from crowlight.bench.kinds import clean_text
from crowlight.bench.names import folded
from crowlight.bench.ports import Report
from crowlight.errors import InputError
from crowlight.reed import Blade, Reading
from crowlight.reed.styles import STYLE_CODES, Style, style

__all__ = ["ENOUGH_READINGS", "checked_name", "known_style", "own_style_text", "style_text"]

#: A map is drawn from this many readings of a blade on; fewer tell hardly more than the style does.
ENOUGH_READINGS = 6
_FORMAT, _VERSION = "crowlight style", 1


def style_text(made: Style) -> str:
    """Return a style as text that `known_style` reads back exactly: JSON, in metres."""
    told = {"format": _FORMAT, "version": _VERSION, "unit": "m", "style": asdict(made)}
    return json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False)


def known_style(code: str, text: str = "") -> Style:
    """Return a style.

    Parameters
    ----------
    code : str
        Code of a style that comes with crowlight, or the name of a maker's own.
    text : str
        What `style_text` made of a maker's own; empty for one that comes with crowlight.

    Returns
    -------
    Style
        The style, on nominal length.

    Raises
    ------
    InputError
        If no style has this code, or the text is none of ours.
    """
    return _read(text) if text else style(code)


@cache
def _adapter() -> TypeAdapter[Style]:
    return TypeAdapter(Style)


@cache
def _read(text: str) -> Style:
    try:
        told = json.loads(text)
        if told["format"] != _FORMAT:
            msg = f"the text of the style is not a {_FORMAT!r}"
            raise InputError(msg)
        if told["version"] > _VERSION:
            msg = f"the style was made by a later crowlight (version {told['version']}); use that"
            raise InputError(msg)
        return _adapter().validate_python(told["style"])
    except (json.JSONDecodeError, KeyError, TypeError, ValidationError) as error:
        msg = f"the text of the style cannot be read ({type(error).__name__}); restore a backup"
        raise InputError(msg) from None


def checked_name(name: str) -> str:
    """Return a name fit for a maker's own style.

    Raises
    ------
    InputError
        If it is empty, too long, or the code of a style that comes with crowlight.
    """
    name = clean_text(name, lines=False)
    if not name or len(name) > 100:
        msg = f"style name has {len(name)} characters; give 1 to 100"
        raise InputError(msg)
    if folded(name) in STYLE_CODES:
        msg = f"the style {name!r} comes with crowlight; give yours another name"
        raise InputError(msg)
    return name


def own_style_text(inputs: Mapping[str, Any], report: Report = lambda _: None) -> dict[str, str]:
    """Make a style from reeds.

    Parameters
    ----------
    inputs : mapping
        ``name`` of the style and ``reeds``: for each reed the inputs of
        `crowlight.bench.assess.assess`.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    dict
        ``text``, as `known_style` reads it.

    Raises
    ------
    InputError
        If there is no reed, reeds differ in style, or one has too few readings to be mapped.
    """
    from crowlight.bench.mapping import thickness_map
    from crowlight.reed.thickness import own_style

    reeds: Sequence[Mapping[str, Any]] = inputs["reeds"]
    base = _base(reeds)
    fits: list[Any] = []
    for number, one in enumerate(reeds, start=1):
        chosen: list[Reading] = [r for r in one["readings"] if r.state is base.state]
        if min(sum(r.place.blade is b for r in chosen) for b in Blade) < ENOUGH_READINGS:
            msg = (
                f"reed {one['name']!r} has too few readings of {base.state.value} cane: a style "
                f"needs {ENOUGH_READINGS} of each blade; measure more points or leave it out"
            )
            raise InputError(msg)
        fits.append(thickness_map(one, chosen).fit)
        report(number / (len(reeds) + 1))
    made = own_style(base, fits, code=inputs["name"])
    return {"text": style_text(made)}


def _base(reeds: Sequence[Mapping[str, Any]]) -> Style:
    if not reeds:
        msg = "name the reeds the style is to be made from"
        raise InputError(msg)
    for one in reeds:
        if not one.get("style"):
            msg = f"reed {one['name']!r} has no scrape style to start from; choose one for it"
            raise InputError(msg)
    first = reeds[0]
    for one in reeds:
        if one["style"] != first["style"]:
            msg = (
                f"reed {first['name']!r} is of style {first['style']!r} and {one['name']!r} of "
                f"{one['style']!r}; make one style of each"
            )
            raise InputError(msg)
    return known_style(first["style"], first.get("style_text") or "")
