"""Cane as an orthotropic sheet: stiff along the fibres, soft across."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.errors import InputError

__all__ = ["DRY", "WET", "Cane"]


@dataclass(frozen=True, slots=True)
class Cane:
    """Elastic constants of one blade, uniform through its thickness.

    Parameters
    ----------
    along : float
        Young's modulus along the fibres, E_L [Pa]; > 0.
    across : float
        Young's modulus across the fibres, E_T [Pa]; > 0.
    shear : float
        In-plane shear modulus, G_LT [Pa]; > 0.
    poisson : float
        Contraction across per stretch along, nu_LT [1]; nu_LT² E_T / E_L < 1.
    density : float
        Mass per volume in the same state of wetness [kg/m³]; > 0.

    Raises
    ------
    InputError
        If a constant is not positive and finite, or the set is not positive definite.

    Examples
    --------
    >>> WET.along, WET.across
    (6500000000.0, 450000000.0)
    """

    along: float
    across: float
    shear: float
    poisson: float
    density: float

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not np.isfinite(value) or (field.name != "poisson" and value <= 0):
                msg = f"cane {field.name} = {value} must be positive and finite; check its unit"
                raise InputError(msg)
        if self.poisson**2 * self.across >= self.along:
            msg = (
                f"cane poisson = {self.poisson} is too large for across/along = "
                f"{self.across / self.along:.3g}: poisson² * across/along must be below 1"
            )
            raise InputError(msg)

    def plane_stress(self) -> Array:
        """Stress (LL, TT, LT) per strain (LL, TT, 2 LT) in plane stress [Pa], shape (3, 3)."""
        minor = self.poisson * self.across / self.along
        d = 1.0 - self.poisson * minor
        c12 = self.poisson * self.across / d
        return np.array(
            [[self.along / d, c12, 0.0], [c12, self.across / d, 0.0], [0.0, 0.0, self.shear]]
        )

    def scaled(
        self, *, along: float = 1, across: float = 1, shear: float = 1, density: float = 1
    ) -> Cane:
        """Return the same cane with some constants multiplied by the given factors."""
        return Cane(
            self.along * along,
            self.across * across,
            self.shear * shear,
            self.poisson,
            self.density * density,
        )


# Typical values, from memory, to be replaced by a posterior: see `docs/theory/blade.md`.
WET = Cane(along=6.5e9, across=0.45e9, shear=0.7e9, poisson=0.25, density=950.0)
DRY = Cane(along=10e9, across=0.75e9, shear=1.0e9, poisson=0.25, density=600.0)
