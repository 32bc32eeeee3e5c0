"""The question put to the model: two thickness maps, a rest shape, cane, tie and lip."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from crowlight.blade.body import Body, make_body
from crowlight.blade.cane import WET, Cane
from crowlight.blade.equilibrium import make_pair
from crowlight.blade.geometry import BladeShape, MeshSize
from crowlight.blade.lip import Lip
from crowlight.blade.pair import Pair
from crowlight.blade.thickness import ThicknessGrid
from crowlight.errors import InputError

__all__ = ["Blades", "build", "notes_on"]

THICK_SHELL = 0.1  # thickness over radius of curvature beyond which thin-shell theory is strained


@dataclass(frozen=True)
class Blades:
    """A reed as the blade model sees it.

    Parameters
    ----------
    marked : ThicknessGrid
        Thickness of the marked blade.
    plain : ThicknessGrid or None
        Thickness of the plain blade, in the same frame (−1 across is the same edge of the reed);
        None: like the marked one.
    shape : BladeShape
        Rest shape of the inner face, the same for both blades.
    plain_shape : BladeShape or None
        Rest shape of the plain blade where it differs; lengths must agree.
    cane : Cane
        Of the marked blade, and of the plain one unless `plain_cane` is given.
    plain_cane : Cane or None
        Of the plain blade where it differs.
    interference : float
        How far each blade's edges would reach past the other at the tip if alone [m]; 0 to 0.5 mm.
    lip : Lip or None
        Lip on each blade.
    size : MeshSize
        Mesh.

    Raises
    ------
    InputError
        If the two blades do not fit together.
    """

    marked: ThicknessGrid
    plain: ThicknessGrid | None = None
    shape: BladeShape = field(default_factory=BladeShape)
    plain_shape: BladeShape | None = None
    cane: Cane = WET
    plain_cane: Cane | None = None
    interference: float = 0.0
    lip: Lip | None = None
    size: MeshSize = field(default_factory=MeshSize)

    def __post_init__(self) -> None:
        if not 0 <= self.interference <= 0.5e-3:
            msg = (
                f"interference = {self.interference * 1e3:.4g} mm is outside 0 to 0.5 mm; "
                "blades that overlap more cannot be tied"
            )
            raise InputError(msg)
        if self.plain_shape is not None and not np.isclose(
            self.plain_shape.free_length, self.shape.free_length, rtol=0, atol=1e-6
        ):
            msg = (
                f"blades of {self.shape.free_length * 1e3:.2f} and "
                f"{self.plain_shape.free_length * 1e3:.2f} mm cannot meet at the tip; "
                "give both the same free length"
            )
            raise InputError(msg)

    @property
    def alike(self) -> bool:
        """Whether both blades are the same, so that one stands for both."""
        return self.plain is None and self.plain_shape is None and self.plain_cane is None

    def blade(self, which: int) -> tuple[BladeShape, ThicknessGrid, Cane]:
        """Shape, thickness and cane of the marked (0) or plain (1) blade."""
        if which == 0:
            return self.shape, self.marked, self.cane
        return (
            self.plain_shape or self.shape,
            self.plain or self.marked,
            self.plain_cane or self.cane,
        )

    def apart(self) -> Blades:
        """Return the same reed with the plain blade written out, so that both can differ."""
        return self if not self.alike else replace(self, plain=self.marked)

    def clip(self, amount: float) -> Blades:
        """Return the reed with `amount` clipped off the tip [m]."""
        other = None if self.plain_shape is None else self.plain_shape.clip(amount)
        return replace(self, shape=self.shape.clip(amount), plain_shape=other)


def bodies_of(blades: Blades, like: Pair | None = None) -> list[Body]:
    """Build one or two blades, sharing geometry where shapes agree."""
    known = list(like.bodies) if like else []
    bodies = []
    for which in range(1 if blades.alike else 2):
        shape, grid, cane = blades.blade(which)
        fits = [b for b in known if b.shape == shape and b.size == blades.size]
        if fits:
            body = fits[min(which, len(fits) - 1)]
            body = body if body.cane == cane else body.with_cane(cane)
            bodies.append(body if body.grid is grid else body.with_grid(grid))
        else:
            bodies.append(make_body(shape, grid, cane, blades.size))
            known.append(bodies[-1])
    return bodies


def build(blades: Blades, *, like: Pair | None = None) -> Pair:
    """Mesh both blades and put them together; geometry is taken from `like` where it fits."""
    return make_pair(bodies_of(blades, like), interference=blades.interference, lip=blades.lip)


def notes_on(pair: Pair) -> tuple[str, ...]:
    """Where results should be read with care, in words."""
    notes = []
    for name, body in zip(("marked", "plain"), pair.bodies, strict=False):
        mesh = body.shell.mesh
        ratio = float(np.max(body.shell.thickness * np.abs(mesh.curvature[..., 1])))
        if ratio > THICK_SHELL:
            notes.append(
                f"{name} blade: thickness over arch radius reaches {ratio:.2f} near the thread; "
                f"thin-shell theory is good below {THICK_SHELL:g}, beyond it only the comparison "
                "with a solid model covers the result"
            )
        thin = body.shell.thickness < 30e-6
        if thin.any():
            notes.append(f"{name} blade: parts thinner than 0.03 mm; readings there are doubtful")
    return tuple(notes)
