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
    sample_rate: int = 96_000,
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
        At `sample_rate` [Pa], such as a row of `blow_steadily`.
    sample_rate : int
        A multiple of 48 kHz, at least 96 kHz; stiff contact needs more [Hz].
    full_scale : float or None
        Pressure rate drawn as 1 [Pa/s]; the sound's own peak if None.

    Returns
    -------
    ModelSound
        At 48 kHz.

    Raises
    ------
    InputError
        If `full_scale` is not positive or the sample rate does not fit.
    OutsideModel
        If the motion ran away; a higher sample rate helps.

    Notes
    -----
    A small open end radiates in proportion to the rate of change of the flow; here the rate of
    change of the pressure in the reed stands for it. Timbre is therefore rough; pitch and regime
    are the model's.
    """
    if sample_rate < 96_000 or sample_rate % 48_000:
        msg = f"sample rate {sample_rate} Hz must be a multiple of 48000, at least 96000"
        raise InputError(msg)
    motion = simulate([reed], bore, blowing, sample_rate=float(sample_rate))
    change = np.gradient(motion.pressure[0]) * sample_rate
    rate = resample_poly(change, 1, sample_rate // 48_000)
    peak = float(np.abs(rate).max()) if full_scale is None else full_scale
    if not peak >= 0.0 or (full_scale is not None and full_scale <= 0.0):
        msg = f"full_scale {full_scale} Pa/s must be positive; take it from the first sound"
        raise InputError(msg)
    samples = np.clip(rate / peak, -1.0, 1.0) if peak > 0.0 else rate
    return ModelSound(samples=samples, sample_rate=48_000, full_scale=peak)
