"""Quantities whose derivatives are known by adjoint: by thickness at each point, by parameter.

A parameter (cane, clip, height at the thread, lip ...) is given as two pairs built a small step to
either side of it. Only the partial derivative of forces and stiffness is taken from their
difference; the answer of the reed itself comes from the adjoint solution.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from crowlight.blade.adjoint import (
    balance_by_thickness,
    stiffness_by_displacement,
    stiffness_by_thickness,
)
from crowlight.blade.arrays import Array
from crowlight.blade.pair import Pair, State
from crowlight.blade.shell import Shell
from crowlight.blade.tangent import Tangent, dot

__all__ = ["ComplianceProbe", "ModeProbe", "Nearby", "Probe", "StateProbe"]

Rows = Callable[[Pair], list[Array]]
Value = Callable[[Pair, Sequence[Array]], float]


@dataclass(frozen=True)
class Nearby:
    """One parameter a step up and a step down.

    Parameters
    ----------
    plus, minus : Pair
        Pairs with the parameter raised and lowered.
    step : float
        Half their distance, in the parameter's unit.
    """

    plus: Pair
    minus: Pair
    step: float
    _known: dict[int, tuple[State, list[Array]]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def slope(self, value: Callable[[Pair], float]) -> float:
        """Central difference of a function of the pair."""
        return (value(self.plus) - value(self.minus)) / (2 * self.step)

    def unbalanced(self, state: State, a: Sequence[Array]) -> float:
        """Differentiate the out-of-balance force at fixed displacements, times `a`."""
        if id(state) not in self._known:
            sides = [out_of_balance(p, state) for p in (self.plus, self.minus)]
            slopes = [(p - m) / (2 * self.step) for p, m in zip(*sides, strict=True)]
            self._known[id(state)] = (state, slopes)  # keeping the state keeps its id its own
        return dot(self._known[id(state)][1], a)


class Probe(Protocol):
    """A number with its adjoint derivatives."""

    @property
    def value(self) -> float:
        """The number."""
        ...

    def by_thickness(self) -> list[Array]:
        """Differentiate by thickness per body and quadrature point, times area."""
        ...

    def by_parameter(self, nearby: Nearby) -> float:
        """Differentiate by one parameter."""
        ...


def out_of_balance(pair: Pair, state: State) -> list[Array]:
    """Out-of-balance force of each body at the displacements of a state."""
    return [
        shell.forces(shell.strain(u), u) - state.pressure * body.push - steady
        for shell, body, steady, u in zip(
            pair.shells, pair.bodies, pair.steady, state.u, strict=True
        )
    ]


def moved_gap(tangent: Tangent, pressed: Array) -> Callable[[Pair], float]:
    """Gap at the touching points as a function of the pair, times `pressed`."""
    places = np.flatnonzero(tangent.state.touching)
    return lambda pair: float(pressed @ pair.gap[places])


@dataclass(frozen=True)
class StateProbe:
    """A function of the displacements at an equilibrium, linear in them.

    Parameters
    ----------
    tangent : Tangent
        Where.
    read : callable
        ``read(pair, u)`` gives the value.
    rows : callable
        ``rows(pair)`` gives its gradient by the displacements of each body.
    """

    tangent: Tangent
    read: Value
    rows: Rows

    @property
    def value(self) -> float:
        """The number."""
        return self.read(self.tangent.pair, self.tangent.state.u)

    @cached_property
    def solved(self) -> tuple[list[Array], Array]:
        """Adjoint solution and its contact forces."""
        return self.tangent.solve(self.rows(self.tangent.pair))

    def by_thickness(self) -> list[Array]:
        """Differentiate by thickness per body and quadrature point, times area."""
        t = self.tangent
        adjoint, _ = self.solved
        return [
            -balance_by_thickness(s, at, a)
            for s, at, a in zip(t.pair.shells, t.at, adjoint, strict=True)
        ]

    def by_parameter(self, nearby: Nearby) -> float:
        """Differentiate by one parameter."""
        t = self.tangent
        adjoint, pressed = self.solved
        state = t.state
        return (
            nearby.slope(lambda p: self.read(p, state.u))
            - nearby.unbalanced(state, adjoint)
            + nearby.slope(moved_gap(t, pressed))
        )


@dataclass(frozen=True)
class ComplianceProbe:
    """What a small extra pressure does: ``rows · w`` with ``K w = push``.

    Parameters
    ----------
    tangent : Tangent
        Where.
    rows : callable
        ``rows(pair)`` for each body.
    """

    tangent: Tangent
    rows: Rows

    @property
    def value(self) -> float:
        """The number."""
        return dot(self.rows(self.tangent.pair), self.tangent.pressure_response())

    @cached_property
    def solved(self) -> tuple[list[Array], list[Array], list[Array], Array]:
        """Adjoint, response, and how both follow the state's own shift, with contact forces."""
        t = self.tangent
        adjoint, _ = t.solve(self.rows(t.pair))
        response = t.pressure_response()
        shift = [
            stiffness_by_displacement(s, at, a, w)
            for s, at, a, w in zip(t.pair.shells, t.at, adjoint, response, strict=True)
        ]
        follow, pressed = t.solve(shift)
        return adjoint, response, follow, pressed

    def by_thickness(self) -> list[Array]:
        """Differentiate by thickness per body and quadrature point, times area."""
        t = self.tangent
        adjoint, response, follow, _ = self.solved
        return [
            balance_by_thickness(s, at, f) - stiffness_by_thickness(s, at, a, w)
            for s, at, a, w, f in zip(t.pair.shells, t.at, adjoint, response, follow, strict=True)
        ]

    def by_parameter(self, nearby: Nearby) -> float:
        """Differentiate by one parameter."""
        state = self.tangent.state
        adjoint, response, follow, pressed = self.solved

        def missing(pair: Pair) -> float:
            total = 0.0
            for s, b, u, a, w in zip(
                pair.shells, pair.bodies, state.u, adjoint, response, strict=True
            ):
                total += float(a @ b.push) - stiffness_between(s, u, a, w)
            return total

        return (
            nearby.slope(lambda p: dot(self.rows(p), response))
            + nearby.slope(missing)
            + nearby.unbalanced(state, follow)
            - nearby.slope(moved_gap(self.tangent, pressed))
        )


def stiffness_between(shell: Shell, u: Array, a: Array, w: Array) -> float:
    """Compute ``a · K(u) · w`` without assembling K."""
    at = shell.strain(u)
    ma, ca = shell.increment(at, a)
    mw, cw = shell.increment(at, w)
    total = np.sum(ma * mw + ca * cw + at.middle * shell.quadratic(a, w))
    if shell.springs is not None:
        total += a @ shell.band.times(shell.springs, w)
    return float(total)


@dataclass(frozen=True)
class ModeProbe:
    """Frequency of one mode of one body [Hz].

    Parameters
    ----------
    frequency : float
        Of the mode [Hz].
    shape : ndarray, shape (n_dof,)
        Unit modal mass.
    which : int
        Body.
    tangent : Tangent or None
        Where it vibrates; None: at rest, without lip and preload.
    """

    frequency: float
    shape: Array
    which: int
    tangent: Tangent | None
    pair: Pair

    @property
    def value(self) -> float:
        """The number."""
        return self.frequency

    def shell(self, pair: Pair) -> Shell:
        """Return the shell that vibrates."""
        k = self.which
        return pair.bodies[k].shell if self.tangent is None else pair.shells[k]

    def displacement(self) -> Array:
        """About which displacement it vibrates."""
        return (
            np.zeros_like(self.shape)
            if self.tangent is None
            else (self.tangent.state.u[self.which])
        )

    @cached_property
    def follow(self) -> tuple[list[Array], Array]:
        """How the frequency follows the state's own shift."""
        t = self.tangent
        assert t is not None  # noqa: S101  only called for loaded modes
        shell = t.pair.shells[self.which]
        shift = [np.zeros_like(u) for u in t.state.u]
        shift[self.which] = stiffness_by_displacement(
            shell, t.at[self.which], self.shape, self.shape
        )
        return t.solve(shift)

    def by_thickness(self) -> list[Array]:
        """Differentiate by thickness per body and quadrature point, times area."""
        shell = self.shell(self.pair)
        at = shell.strain(self.displacement())
        omega = 2 * np.pi * self.frequency
        own = stiffness_by_thickness(shell, at, self.shape, self.shape)
        own = own - omega**2 * shell.face_mass(self.shape)
        out = [np.zeros_like(b.shell.thickness) for b in self.pair.bodies]
        out[self.which] = own
        if self.tangent is not None:
            t = self.tangent
            moved, _ = self.follow
            out = [
                o - balance_by_thickness(s, where, f)
                for o, s, where, f in zip(out, t.pair.shells, t.at, moved, strict=True)
            ]
        return [o / (4 * np.pi * omega) for o in out]

    def by_parameter(self, nearby: Nearby) -> float:
        """Differentiate by one parameter."""
        omega, u = 2 * np.pi * self.frequency, self.displacement()

        def quotient(pair: Pair) -> float:
            shell = self.shell(pair)
            bent = stiffness_between(shell, u, self.shape, self.shape)
            return bent - omega**2 * shell.modal_mass(self.shape)

        slope = nearby.slope(quotient)
        if self.tangent is not None:
            state = self.tangent.state
            moved, pressed = self.follow
            slope -= nearby.unbalanced(state, moved)
            slope += nearby.slope(moved_gap(self.tangent, pressed))
        return slope / (4 * np.pi * omega)
