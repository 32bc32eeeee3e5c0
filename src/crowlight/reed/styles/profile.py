r"""The mean profile of a scraped blade, as bands blended into each other.

With :math:`s` the distance from the bottom rim and :math:`u` the fraction across (0 on the
centreline, ±1 at the edges), each band (tip, heart, back, bark) has a straight centreline from
`front` to `back`, a parabola to the `edge`, a `middle` departure half-way across, which in the back
is the hollow of the windows, and a `tilt` from left to right. Bands follow each other through
logistic steps

.. math:: h = \sum_j B_j(s, u)\,\bigl(S_j - S_{j+1}\bigr), \qquad
          S_j = \bigl(1 + e^{(s - x_j(u))/w_j}\bigr)^{-1}, \quad S_0 = 1 .

The profile is linear in the levels and differentiable in the positions, so one call gives the value
and the Jacobian.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Profile", "Shape"]

Array = NDArray[np.float64]
_LEVELS = ("front", "back", "edge", "middle", "tilt")


@dataclass(frozen=True, slots=True)
class Shape:
    """What a profile takes as given.

    Parameters
    ----------
    tip : float
        Position of the tip edge from the bottom rim [m].
    transition, back, bark : float
        Nominal positions between which the straight centrelines of the bands run [m]; `back` is
        None for a scrape without a back.
    back_blend, bark_blend : float
        Quarter of the rise over the steepest slope there [m].
    window : float
        Fraction across where the windows are deepest.
    bark_lines : tuple of float
        Shift of the bark's line at 0, 1/2 and 1 across, along the reed [m].
    transition_blur : float
        Added in quadrature to the blend of the transition [m].
    """

    tip: float
    transition: float
    back: float | None
    bark: float
    back_blend: float
    bark_blend: float
    window: float
    bark_lines: tuple[float, float, float]
    transition_blur: float = 0.0

    @property
    def heart_end(self) -> float:
        """Where the heart's straight centreline ends: at the back, or where the scrape does [m]."""
        return self.bark + min(self.bark_lines) if self.back is None else self.back


class Profile:
    """A profile whose parameters are known by name.

    Parameters
    ----------
    shape : Shape
        The fixed part.

    Attributes
    ----------
    names : tuple of str
        The free parameters in the order of every vector: levels [m], positions [m], and
        ``transition.blend`` as the natural logarithm of its value in metres.
    bands : tuple of str
        The bands of `weights`.
    """

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        names = [f"{band}.{level}" for band in ("tip", "heart") for level in _LEVELS]
        if shape.back is not None:
            names += [*(f"back.{level}" for level in _LEVELS), "back.start"]
        names += ["bark.centre", "bark.edge", "bark.middle", "bark.tilt", "bark.start"]
        names += ["transition.position", "transition.setback", "transition.blend"]
        self.names = tuple(names)
        back = () if shape.back is None else ("back",)
        self.bands = ("tip", "transition", "heart", *back, "bark")

    def index(self, name: str) -> int:
        """Return the place of a parameter in every vector."""
        return self.names.index(name)

    def __call__(self, values: ArrayLike, along: ArrayLike, fraction: ArrayLike) -> Array:
        """Return the thickness [m] at places; `along` [m] and `fraction` broadcast."""
        return self.with_jacobian(values, along, fraction)[0]

    def with_jacobian(
        self, values: ArrayLike, along: ArrayLike, fraction: ArrayLike
    ) -> tuple[Array, Array]:
        """Return thickness and its derivatives by every parameter.

        Parameters
        ----------
        values : array_like, shape (n_names,)
            Parameters in the order of `names`.
        along : array_like
            Distance from the bottom rim [m].
        fraction : array_like
            Across as a fraction of the half width, left negative.

        Returns
        -------
        thickness : ndarray, shape (...)
            [m].
        jacobian : ndarray, shape (..., n_names)
            Derivatives [m per unit of the parameter].
        """
        shape = self.shape
        p = self._named(values)
        s, u = np.broadcast_arrays(np.asarray(along, float), np.asarray(fraction, float))
        square, side = u * u, np.abs(u)
        d: dict[str, Array] = {}
        w, z1, s1, s2, s3 = self._steps(p, s, side)
        heart_end = shape.heart_end

        # Bands: coefficient of each level.
        half_way = 4.0 * (side - square)
        t = (shape.tip - s) / (shape.tip - shape.transition)
        tip = _band(p, d, "tip", (t, square, half_way, u), 1.0 - s1)
        t = (shape.transition - s) / (shape.transition - heart_end)
        heart = _band(p, d, "heart", (t, square, half_way, u), s1 - s2)
        d["bark.centre"] = s3.copy()
        d["bark.edge"] = s3 * square
        d["bark.middle"] = s3 * half_way
        d["bark.tilt"] = s3 * u
        bark = p["bark.centre"] + p["bark.edge"] * square + p["bark.middle"] * half_way
        bark = bark + p["bark.tilt"] * u
        total = tip * (1.0 - s1) + heart * (s1 - s2) + bark * s3
        d1 = (heart - tip) * s1 * (1.0 - s1)
        before = heart
        if shape.back is not None:
            t = (shape.back - s) / (shape.back - shape.bark)
            back = _band(p, d, "back", (t, square, _hollow(side, shape.window), u), s2 - s3)
            total = total + back * (s2 - s3)
            d["back.start"] = (back - heart) * s2 * (1.0 - s2) / shape.back_blend
            before = back
        d["bark.start"] = (bark - before) * s3 * (1.0 - s3) / shape.bark_blend
        d["transition.position"] = d1 / w
        d["transition.setback"] = -d1 * side / w
        # the blend is a logarithm and the blur a part of w
        d["transition.blend"] = -d1 * z1 * math.exp(2.0 * p["transition.blend"]) / w**2
        return total, np.stack([d[name] for name in self.names], axis=-1)

    def weights(self, values: ArrayLike, along: ArrayLike, fraction: ArrayLike) -> Array:
        """Return how much of each band there is at places.

        Parameters
        ----------
        values, along, fraction : array_like
            As in `with_jacobian`.

        Returns
        -------
        ndarray, shape (..., n_bands)
            Weights in the order of `bands`, each 0 to 1; the transition has 4 S (1 - S) of its
            step and the rest goes to the bands on either side: they sum to 1.
        """
        s, u = np.broadcast_arrays(np.asarray(along, float), np.asarray(fraction, float))
        _, _, s1, s2, s3 = self._steps(self._named(values), s, np.abs(u))
        middle = 4.0 * s1 * (1.0 - s1)
        bands = {"tip": 1.0 - s1, "heart": s1 - s2, "back": s2 - s3, "bark": s3}
        rest = {name: np.clip(w, 0.0, 1.0) * (1.0 - middle) for name, w in bands.items()}
        total = sum(rest.values())
        scale = np.divide(1.0 - middle, total, out=np.zeros_like(s1), where=total > 0.0)
        every = {name: w * scale for name, w in rest.items()} | {"transition": middle}
        return np.stack([every[name] for name in self.bands], axis=-1)

    def window_derivative(self, values: ArrayLike, along: ArrayLike, fraction: ArrayLike) -> Array:
        """Return the derivative of the windows' share by where across they are deepest [1].

        Multiplied by the depth ``back.middle`` it is that of the thickness; zeros for a scrape
        without a back.
        """
        s, u = np.broadcast_arrays(np.asarray(along, float), np.asarray(fraction, float))
        if self.shape.back is None:
            return np.zeros_like(s)
        side, deepest = np.abs(u), self.shape.window
        _, _, _, s2, s3 = self._steps(self._named(values), s, side)
        slope = -np.sin(np.pi * side / deepest) * 0.5 * np.pi / deepest
        return (s2 - s3) * np.where(side < 2.0 * deepest, slope, 0.0)

    def _named(self, values: ArrayLike) -> dict[str, float]:
        return dict(zip(self.names, np.asarray(values, dtype=float).tolist(), strict=True))

    def _steps(
        self, p: Mapping[str, float], s: Array, side: Array
    ) -> tuple[float, Array, Array, Array, Array]:
        """Return the transition's blend and argument, and the steps, 0 on the tip side of each."""
        shape = self.shape
        w = math.hypot(math.exp(p["transition.blend"]), shape.transition_blur)
        z1 = (p["transition.position"] - p["transition.setback"] * side - s) / w
        bend = np.interp(side, (0.0, 0.5, 1.0), shape.bark_lines)
        s3 = _logistic((p["bark.start"] + bend - s) / shape.bark_blend)
        if shape.back is None:
            return w, z1, _logistic(z1), s3, s3
        return w, z1, _logistic(z1), _logistic((p["back.start"] - s) / shape.back_blend), s3


def _logistic(z: Array) -> Array:
    return 0.5 * (1.0 + np.tanh(0.5 * z))


def _band(
    p: Mapping[str, float],
    d: dict[str, Array],
    name: str,
    terms: tuple[Array, Array, Array, Array],
    weight: Array,
) -> Array:
    """Return a band's own thickness and note the coefficients of its levels."""
    t, square, middle, tilt = terms
    own = {"front": 1.0 - t, "back": t, "edge": square, "middle": middle, "tilt": tilt}
    total = np.zeros_like(t)
    for level, term in own.items():
        d[f"{name}.{level}"] = weight * term
        total = total + p[f"{name}.{level}"] * term
    return total


def _hollow(side: Array, deepest: float) -> Array:
    """Return the shape of the windows: 0 on the spine, 1 where deepest, 0 towards the rails."""
    inside = side < 2.0 * deepest
    return np.where(inside, np.sin(0.5 * np.pi * side / deepest) ** 2, 0.0)
