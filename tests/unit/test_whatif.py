"""Cuts foreseen and solved in full, on one even reed."""

from __future__ import annotations

from unittest.mock import MagicMock

import numpy as np
import pytest

from crowlight.bench.codec import Codec
from crowlight.bench.cuts import Cut, Leverage, foresee, foresee_stroke
from crowlight.bench.mechanics import CUT, mechanics
from crowlight.bench.solved import KEPT, solved
from crowlight.bench.warm import warm
from crowlight.bench.whatif import leverage, what_if
from crowlight.blade import changed, evaluate
from crowlight.errors import InputError, OutsideModel
from crowlight.reed import Blade, CaneState, Place, Reading, Side


@pytest.fixture(scope="module")
def inputs():
    """Return readings of an invented reed that is the same on all sides."""
    rows = ((1, 2.5, 0.08), (3, 2.5, 0.13), (6, 2.0, 0.42), (9, 2.0, 0.46), (15, 1.8, 0.5))
    readings = tuple(
        Reading(Place(blade, 70e-3 - tip * 1e-3, side * out * 1e-3), t * 1e-3, state=CaneState.WET)
        for blade in Blade
        for tip, out, t in rows
        for side in (-1, 0, 1)
    )
    return {
        "name": "Tern",
        "readings": readings,
        "style": "long",
        "length": 70e-3,
        "length_uncertainty": None,
        "thread_top": 47e-3,
        "opening": 0.7e-3,
        "tip_width": None,
    }


@pytest.fixture(scope="module")
def levers(inputs):
    return leverage(inputs)


def test_a_warm_solve_is_the_full_one_within_what_it_states(inputs, levers):
    cut = Cut(zone="heart", depth=2e-5, back=2e-4, blade=Blade.MARKED)
    found, reed = warm({**inputs, "cut": cut}), solved(inputs)
    change, _ = reed.change(cut)
    full = evaluate(changed(reed.answer.blades, change), maps=False).values
    assert set(found.outputs) == set(full)
    assert set(found.curved) >= {"area", "height", "closing_pressure", "tilt", "unevenness"}
    for name, error in (
        ("area", found.area_error),
        ("closing_pressure", found.closing_error * full["closing_pressure"]),
    ):
        one = found.outputs[name]
        assert one.before + one.change == pytest.approx(full[name], abs=error), name
    guess = foresee(levers, cut)
    for name in set(found.outputs) - set(found.curved):
        assert found.outputs[name].change == pytest.approx(guess[name].change, rel=1e-3), name


def test_a_reed_is_solved_once_for_many_cuts_and_only_a_few_are_kept(inputs, monkeypatch):
    steps = "thickness_map", "wet_readings", "middle_of", "evaluate"
    for step in steps:
        monkeypatch.setattr(f"crowlight.bench.solved.{step}", MagicMock())
    monkeypatch.setattr("crowlight.bench.solved.reed_blades", lambda *_, **__: (None, None, None))
    first = solved({**inputs, "opening": 0.51e-3})
    assert solved({**inputs, "opening": 0.51e-3, "cut": Cut(back=1e-4)}) is first
    for k in range(KEPT):
        assert solved({**inputs, "opening": 0.6e-3 + 0.01e-3 * k}) is not first
    assert solved({**inputs, "opening": 0.51e-3}) is not first


def test_a_clip_is_not_solved_warm(inputs):
    with pytest.raises(OutsideModel, match="solve it in full"):
        warm({**inputs, "cut": Cut(clip=2e-4)})


def slope(levers: Leverage, zone: str, blade: Blade, side: Side, output: str) -> float:
    (one,) = (x for x in levers.levers if (x.zone, x.blade, x.side) == (zone, blade, side))
    return one.slopes[levers.names.index(output)]


@pytest.mark.parametrize("zone", ["tip", "heart"])
def test_left_and_right_are_those_of_someone_facing_each_blade(levers, zone):
    left = slope(levers, zone, Blade.MARKED, Side.LEFT, "tilt")
    right = slope(levers, zone, Blade.MARKED, Side.RIGHT, "tilt")
    # cane off the left: it closes more there, and the opening is wider on the right
    assert left > 0
    assert right == pytest.approx(-left, rel=0.02)
    # the left of the plain blade lies over the right of the marked one
    assert slope(levers, zone, Blade.PLAIN, Side.LEFT, "tilt") == pytest.approx(right, rel=0.02)


def test_a_full_solve_bears_out_what_was_foreseen(inputs, levers):
    cut = Cut(zone="heart", depth=10e-6)
    told, solved = foresee(levers, cut), what_if({**inputs, "cut": cut})
    for name in ("closing_pressure", "stiffness", "mode_held", "area"):
        found = solved.outputs[name]
        assert found.before == pytest.approx(told[name].before, rel=1e-4)
        assert found.after - found.before == pytest.approx(found.change, rel=1e-9)
        assert told[name].change == pytest.approx(found.change, rel=0.1)
        assert found.change_low < found.change < found.change_high
        # what is unknown of both states cancels in the change
        assert found.change_high - found.change_low < 0.3 * (found.after_high - found.after_low)


def test_effects_add_up_and_moves_lie_between_those_kept(levers):
    both = foresee(levers, Cut(zone="tip", depth=2e-6, clip=0.1e-3))
    apart = [
        foresee(levers, cut)
        for cut in (
            Cut(zone="tip", blade=Blade.MARKED, depth=2e-6),
            Cut(zone="tip", blade=Blade.PLAIN, depth=2e-6),
            Cut(clip=0.1e-3),
        )
    ]
    for name, found in both.items():
        assert found.change == pytest.approx(
            sum(a[name].change for a in apart), rel=1e-9, abs=1e-18
        )
    closing = [
        foresee(levers, Cut(back=m))["closing_pressure"].change for m in np.linspace(0, 2e-3, 9)
    ]
    assert closing[0] == 0
    assert (np.diff(closing) < 0).all()


def test_levers_survive_being_kept(levers):
    codec = Codec(Leverage)
    assert codec.from_bytes(codec.to_bytes(levers)) == levers


def test_what_cannot_be_cut_is_said(levers):
    with pytest.raises(InputError, match="no zone 'beak' on this reed; there are tip"):
        foresee(levers, Cut(zone="beak", depth=1e-6))
    with pytest.raises(InputError, match=r"depth 0.3 mm must lie between 0 and 0.2 mm"):
        Cut(zone="tip", depth=0.3e-3)
    with pytest.raises(InputError, match="clip -1 mm"):
        Cut(clip=-1e-3)


def test_one_stroke_does_what_the_map_of_strokes_says(inputs, levers):
    shown = mechanics(inputs)
    reed = solved(inputs)
    for blade, across in ((Blade.MARKED, 0.5), (Blade.PLAIN, 0.5), (Blade.PLAIN, -0.5)):
        cut = Cut(blade=blade, from_tip=7e-3, across=across, depth=2e-5)
        told = foresee_stroke(
            levers,
            cut,
            from_tip=shown.from_tip,
            fraction=shown.fraction,
            effects=shown.effects,
            cane=CUT,
        )
        found = warm({**inputs, "cut": cut}).outputs
        for name in ("area", "closing_pressure"):
            assert told[name].change == pytest.approx(found[name].change, rel=0.15), (blade, name)
        assert np.isnan(told["tilt"].change)  # it has no map
        # facing the blade, right is right: the model's plain blade is seen from the marked one
        taken = reed.change(cut)[0]
        off = np.asarray(taken.marked if blade is Blade.MARKED else taken.plain)
        half = off.shape[1] // 2
        right = off[:, half + 1 :].sum() < off[:, :half].sum()
        assert right == ((across > 0) == (blade is Blade.MARKED))
        assert off.min() == pytest.approx(-2e-5, rel=0.1)


def test_a_stroke_off_the_blade_or_beside_a_zone_is_refused(levers):
    with pytest.raises(InputError, match="not on the blade"):
        Cut(from_tip=5e-3, across=1.5, depth=1e-5)
    with pytest.raises(InputError, match="not both"):
        Cut(zone="tip", from_tip=5e-3, depth=1e-5)
    with pytest.raises(InputError, match="foresee_stroke"):
        foresee(levers, Cut(from_tip=5e-3, depth=1e-5))
