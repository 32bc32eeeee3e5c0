"""The force test in the blade model, against differences and another route."""

from dataclasses import replace

import numpy as np
import pytest

from crowlight.blade import Blades, MapSpread, build, pad_force, usual_unknowns
from crowlight.blade.probes import Nearby
from crowlight.calibrate import BladeLine, Pad, Reed, blade_line
from crowlight.calibrate.line import solved
from crowlight.calibrate.press import press

STEP = 1e-3


def force(blades: Blades) -> float:
    return press(build(blades), Pad(), 0.1e-3).force


def test_agrees_with_a_round_pad_of_the_same_reach(blades: Blades) -> None:
    # another load distribution and another search; 15 % is the stated error of such differences
    round_pad = pad_force(build(blades), from_tip=8e-3, depth=0.1e-3, radius=1.5e-3)
    assert force(blades) == pytest.approx(round_pad, rel=0.15)


@pytest.mark.parametrize("which", range(7))
@pytest.mark.parametrize("differing", [False, True])
def test_slopes_are_those_of_differences(blades: Blades, which: int, differing: bool) -> None:
    reed = replace(blades, plain=blades.marked.changed(2e-5)) if differing else blades
    unknown = usual_unknowns(reed)[which]
    plus, minus = (unknown.apply(reed, s * STEP) for s in (1, -1))
    found = press(build(reed), Pad(), 0.1e-3)
    slope = found.by_parameter(Nearby(build(plus), build(minus), STEP)) / found.force
    difference = (force(plus) - force(minus)) / (2 * STEP) / found.force
    assert slope == pytest.approx(difference, rel=1e-4, abs=1e-6)


def test_slopes_by_the_map_are_those_of_differences(blades: Blades) -> None:
    change = np.zeros_like(blades.marked.values)
    change[20:32] = 1e-6
    pair = build(blades)
    up, down = (
        press(pair.with_grids([blades.marked.changed(s * change)]), Pad(), 0.1e-3).force
        for s in (1, -1)
    )
    (grid,) = press(pair, Pad(), 0.1e-3).by_grid()
    assert grid @ change.ravel() == pytest.approx((up - down) / 2, rel=1e-4)
    # a map that had been so when the tie was made differs little
    tied = (
        force(replace(blades, marked=blades.marked.changed(change)))
        - force(replace(blades, marked=blades.marked.changed(-change)))
    ) / 2
    assert tied == pytest.approx((up - down) / 2, rel=0.03)


def test_thicker_blades_press_harder(blades: Blades) -> None:
    assert force(replace(blades, marked=blades.marked.changed(2e-5))) > 1.02 * force(blades)


def test_maps_keep_all_their_spread_in_few_directions(blades: Blades) -> None:
    rng = np.random.default_rng(3)
    root = 4e-6 * rng.standard_normal((blades.marked.size, 40))
    spread = MapSpread(root)
    line = blade_line(Reed(blades, (), (spread, None), ((Pad(), 0.1e-3),)))
    assert line.reed.size <= 8
    # one standard deviation along the first direction, through the whole model
    t = np.zeros(line.reed.size)
    t[0] = 0.05
    assert solved(line.reed, t) == pytest.approx(line(t), abs=2e-4)
    # a direction that is left out changes nothing
    lost = np.eye(40) - line.reed.turn.T @ line.reed.turn
    nothing = root @ lost[:, 0]
    other = replace(
        blades,
        marked=blades.marked.changed(0.05 * nothing.reshape(blades.marked.values.shape)),
    )
    assert np.linalg.norm(nothing) > 1e-6
    assert force(other) == pytest.approx(np.exp(line.logs[-1]), rel=1e-4)


def test_lines_touch_the_model_and_bend_little(line: BladeLine) -> None:
    t = np.zeros(line.reed.size)
    assert solved(line.reed, t) == pytest.approx(line(t), abs=1e-9)
    t[0] = t[1] = 1.0
    assert solved(line.reed, t) == pytest.approx(line(t), abs=0.03)
