"""What was measured of a reed as it is now, gathered for a calibration.

Measurements before the last cut or clip were of another reed and are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from crowlight.bench.kinds import Climate, Clip, CrowStart, Cut, ForceTest, Recording
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.errors import CrowlightError
from crowlight.materials import standard_atmosphere

__all__ = ["Datum", "calibration_inputs", "was_measured"]

#: Most recordings listened to for a calibration, of each kind; more wear only the noise away.
MOST_RECORDINGS = 2
#: Scatter of a pitch from blow to blow, taken where the listening knows less [cents] (common
#: practice, no source).
LEAST_SCATTER = 15.0
#: Pitches a reed may crow at [Hz]; the page of a recording asks about others.
CROWED = (300.0, 2500.0)

Hear = Callable[..., Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Datum:
    """One measurement that counts.

    Parameters
    ----------
    kind : str
        ``force``, ``crow``, ``peep`` or ``start``.
    value, spread : float
        As measured, one standard deviation; N, Hz or Pa.
    entry : int
        Number of its entry.
    depth, depth_spread, pad_from_tip, pad_length : float
        Of a force test [m]; 0 for the others.
    upper : bool
        Whether a crow's upper note was taken, an octave above the lower one.
    """

    kind: str
    value: float
    spread: float
    entry: int
    depth: float = 0.0
    depth_spread: float = 0.0
    pad_from_tip: float = 0.0
    pad_length: float = 0.0
    upper: bool = False

    @property
    def unit(self) -> str:
        """SI unit of the value."""
        return {"force": "N", "start": "Pa"}.get(self.kind, "Hz")


def calibration_inputs(
    inputs: Mapping[str, Any], state: ReedState, hear: Hear, *, altitude: float | None = None
) -> dict[str, Any]:
    """Add to the inputs of the blade model what was measured of the reed as it is now.

    Parameters
    ----------
    inputs : mapping
        From `crowlight.bench.inputs.blade_inputs`.
    state : ReedState
        Of the reed.
    hear : callable
        Measures a recording: `crowlight.bench.desk.Desk.hear`.
    altitude : float, optional
        Of the place where it is worked on [m]; taken where no barometer was read.

    Returns
    -------
    dict
        Inputs of `crowlight.bench.calibration.calibrate`.
    """
    before, since = _parted(state)
    measured = [d for e in since if (d := _typed(e)) is not None]
    for kind in ("crow", "peep"):
        takes = [e for e in since if _is_sound(e, kind)][-MOST_RECORDINGS:]
        measured += [d for e in takes if (d := _heard(e, kind, hear)) is not None]
    staple = state.described.staple
    # a later note of warmth and damp alone does not take a barometer back
    airs = [e.payload for e in state.entries if isinstance(e.payload, Climate)]
    pressures = [air.pressure for air in airs if air.pressure is not None]
    return {
        **inputs,
        "measured": tuple(measured),
        "passed_over": sum(map(_counts, before)),
        "map_older": bool(state.readings) and all(t.cut_since for t in state.readings),
        "air_pressure": pressures[-1] if pressures else _standard(altitude),
        "staple_length": staple.length,
        "bore_top": staple.bore_top,
        "bore_bottom": staple.bore_bottom,
    }


def _standard(altitude: float | None) -> float | None:
    """Return the standard pressure at an altitude [Pa]; None if nobody knows how high it is."""
    return None if altitude is None else float(standard_atmosphere(altitude).pressure)


def was_measured(state: ReedState) -> bool:
    """Whether anything was measured that a calibration of the reed as it is now could use."""
    return any(map(_counts, _parted(state)[1]))


def _parted(state: ReedState) -> tuple[tuple[Entry, ...], tuple[Entry, ...]]:
    """Return the entries up to the last cut or clip, and those since."""
    cuts = [i for i, e in enumerate(state.entries) if isinstance(e.payload, Cut | Clip)]
    parting = cuts[-1] + 1 if cuts else 0
    return state.entries[:parting], state.entries[parting:]


def _counts(entry: Entry) -> bool:
    return _typed(entry) is not None or _is_sound(entry, "crow") or _is_sound(entry, "peep")


def _is_sound(entry: Entry, kind: str) -> bool:
    return isinstance(entry.payload, Recording) and entry.payload.sound_of == kind


def _typed(entry: Entry) -> Datum | None:
    """Return what was typed of a force test or of where the crow starts."""
    match entry.payload:
        case ForceTest() as p:
            return Datum(
                kind="force",
                value=p.force,
                spread=p.uncertainty,
                entry=entry.seq,
                depth=p.depth,
                depth_spread=p.depth_uncertainty,
                pad_from_tip=p.pad_from_tip,
                pad_length=p.pad_length,
            )
        case CrowStart() as p:
            return Datum(kind="start", value=p.pressure, spread=p.uncertainty, entry=entry.seq)
        case _:
            return None


def _heard(entry: Entry, kind: str, hear: Hear) -> Datum | None:
    """Return the pitch of a recording, or None where the listening shows none.

    A crow is taken to begin with its upper note, an octave above the one near the target, unless
    the lower one is plainly heard first; the second partial of a single note looks the same.
    """
    payload = entry.payload
    if not isinstance(payload, Recording):
        return None
    reference = payload.settings.get("reference_hz")
    try:
        heard = hear(
            payload.digest,
            payload.sound_of,
            reference=float(reference) if isinstance(reference, int | float) else None,
            full_scale=payload.full_scale,
            one_reed=payload.settings.get("one_reed") is True,
        )
    except CrowlightError:
        return None  # a recording that cannot be read says nothing; its page says why
    pitch, cents = heard.get("pitch_hz"), heard.get("pitch_cents_folded")
    if not heard.get("usable") or pitch is None or cents is None:
        return None
    upper = False
    if kind == "crow":
        upper = heard.get("first_octave") in ("upper", "both")
        pitch = heard["target_hz"] * 2.0 ** (cents / 1200.0 + upper)
    if not CROWED[0] <= pitch <= CROWED[1]:
        return None
    scatter = max(_scatter(heard["intervals"].get("pitch_cents_folded", ())), LEAST_SCATTER)
    spread = pitch * math.log(2.0) * scatter / 1200.0
    return Datum(kind=kind, value=float(pitch), spread=spread, entry=entry.seq, upper=upper)


def _scatter(interval: Iterable[float | None]) -> float:
    """Return the standard deviation behind a 95 % interval; 0 for one without ends."""
    ends = [end for end in interval if end is not None]
    return (ends[1] - ends[0]) / (2 * 1.96) if len(ends) == 2 else 0.0
