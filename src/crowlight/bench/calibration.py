"""What a maker's measurements say of one reed's cane, tie and damping, as plain values.

A measured opening is the middle of the rest shape and never given again as a measurement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from crowlight.bench.air import staple_of
from crowlight.bench.learned import Learned
from crowlight.bench.mapping import thickness_map
from crowlight.bench.measured import Datum
from crowlight.bench.mechanics import reed_blades, wet_readings
from crowlight.bench.ports import Report
from crowlight.calibrate import (
    Belief,
    Combination,
    Conflict,
    CrowPitch,
    CrowStart,
    ForceTest,
    Measurement,
    Pad,
    PeepPitch,
    Posterior,
    Quality,
)
from crowlight.calibrate import calibrate as update_reed
from crowlight.crow import ReedParameters

__all__ = ["Calibrated", "calibrate"]

#: Reeds drawn for the air model.
DRAWS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """What was learned of one reed.

    Parameters
    ----------
    data : tuple of Datum
        What counted; conflicts name places in it.
    passed_over : int
        How many measurements were left out, as the reed was cut or clipped after them.
    map_older : bool
        Whether the reed was cut after its readings were taken, so that the map is of another reed.
    opening_known : bool
        Whether the opening was measured; else a usual one is the middle.
    prior, posterior : mapping of str to Belief
        See `crowlight.calibrate.QUANTITIES`.
    cannot_separate : tuple of Combination
        What the data see only together, and what they do not see.
    conflicts : tuple of Conflict
        Questions to answer before the posterior is used.
    chance : float
        Chance of data as odd as these.
    quality : Quality
        How good the computation was.
    notes : tuple of str
        Codes, see `crowlight.calibrate.Posterior`.
    learned : Learned
        For the blade model.
    reeds : tuple of ReedParameters
        For the air model, drawn from the posterior.
    """

    data: tuple[Datum, ...]
    passed_over: int
    map_older: bool
    opening_known: bool
    prior: Mapping[str, Belief]
    posterior: Mapping[str, Belief]
    cannot_separate: tuple[Combination, ...]
    conflicts: tuple[Conflict, ...]
    chance: float
    quality: Quality
    notes: tuple[str, ...]
    learned: Learned
    reeds: tuple[ReedParameters, ...]

    @property
    def used(self) -> bool:
        """Whether the models take the posterior: there are data, and nothing is in doubt."""
        doubt = self.conflicts or self.map_older or {"rough", "blade_lines"} & set(self.notes)
        return bool(self.data) and not doubt


def calibrate(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Calibrated:
    """Learn from what was measured of a reed.

    Parameters
    ----------
    inputs : mapping
        From `crowlight.bench.measured.calibration_inputs`.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    Calibrated
        Prior and posterior, questions, and what the models take from it.

    Raises
    ------
    InputError
        If there is no style or too few readings.
    OutsideModel
        If the models have no answer for this reed; the message says why.
    """
    found = thickness_map(inputs, wet_readings(inputs), None)
    report(0.1)
    opening = inputs.get("opening")
    blades, marked, plain = reed_blades(found, opening=opening, tip_width=inputs.get("tip_width"))
    data: tuple[Datum, ...] = inputs["measured"]
    rng = np.random.default_rng(23)
    answer = update_reed(
        blades,
        [_measurement(d) for d in data],
        rng=rng,
        marked=marked,
        plain=plain,
        staple=staple_of(inputs),
        ambient_pressure=inputs.get("air_pressure") or 101325.0,
        report=lambda f: report(0.1 + 0.85 * f),
    )
    return Calibrated(
        data=data,
        passed_over=inputs["passed_over"],
        map_older=inputs["map_older"],
        opening_known=opening is not None,
        prior=dict(answer.prior),
        posterior=dict(answer.posterior),
        cannot_separate=answer.cannot_separate,
        conflicts=answer.conflicts,
        chance=answer.chance,
        quality=answer.quality,
        notes=answer.notes,
        learned=_learned(answer, data),
        reeds=tuple(d.reed for d in answer.draws(DRAWS, rng)) if data else (),
    )


def _measurement(datum: Datum) -> Measurement:
    match datum.kind:
        case "force":
            pad = Pad(from_tip=datum.pad_from_tip, length=datum.pad_length)
            return ForceTest(datum.value, datum.spread, datum.depth, datum.depth_spread, pad)
        case "crow":
            return CrowPitch(datum.value, datum.spread)
        case "peep":
            return PeepPitch(datum.value, datum.spread)
        case _:
            return CrowStart(datum.value, datum.spread)


def _learned(answer: Posterior, data: tuple[Datum, ...]) -> Learned:
    """Return mean and covariance of the blades' unknowns over the weighed draws."""
    names = tuple(u.name for u in answer.model.line.reed.unknowns)
    sample = answer.sample[:, : len(names)]
    mean = answer.weights @ sample
    off = sample - mean
    covariance = (off * answer.weights[:, None]).T @ off
    return Learned(
        names=names,
        mean=tuple(mean.tolist()),
        covariance=tuple(map(tuple, covariance.tolist())),
        data=tuple(dict.fromkeys(d.kind for d in data)),
    )
