"""Colours of maps: equal steps, and told apart by those who see fewer colours."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from crowlight.report.palettes import PALETTES, lab, ramp

Array = NDArray[np.float64]

#: How linear sRGB looks to those without one kind of cone: Machado, Oliveira & Fernandes, A
#: physiologically-based model for simulation of color vision deficiency, IEEE Trans. Vis. Comput.
#: Graph. 15 (2009) 1291-1298, table 1, severity 1 (from memory; each row must sum to one).
SEEN: dict[str, ArrayLike] = {
    "usual": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
#: A difference seen at a glance between fields that touch; 2.3 is the just noticeable one (Mahy,
#: Van Eycken & Oosterlinck, Color Res. Appl. 19 (1994) 105-121).
AT_A_GLANCE = 3 * 2.3
#: Two hues that must never be taken for each other.
NEVER_MISTAKEN = 10 * 2.3


def seen(colours: ArrayLike, sight: str) -> Array:
    """Return colours in CIELAB as somebody sees them."""
    c = np.asarray(colours, dtype=float) / 255.0
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    changed = np.clip(linear @ np.asarray(SEEN[sight]).T, 0.0, 1.0)
    back = np.where(changed <= 0.0031308, 12.92 * changed, 1.055 * changed ** (1 / 2.4) - 0.055)
    return lab(255.0 * back)


def steps(colours: Array) -> Array:
    return np.linalg.norm(np.diff(colours, axis=0), axis=1)


@pytest.mark.parametrize(
    ("colour", "expected"),
    [
        # printed in handbooks for sRGB and D65, to two decimals of a slightly different white
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.73, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((119, 119, 119), (50.03, 0.0, 0.0)),
    ],
)
def test_cielab_is_that_of_the_handbooks(colour, expected):
    assert lab(colour) == pytest.approx(np.array(expected), abs=0.05)


def test_the_simulation_leaves_greys_as_they_are():
    for sight in SEEN:
        assert np.asarray(SEEN[sight]).sum(axis=1) == pytest.approx(np.ones(3), abs=2e-6)


def test_a_ramp_starts_and_ends_where_it_is_told():
    colours = ramp(((255, 248, 214), (120, 66, 38), (52, 28, 30)), 7)
    assert (colours[0], colours[-1]) == ((255, 248, 214), (52, 28, 30))


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("kind", ["thick", "felt", "more", "less"])
def test_steps_look_equal_and_lightness_never_turns_back(name, kind):
    colours = lab(getattr(PALETTES[name], kind))
    # the straight stretches are cut into equal lengths; a corner between two shortens a step
    assert steps(colours).max() / steps(colours).min() < 1.3
    assert (np.diff(colours[:, 0]) < -2.0).all()


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("sight", SEEN)
def test_bands_are_told_apart_whatever_cones_are_missing(name, sight):
    palette = PALETTES[name]
    for kind in ("thick", "felt", "more", "less"):
        assert steps(seen(getattr(palette, kind), sight)).min() > AT_A_GLANCE, kind


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("sight", SEEN)
def test_more_and_less_are_never_taken_for_each_other(name, sight):
    palette = PALETTES[name]
    more, less = seen(palette.more, sight), seen(palette.less, sight)
    (nothing,) = seen([palette.nothing], sight)
    apart = np.linalg.norm(more[:, None] - less[None], axis=2)
    assert apart.min() > NEVER_MISTAKEN
    assert np.linalg.norm(np.concatenate([more, less]) - nothing, axis=1).min() > AT_A_GLANCE


def test_red_and_green_would_fail_this():
    red, green = seen([(226, 96, 80)], "deutan"), seen([(120, 150, 60)], "deutan")
    assert np.linalg.norm(red - green) < NEVER_MISTAKEN
