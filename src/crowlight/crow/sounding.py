"""The modelled crow as sound to listen to; always to be marked as a model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from crowlight.crow.reed import ReedParameters
from crowlight.crow.resonances import Resonances
from crowlight.crow.timedomain import simulate
from crowlight.errors import InputError

__all__ = ["ModelSound", "crow_sound"]


@dataclass(frozen=True, slots=True)
class ModelSound:
    """A sound made by the model.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        -1 to 1.
    sample_rate : int
        [Hz].
    full_scale : float
        Pressure rate that is drawn as 1 [Pa/s]; the same for two sounds keeps their loudness
        comparable.
    """

    samples: NDArray[np.float64]
    sample_rate: int
    full_scale: float


def crow_sound(
    reed: ReedParameters,
    bore: Resonances,
    blowing: NDArray[np.float64],
    *,
    full_scale: float | None = None,
) -> ModelSound:
    """Make the modelled crow audible.

    Parameters
    ----------
    reed : ReedParameters
        One reed.
    bore : Resonances
        Usually of `staple_bore`.
    blowing : ndarray, shape (samples,)
        At 96 kHz [Pa], such as a row of `blow_steadily`.
    full_scale : float or None
        Pressure rate drawn as 1 [Pa/s]; the sound's own peak if None.

    Returns
    -------
    ModelSound
        At 48 kHz.

    Raises
    ------
    InputError
        If `full_scale` is not positive.

    Notes
    -----
    A small open end radiates in proportion to the rate of change of the flow; here the rate of
    change of the pressure in the reed stands for it. Timbre is therefore rough; pitch and regime
    are the model's.
    """
    motion = simulate([reed], bore, blowing, sample_rate=96e3)
    rate = resample_poly(np.gradient(motion.pressure[0]) * 96e3, 1, 2)
    peak = float(np.abs(rate).max()) if full_scale is None else full_scale
    if not peak >= 0.0 or (full_scale is not None and full_scale <= 0.0):
        msg = f"full_scale {full_scale} Pa/s must be positive; take it from the first sound"
        raise InputError(msg)
    samples = np.clip(rate / peak, -1.0, 1.0) if peak > 0.0 else rate
    return ModelSound(samples=samples, sample_rate=48_000, full_scale=peak)
