"""The way of each reed through the workshop, counted from plain entries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from crowlight.batch.figures import Made
from crowlight.bench.ports import PlainEntry
from crowlight.bench.workshop_kinds import MAKING

__all__ = ["KINDS_LOOKED_AT", "made_reeds"]

_STAGE = {name: i for i, name in enumerate(MAKING)}


def made_reeds(entries: Iterable[PlainEntry]) -> list[Made]:
    """Return the way of every reed of one's own making.

    Parameters
    ----------
    entries : iterable of PlainEntry
        Of the kinds looked at, in the order in which they happened; replaced and withdrawn ones
        among them.

    Returns
    -------
    list of Made
        One for each reed that any of these tells of; posted reeds, which others made, not counted.
    """
    kept = list(entries)
    replaced = {e.replaces for e in kept if e.replaces is not None}
    said: dict[int, dict[str, Any]] = {}
    posted: set[int] = set()
    for e in kept:
        if e.uuid in replaced or e.kind == "withdrawn":
            continue
        if e.kind == "intake":
            posted.add(e.reed)
        else:
            _TELLS[e.kind](said.setdefault(e.reed, {}), e.payload)
    return [Made(**{**_NOTHING, **told}) for reed, told in said.items() if reed not in posted]


def _stage(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if (at := _STAGE.get(p["stage"])) is not None:
        said["stage"] = max(at, said.get("stage", 0))


def _minutes(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if p.get("duration") is not None:
        said["seconds"] = said.get("seconds", 0.0) + p["duration"]
    # unlike money is not added: the currency that was noted first stands
    if p.get("cost") is not None and said.setdefault("currency", p["currency"]) == p["currency"]:
        said["cost"] = said.get("cost", 0.0) + p["cost"]


def _outcome(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    said["sellable"] = p["outcome"] == "sellable"
    said["reason"] = "" if said["sellable"] else p.get("reason", "")
    said["ended"] = not said["sellable"]


def _played(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    said["played"] = said.get("played", 0.0) + p["duration"]


def _follow_up(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if p.get("played"):
        said["played"] = max(p["played"], said.get("played", 0.0))
    if (still := p.get("still_played", "unsure")) != "unsure":
        said["ended"] = still == "no"


def _tube(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if p.get("lot"):
        said["cane"] = p["lot"]


def _shaped(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if p.get("tool"):
        said["shape"] = p["tool"]


def _verdict(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    if p.get("grade") is not None:
        said["grade"] = p["grade"]


def _described(said: dict[str, Any], p: Mapping[str, Any]) -> None:
    cane: Mapping[str, Any] = p.get("cane") or {}
    if cane.get("source"):
        said.setdefault("cane", cane["source"])


_NOTHING: Mapping[str, Any] = {"stage": None, "seconds": None, "cost": None, "played": None}
_TELLS: Mapping[str, Callable[[dict[str, Any], Mapping[str, Any]], None]] = {
    "stage": _stage,
    "minutes": _minutes,
    "outcome": _outcome,
    "played": _played,
    "follow-up": _follow_up,
    "cane-tube": _tube,
    "shaped": _shaped,
    "verdict": _verdict,
    "described": _described,
}
#: Kinds of entry that tell of a reed's way, and those that take one back or say whose work it is.
KINDS_LOOKED_AT = frozenset(_TELLS) | {"intake", "withdrawn"}
