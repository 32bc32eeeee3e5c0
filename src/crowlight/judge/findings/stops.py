"""What forbids what: safety first, then time, then doubt."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from crowlight.judge.findings.evidence import Known
from crowlight.judge.findings.finding import Finding, Remedy
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.where import REED

__all__ = ["DAY", "SMALLEST_CLIP", "Stop", "bars", "settled", "stop_texts", "stops"]

#: A performance nearer than this allows only what can be undone [s].
DAY = 24 * 3600.0
#: A reed is left to settle at a new place for so long [s].
SETTLED = 48 * 3600.0
#: The least a clip takes [m].
SMALLEST_CLIP = 0.1e-3
#: So many are enough: clips, tests without gain, cuts without the gauge.
ENOUGH = 3
#: One-sided 95 % point: what must be sure lies this many standard uncertainties away.
_SURE = 1.6449


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that forbids.

    Parameters
    ----------
    code, text : str
        Name and English source sentence.
    kinds : tuple of str
        What it forbids; see ``stops.toml``.
    because : tuple of str
        Findings it comes from, or zones at their floor.
    """

    code: str
    text: str
    kinds: tuple[str, ...]
    because: tuple[str, ...] = ()


@cache
def _table() -> Mapping[str, tuple[str, tuple[str, ...]]]:
    text = (files("crowlight.judge.findings") / "stops.toml").read_text(encoding="utf-8")
    return {r["code"]: (r["text"], tuple(r["bars"])) for r in tomllib.loads(text)["stop"]}


def stops(
    known: Known, supported: Iterable[tuple[Finding, bool]], *, asked: bool
) -> tuple[Stop, ...]:
    """Return what forbids something on this reed now, safety first.

    Parameters
    ----------
    known : Known
        All that is known of the reed.
    supported : iterable of (Finding, bool)
        Findings with fair support or more, and whether it is strong.
    asked : bool
        Whether words and measurements disagree.

    Returns
    -------
    tuple of Stop
        In the order of ``stops.toml``.
    """
    found = list(supported)
    because: dict[str, tuple[str, ...]] = {
        "not-the-reed": _of(found, "not-the-reed", leave=set(settled(known))),
        "not-now": _of(found, "not-now", leave={"blunt-knife"}),
        "before-the-knife": tuple(
            sorted(
                {
                    f.code
                    for f, strong in found
                    if f.group == "before-the-knife" and (strong or f.code == "batch-alike")
                }
            )
        ),
        "floor": tuple(sorted(known.geometry.at_floor)),
    }
    codes = {f.code for f, _ in found}
    history, agreement, look = known.history, known.agreement, known.trials.look
    now = {
        "crack-at-thread": "crack-at-thread" in codes or "crack-thread" in look,
        "splintered": "splintered" in codes or "splinter" in look,
        "crack-in-scrape": "crack-in-scrape" in codes or "crack-scrape" in look,
        "mouldy": "mouldy" in codes or "mould" in look,
        "ask-owner": agreement.others_reed and agreement.may_cut != "yes",
        "concert-soon": agreement.concert_in is not None and agreement.concert_in < DAY,
        "disagreement": asked,
        "unlike-wet-states": history.wet_states_alike == "no",
        "crow-lost": history.crow_lost == "yes" and not _measured_anew(known),
        "not-the-reed": bool(because["not-the-reed"]),
        "sharpen-first": "blunt-knife" in codes,
        "not-now": bool(because["not-now"]),
        "before-the-knife": bool(because["before-the-knife"]),
        "three-tests": (history.tests_without_gain or 0) >= ENOUGH,
        "measure-first": (history.cuts_since_measured or 0) >= ENOUGH,
        "no-more-clips": (history.clips or 0) >= ENOUGH or _no_room(known),
        "floor": bool(because["floor"]),
    }
    return tuple(
        Stop(code, text, kinds, because.get(code, ()))
        for code, (text, kinds) in _table().items()
        if now[code]
    )


def stop_texts() -> tuple[str, ...]:
    """Return the English sentences of all stops."""
    return tuple(text for text, _ in _table().values())


def bars(stop: Stop, remedy: Remedy) -> bool:
    """Return whether a stop forbids a remedy; looking and recording is never forbidden."""
    return (
        ("cuts" in stop.kinds and remedy.cuts)
        or ("loads" in stop.kinds and remedy.loads)
        # retiring a reed is no treatment: it may always be advised
        or ("lasting" in stop.kinds and not remedy.undoable and remedy.code != "retire")
        or ("clip" in stop.kinds and remedy.zone == "length")
        or ("floor" in stop.kinds and remedy.zone in _with_parts(stop.because))
    )


def _with_parts(zones: tuple[str, ...]) -> set[str]:
    """Return the zones with those they are part of: spine, windows and rails are the back's."""
    parts = {"spine", "windows", "rails"}
    return {*zones, *(("back",) if parts & set(zones) else ())}


def _of(found: Iterable[tuple[Finding, bool]], group: str, *, leave: set[str]) -> tuple[str, ...]:
    return tuple(sorted({f.code for f, _ in found if f.group == group} - leave))


def settled(known: Known) -> frozenset[str]:
    """Return the findings that forbid no longer because the reed has settled at this place."""
    here = known.climate.here_for
    if here is not None and here >= SETTLED:
        return frozenset({"higher-place", "lower-place", "drier-air"})
    return frozenset()


def _measured_anew(known: Known) -> bool:
    """Whether lengths, both hearts and both transitions are known since the last cut."""
    if (known.history.cuts_since_measured or 0) > 0:
        return False
    wanted = ("length", "heart-excess-of-blade", "transition")
    found = (MEASURES[code].of(known, REED) for code in wanted)
    return all(value is not None and value.tells for value in found)


def _no_room(known: Known) -> bool:
    """Whether the smallest clip may pass the stop, the uncertainty of the length allowed for."""
    room = known.geometry.clipping_room
    if room is None or not room.tells:
        return False
    return room.value - _SURE * room.uncertainty < SMALLEST_CLIP
