"""The opening as one looks into it, closing under pressure: stills, and steps for an animation.

The blade model keeps the shape of the opening at rest and at playing pressure, and its height at
every pressure of the curve. Shapes in between are laid between the two in proportion to the height;
beyond playing pressure they go on the same way until the blades touch. That is drawing, not
computing: the numbers beside each picture are the model's.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.mechanics import BladesShown
from crowlight.report.words import Words, mark

__all__ = ["STRETCHED", "ClosingStep", "closing_picture", "closing_steps"]

Array = NDArray[np.float64]

_WIDTH, _HEIGHT = 330.0, 130.0
_PER_MM = 42.0  # units across
#: How much higher than wide the opening is drawn.
STRETCHED = 2.5


@dataclass(frozen=True, slots=True)
class ClosingStep:
    """The opening at one pressure.

    Parameters
    ----------
    pressure : float
        From outside [Pa].
    area, height : float
        Of the opening [m², m].
    marked, plain : str
        Edges of both blades as paths of the picture.
    """

    pressure: float
    area: float
    height: float
    marked: str
    plain: str


def closing_steps(found: BladesShown, count: int) -> list[ClosingStep]:
    """Return the opening at equal steps of pressure, from rest to the end of the curve.

    Parameters
    ----------
    found : BladesShown
        The blade model's answer.
    count : int
        How many steps; >= 2.
    """
    pressures = np.linspace(0.0, found.pressures[-1], count)
    heights = np.interp(pressures, found.pressures, found.heights)
    areas = np.interp(pressures, found.pressures, found.areas)
    rest, playing = (np.array(p) for p in (found.profile_rest, found.profile_playing))
    at_play = float(np.interp(found.playing_pressure, found.pressures, found.heights))
    fall = found.heights[0] - at_play
    across = np.array(found.profile_across)
    steps: list[ClosingStep] = []
    for pressure, height, area in zip(pressures, heights, areas, strict=True):
        share = (found.heights[0] - height) / fall if fall > 0 else 0.0
        marked, plain = rest + share * (playing - rest)
        over = np.minimum(marked + plain, 0.0) / 2  # where they would pass through one another
        steps.append(
            ClosingStep(
                pressure=float(pressure),
                area=float(area),
                height=float(height),
                marked=_path(across, marked - over),
                plain=_path(across, over - plain),
            )
        )
    return steps


def _path(across: Array, up: Array) -> str:
    x = _WIDTH / 2 + across * 1e3 * _PER_MM
    y = _HEIGHT / 2 - up * 1e3 * _PER_MM * STRETCHED
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))


def closing_picture(step: ClosingStep, *, words: Words, name: str) -> str:
    """Draw the opening at one pressure.

    Parameters
    ----------
    step : ClosingStep
        The step.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    title = words.say(
        mark("The opening at %(pressure)s kPa"), pressure=words.number(step.pressure * 1e-3, 1)
    )
    told = words.say(
        mark("Height %(height)s, area %(area)s mm². Seen from the tip; the marked blade is above."),
        height=words.mm(step.height, 2),
        area=words.number(step.area * 1e6, 2),
    )
    return (
        f'<svg class="reed closing" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" '
        f'aria-labelledby="{name}-title" aria-describedby="{name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(told)}</desc>'
        f'<path class="between" d="{step.marked}{_back(step.plain)}Z"/>'
        f'<path class="edge-marked" d="{step.marked}"/><path class="edge-plain" d="{step.plain}"/>'
        f"</svg>"
    )


def _back(path: str) -> str:
    """Return a path run the other way, to go on from another."""
    return "L" + "L".join(reversed(path[1:].split("L")))
