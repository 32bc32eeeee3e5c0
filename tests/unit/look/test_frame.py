"""The map between picture and blade."""

import numpy as np
import pytest
from tests.lit_pictures import FRAME, MARKS

from crowlight.errors import InputError
from crowlight.look import Frame, plane_map

TRAPEZIUM = [[0.0, 0.0], [4.0, 0.0], [3.0, 2.0], [1.0, 2.0]]
SQUARE = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]


def test_the_diagonals_of_a_square_seen_askew_meet_where_drawing_in_perspective_has_it():
    """Closed form: a projective map keeps lines, so the middle goes to the crossing of diagonals.

    Those from (0, 0) to (3, 2) and from (4, 0) to (1, 2) cross at (2, 4/3): y = 2 x / 3 at x = 2.
    """
    x, y = plane_map(SQUARE, TRAPEZIUM)(0.5, 0.5)
    assert (float(x), float(y)) == pytest.approx((2.0, 4.0 / 3.0), abs=1e-12)


def test_cross_ratios_along_a_line_are_kept():
    """The cross ratio of four points of a line is what projective maps keep (from memory)."""
    t = np.array([0.1, 0.3, 0.6, 0.9])
    x, y = plane_map(SQUARE, TRAPEZIUM)(t, 0.2 + 0.5 * t)
    s = np.hypot(x - x[0], y - y[0])

    def cross(v):
        return (v[2] - v[0]) * (v[3] - v[1]) / ((v[2] - v[1]) * (v[3] - v[0]))

    assert cross(s) == pytest.approx(cross(t), rel=1e-12)


def test_there_and_back_is_nowhere():
    there = plane_map(FRAME.corners(), MARKS.array())
    back = plane_map(MARKS.array(), FRAME.corners())
    rng = np.random.default_rng(1)
    across, along = rng.uniform(-3e-3, 3e-3, 50), rng.uniform(48e-3, 70e-3, 50)
    u, v = back(*there(across, along))
    assert np.abs(u - across).max() < 1e-12
    assert np.abs(v - along).max() < 1e-12


def test_three_points_on_a_line_are_refused():
    with pytest.raises(InputError, match="on one line"):
        plane_map([[0, 0], [1, 1], [2, 2], [0, 1]], SQUARE)


@pytest.mark.parametrize("foot", [FRAME.tip - 4e-3, FRAME.tip - 61e-3, float("nan")])
def test_marks_too_near_or_far_on_the_reed_are_refused(foot: float):
    with pytest.raises(InputError, match="5 to 60 mm"):
        Frame(tip=FRAME.tip, foot=foot, outline=FRAME.outline)
