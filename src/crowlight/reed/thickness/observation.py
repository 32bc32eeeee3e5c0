"""What a gauge sees of a blade: foot, placement, seating, drying."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.reed.frame import Blade, Place
from crowlight.reed.instruments import Instrument, instruments
from crowlight.reed.readings import CaneState, Reading, check_reading
from crowlight.reed.styles import Style
from crowlight.reed.thickness.unevenness import Local, Scales, Sites, local

__all__ = ["BLADES", "Observed", "Seen", "observe", "sites"]

Array = NDArray[np.float64]

#: Order of the blades in every array.
BLADES = (Blade.MARKED, Blade.PLAIN)
#: A foot may reach over the edge by this and still be read [m]: the outline is a style's.
OVERHANG = 0.6e-3


@dataclass(frozen=True, slots=True)
class Observed:
    """Readings as arrays.

    Parameters
    ----------
    thickness : ndarray, shape (n,)
        [m].
    sites : Sites
        Where the foot was meant to stand.
    placement : ndarray, shape (n,)
        Standard deviation of where it stood, per axis [m].
    noise : ndarray, shape (n,)
        Variance of repeatability and rounding [m²].
    mounting, spot : ndarray of int, shape (n,)
        Number of the mounting, and of the place within a mounting: one placement error each.
    seating : ndarray, shape (n,)
        Standard deviation of the offset of a mounting [m].
    minutes : ndarray, shape (n,)
        Minutes after the wettest reading; 0 where not known.
    state : CaneState
        Common to all.
    """

    thickness: Array
    sites: Sites
    placement: Array
    noise: Array
    mounting: NDArray[np.intp]
    spot: NDArray[np.intp]
    seating: Array
    minutes: Array
    state: CaneState

    def __len__(self) -> int:
        return len(self.thickness)


@dataclass(frozen=True, slots=True)
class Seen:
    """The mean profile as the foot sees it.

    Parameters
    ----------
    mean : ndarray, shape (n,)
        Averaged over the foot and over placement [m].
    jacobian : ndarray, shape (n, n_names)
        By the parameters of the reading's blade.
    parts : Local
        Strength of the unevenness.
    slope2 : ndarray, shape (n,)
        Square of the local slope, along and across together [1].
    shift : ndarray, shape (n,)
        Slope along the reed [1].
    """

    mean: Array
    jacobian: Array
    parts: Local
    slope2: Array
    shift: Array


def sites(style: Style, places: Sequence[Place], foot: float | Array = 0.0) -> Sites:
    """Return places as arrays."""
    along = np.array([p.along for p in places])
    across = np.array([p.across for p in places])
    return Sites(
        np.array([BLADES.index(p.blade) for p in places], dtype=np.intp),
        along,
        across,
        np.clip(style.outline.fraction(along, across), -1.0, 1.0),
        np.broadcast_to(np.asarray(foot, float), along.shape),
    )


def observe(
    readings: Sequence[Reading],
    style: Style,
    *,
    gauges: Mapping[str, Instrument] | None = None,
) -> Observed:
    """Turn readings into arrays.

    Parameters
    ----------
    readings : sequence of Reading
        Of one reed, all wet or all dry.
    style : Style
        Style laid on the reed.
    gauges : mapping of str to Instrument, optional
        The maker's own instruments by code; the others are as in the data file.

    Raises
    ------
    InputError
        A reading that cannot be right or lies off the blade; wet and dry readings together; an
        unknown instrument.
    """
    if not readings:
        msg = "there are no readings; a map needs at least one, eight per blade to be of use"
        raise InputError(msg)
    states = {r.state for r in readings} - {CaneState.UNKNOWN}
    if len(states) > 1:
        wet = sum(r.state is CaneState.WET for r in readings)
        dry = sum(r.state is CaneState.DRY for r in readings)
        msg = (
            f"{wet} readings of wet cane and {dry} of dry cane cannot make one map; "
            "map them apart, or measure the reed again in one state"
        )
        raise InputError(msg)
    for reading in readings:
        check_reading(reading)
        _check_on_blade(reading.place, style)
    known = {**instruments(), **(gauges or {})}
    unknown = sorted({r.instrument for r in readings} - set(known))
    if unknown:
        msg = f"instrument {unknown[0]!r} is not known; use one of: {', '.join(known)}"
        raise InputError(msg)
    tools = [known[r.instrument] for r in readings]
    mounting = [(r.place.blade, r.seating, r.instrument) for r in readings]
    spot = [
        (*key, r.place.along, r.place.across) for key, r in zip(mounting, readings, strict=True)
    ]
    times = [r.minutes_wet for r in readings if r.minutes_wet is not None]
    first = min(times, default=0.0)
    return Observed(
        thickness=np.array([r.thickness for r in readings]),
        sites=sites(style, [r.place for r in readings], np.array([t.foot / 4 for t in tools])),
        placement=np.array([t.placement for t in tools]),
        noise=np.array([t.repeatability**2 + t.resolution**2 / 12 for t in tools]),
        mounting=_numbers(mounting),
        spot=_numbers(spot),
        seating=np.array([t.seating for t in tools]),
        minutes=np.array(
            [0.0 if r.minutes_wet is None else r.minutes_wet - first for r in readings]
        ),
        state=states.pop() if states else CaneState.UNKNOWN,
    )


def _check_on_blade(place: Place, style: Style) -> None:
    half = float(style.outline.half_width(place.along))
    if not (
        style.thread_top - OVERHANG <= place.along <= style.length + OVERHANG
        and abs(place.across) <= half + OVERHANG
    ):
        msg = (
            f"a reading at {place.along * 1e3:.2f} mm along, {place.across * 1e3:.2f} mm across "
            f"is off the {place.blade} blade, which reaches from {style.thread_top * 1e3:g} to "
            f"{style.length * 1e3:.4g} mm along and {half * 1e3:.2f} mm either side of the "
            "centreline there; check the position, or the length of the reed"
        )
        raise InputError(msg)


def _numbers(keys: Sequence[object]) -> NDArray[np.intp]:
    order: dict[object, int] = {}
    return np.array([order.setdefault(key, len(order)) for key in keys], dtype=np.intp)


#: Directions of the four points that stand for a disc: exact to third order.
_RING = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))


def seen(observed: Observed, style: Style, values: Array, scales: Scales) -> Seen:
    """Evaluate the mean profile under the foot.

    The foot is a disc and the placement error normal; both average the profile, to second order
    like four points at a distance :math:`r` with :math:`r^2/2` the variance per axis.

    Parameters
    ----------
    observed : Observed
        n readings.
    style : Style
        Style laid on the reed.
    values : ndarray, shape (2, n_names)
        Profile parameters of each blade.
    scales : Scales
        Hyper-parameters, for the slope of the unevenness.
    """
    at, n = observed.sites, len(observed)
    radius = np.sqrt(2.0 * (at.foot**2 + observed.placement**2)) + 1e-6
    along = np.concatenate([at.along + dx * radius for dx, _ in _RING])
    across = np.concatenate([at.across + dy * radius for _, dy in _RING])
    ring = Sites(
        np.tile(at.blade, 4),
        along,
        across,
        np.clip(style.outline.fraction(along, across), -1.0, 1.0),
        np.zeros(4 * n),
    )
    mean, jacobian, _ = local(style, values, ring)
    mean4, jacobian4 = mean.reshape(4, n), jacobian.reshape(4, n, -1)
    _, _, parts = local(style, values, at)
    shift = (mean4[0] - mean4[1]) / (2.0 * radius)
    aside = (mean4[2] - mean4[3]) / (2.0 * radius)
    uneven = scales.amount**2 * (
        parts.broad**2 * (scales.along**-2 + scales.across**-2)
        + parts.fine**2 * (scales.fine_along**-2 + scales.fine_across**-2)
    )
    return Seen(
        mean4.mean(axis=0), jacobian4.mean(axis=0), parts, shift**2 + aside**2 + uneven, shift
    )


def noise(observed: Observed, slope2: Array, shift: Array, *, common_shift: float = 0.0) -> Array:
    """Return the covariance of the readings' errors.

    Parameters
    ----------
    observed : Observed
        n readings.
    slope2, shift : ndarray, shape (n,)
        As in `Seen`.
    common_shift : float
        Standard deviation of an error along the reed common to all positions of a blade, as when
        all were counted from a tip whose distance from the rim is not sure [m].

    Returns
    -------
    ndarray, shape (n, n)
        [m²]. Repeatability and rounding are each reading's own; one placement error per place and
        mounting, carried by the slope; one offset per mounting.

    References
    ----------
    A. McHutchon, C. E. Rasmussen, "Gaussian process training with input noise", NIPS 24 (2011),
    equation 5: input noise is output noise times the squared slope.
    """
    drift = observed.placement * np.sqrt(slope2)
    same_spot = observed.spot[:, None] == observed.spot
    same_mounting = observed.mounting[:, None] == observed.mounting
    total = np.multiply.outer(drift, drift) * same_spot
    total += np.multiply.outer(observed.seating, observed.seating) * same_mounting
    if common_shift:
        same_blade = observed.sites.blade[:, None] == observed.sites.blade
        total += common_shift**2 * np.multiply.outer(shift, shift) * same_blade
    total[np.diag_indices_from(total)] += observed.noise
    return total
