"""The crow and the peep, measured.

What each number means, how it is computed and where it fails: docs/theory/listening.md.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from numpy.typing import ArrayLike

from crowlight.listen.blows import find_blows, quiet_part
from crowlight.listen.classes import ClassModel, common_practice
from crowlight.listen.compare import Summary, summarise
from crowlight.listen.measures import MEASURED, BlowMeasures, blow_dict, measure_blow
from crowlight.listen.partials import power_spectrum
from crowlight.listen.usable import Reason, Usable, check_usable
from crowlight.listen.waveform import finite, one_channel, working

__all__ = ["Listened", "attempt_values", "measure_crow", "measure_peep"]

Report = Callable[[float], None]

C5 = 440.0 * 2.0 ** (3 / 12)
"""Equal temperament from A4 = 440 Hz [Hz]."""
CROW_RANGE = (180.0, 1_300.0)
PEEP_RANGE = (650.0, 1_700.0)
ATTEMPTED = (
    "pitch_hz",
    "pitch_cents",
    "pitch_cents_folded",
    "pitched_share",
    "stray_db",
    "breath_db",
    "rattle_percent",
    "beat_percent",
    "steadiness_cents",
    "drift_cents_per_s",
    "attack_s",
    "octave_spread_cents",
)
"""Numbers summarised over the blows of a take."""


@dataclass(frozen=True, slots=True)
class Listened:
    """Answer for one recording.

    Parameters
    ----------
    kind : {"crow", "peep"}
        What it was heard as.
    target : float
        Pitch aimed at [Hz].
    usable : Usable
        Whether it could be measured, and why not.
    reasons : tuple of Reason
        All of those, and ``no_single_pitch`` where the pitch of the best blow is not shown.
    blows : tuple of BlowMeasures
        One per measured blow, in order of time; empty if not usable.
    basis : str
        What the class probabilities rest on.
    """

    kind: str
    target: float
    usable: Usable
    reasons: tuple[Reason, ...]
    blows: tuple[BlowMeasures, ...]
    basis: str

    @property
    def best(self) -> BlowMeasures | None:
        """The longest blow."""
        return max(self.blows, key=lambda b: b.end - b.start, default=None)

    @property
    def attempts(self) -> dict[str, Summary]:
        """Median and range over the blows, for each number :meth:`as_dict` has one of."""
        return {name: summarise(found) for name, found in attempt_values([self]).items()}

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON, of the longest blow; intervals beside them; None where unknown."""
        out: dict[str, Any] = {
            "kind": self.kind,
            "usable": self.usable.ok,
            "reasons": [
                {
                    "code": r.code,
                    "text": r.text,
                    "remedy": r.remedy,
                    "blocks": r.blocks,
                    "value": r.value,
                    "limit": r.limit,
                }
                for r in self.reasons
            ],
            "target_hz": self.target,
            "blows": [blow_dict(b) for b in self.blows],
            "class_basis": self.basis,
            "attempts": {
                name: {
                    "median": s.median,
                    "low": s.low,
                    "high": s.high,
                    "attempts": s.attempts,
                    "enough": s.enough,
                }
                for name, s in self.attempts.items()
                if s.attempts
            },
        }
        best = self.best
        empty = dict.fromkeys(MEASURED)
        return out | ({**empty, "intervals": {}} if best is None else blow_dict(best))


def attempt_values(heard: Iterable[Listened]) -> dict[str, list[float | None]]:
    """Collect one value per blow over any number of recordings, for comparing or for the spread.

    Parameters
    ----------
    heard : iterable of Listened
        Recordings of one reed in one state.

    Returns
    -------
    dict
        By name, as in :meth:`Listened.as_dict`; None where a blow has no value; empty lists never.
    """
    rows = [blow_dict(blow) for take in heard for blow in take.blows]
    return {name: [row[name] for row in rows] for name in ATTEMPTED if rows}


def measure_crow(
    sound: ArrayLike,
    rate: float,
    *,
    target: float = C5,
    classes: ClassModel | None = None,
    one_reed: bool = False,
    report: Report | None = None,
) -> Listened:
    """Measure every blow of a recorded crow.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Recording, full scale 1.
    rate : float
        Sampling rate [Hz].
    target : float
        Pitch aimed at [Hz]; its octave is the one called 1.
    classes : ClassModel, optional
        Thresholds learnt from the maker; common practice if absent.
    one_reed : bool
        The maker says all blows are of one reed.
    report : callable, optional
        Told the fraction done; may raise Cancelled.

    Raises
    ------
    InputError
        If shape or rate cannot be right. An unusable recording is an answer, not an error.

    Examples
    --------
    >>> import numpy as np
    >>> measure_crow(np.zeros(48_000), 48_000.0).as_dict()["usable"]
    False
    """
    return _measure("crow", sound, rate, target, CROW_RANGE, classes, one_reed, report)


def measure_peep(
    sound: ArrayLike,
    rate: float,
    *,
    target: float = 2.0 * C5,
    classes: ClassModel | None = None,
    one_reed: bool = False,
    report: Report | None = None,
) -> Listened:
    """Measure every blow of a recorded peep: the same measures, looked for at 650-1700 Hz.

    Parameters and errors are those of :func:`measure_crow`. The classes are the crow's and say
    little about a peep.
    """
    return _measure("peep", sound, rate, target, PEEP_RANGE, classes, one_reed, report)


def _measure(
    kind: str,
    sound: ArrayLike,
    rate: float,
    target: float,
    span: tuple[float, float],
    classes: ClassModel | None,
    one_reed: bool,
    report: Report | None,
) -> Listened:
    model = classes or common_practice()
    usable = check_usable(sound, rate, low=span[0], high=span[1], one_reed=one_reed)
    if not usable.ok:
        return Listened(kind, target, usable, usable.reasons, (), model.basis)
    x, slow_rate = working(finite(one_channel(sound, rate)), rate)
    room = quiet_part(x, slow_rate, find_blows(x, slow_rate))
    room_spectrum = None if room is None else power_spectrum(room, slow_rate)
    measured = []
    for i, blow in enumerate(usable.blows):
        found = measure_blow(x, slow_rate, blow, target, span, room_spectrum, model)
        if found is not None:
            measured.append(found)
        if report is not None:
            report((i + 1) / len(usable.blows))
    best = max(measured, key=lambda b: b.end - b.start, default=None)
    reasons = usable.reasons
    if best is not None and best.pitch is None:
        reasons = (*reasons, _no_single_pitch(best.pitched_share.value))
    return Listened(kind, target, usable, reasons, tuple(measured), model.basis)


def _no_single_pitch(share: float) -> Reason:
    return Reason(
        "no_single_pitch",
        f"no single pitch: {100.0 * share:.0f} % of the sound belongs to the best one",
        "read the class and the rattle; the pitch comes back when the octaves join",
        blocks=False,
        value=share,
    )
