"""A plan put right by the maker's own cuts: more of what was told, mirrored as the reed is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.cut_reeds import fake_reed

from crowlight.calibrate.learning import Pair, Predicted, learn_correction
from crowlight.judge.findings import Known, Measured, Model, rank
from crowlight.plan.cut import Correcting, Plan, ReedNow, Words, draw_chance, next_cut, target

TOLD = Predicted(-15e-6, -10e-6, -5e-6)
NONE = Correcting({})


def learned(
    more: float = 1.6, *, cuts: int = 12, name: str = "rest_height", told: Predicted = TOLD
) -> Correcting:
    """Return what cuts teach whose outputs changed `more` times what was told."""
    pairs = [Pair(name, told, more * told.middle, 1e-3 * told.spread, str(k)) for k in range(cuts)]
    return Correcting({name: learn_correction(pairs, quantity=name, along=True)})


def planned(reed: ReedNow, correcting: Correcting | None, *, sign: float = 1.0) -> Plan:
    closing = Model(closing_pressure=Measured(0.4, 0.05))
    known = Known(model=closing)
    return next_cut(
        reed, target(reed, words=Words(easy_resistant=-1.0, closed_open=-0.6)), rank(known), known,
        draw_chance(reed, np.random.default_rng(3)), correcting=correcting,
    )  # fmt: skip


def heavy(fault: float = 30e-6) -> ReedNow:
    return fake_reed(fault=lambda b, s, u: fault * (b == 0) * (u > 0) + 0.0 * s)


def test_nothing_learned_changes_nothing() -> None:
    reed = heavy()
    plain = planned(reed, None)
    assert any(o.act.kind == "scrape" for o in plan_cuts(plain))
    for correcting in (NONE, learned(cuts=3)):
        assert repr(planned(reed, correcting)) == repr(plain)  # NaN is not itself


def plan_cuts(plan: Plan) -> list:
    return [o for o in plan.options if o.act.cuts]


def test_what_came_out_more_is_told_as_more_with_the_model_beside_it() -> None:
    reed, own = heavy(), learned()
    act = next(o.act for o in plan_cuts(planned(reed, None)))
    plain = next(o for o in planned(reed, None).options if o.act == act)
    mended = own.expected(act, plain.expected)
    for before, after in zip(plain.expected, mended, strict=True):
        if before.name != "rest_height":
            assert after == before
            continue
        assert after.raw == (before.low, before.middle, before.high)
        assert after.own_cuts == 12
        assert "your data" in after.basis
        assert abs(after.middle) > abs(before.middle)
        assert after.middle / before.middle == pytest.approx(
            after.share_middle / before.share_middle, rel=0.02
        )
        assert after.low < after.middle < after.high


def test_the_choice_reckons_with_it() -> None:
    """An opening that closes twice as much as told comes to where it is wanted in fewer strokes."""
    reed = heavy()
    plain, own = planned(reed, None), planned(reed, learned(2.5))
    gains = [{(o.act.code, o.act.strokes): o.gain for o in plan_cuts(p)} for p in (plain, own)]
    assert gains[0] != gains[1]


def test_a_mirrored_reed_is_told_the_mirror_image() -> None:
    reed = heavy()
    tilt = learned(1.5, name="tilt", told=Predicted(0.01, 0.03, 0.05))
    own = Correcting({**learned().by, **tilt.by})
    act = next(o.act for o in plan_cuts(planned(reed, None)))
    change = np.random.default_rng(0).normal(-0.02, 0.01, (400, 1))
    now, uneven = np.full((400, 1), -0.1), np.array([0.004])
    right = own.change(act, ["tilt"], change, now=now, uneven=uneven)
    image = own.change(act, ["tilt"], -change, now=-now * -1.0, uneven=uneven)
    assert np.allclose(right, -image, atol=1e-12)
    assert np.median(right) < np.median(change) < 0.0
    points = (-0.03, -0.01, 0.02)
    low, middle, high = own.told(act, "tilt", points)
    mirrored = own.told(act, "tilt", (-points[2], -points[1], -points[0]))
    assert mirrored == pytest.approx((-high, -middle, -low), abs=1e-12)
    # what is told to go neither way is moved neither way
    even = own.told(act, "tilt", (-0.02, 0.0, 0.02))
    assert even[1] == pytest.approx(0.0, abs=1e-9)
    assert even[0] == pytest.approx(-even[2])


def test_the_order_of_the_draws_is_kept_and_nothing_falls_below_nothing() -> None:
    own = learned(4.0, told=Predicted(-12e-6, -10e-6, -8e-6))
    act = next(o.act for o in plan_cuts(planned(heavy(), None)))
    now = np.full((300, 1), 20e-6)
    change = np.random.default_rng(1).normal(-15e-6, 2e-6, (300, 1))
    right = own.change(act, ["rest_height"], change, now=now, uneven=np.zeros(1))
    assert (np.diff(right[np.argsort(change[:, 0]), 0]) >= 0).all()
    assert (now + right > 0).all()
    leave = replace(act, kind="leave")
    assert own.change(leave, ["rest_height"], change, now=now, uneven=np.zeros(1)) is change


def test_what_has_no_width_is_left() -> None:
    act = next(o.act for o in plan_cuts(planned(heavy(), None)))
    for points in ((0.0, 0.0, 0.0), (math.nan, math.nan, math.nan)):
        told = learned().told(act, "rest_height", points)
        assert told is points


def test_the_corrected_plan_of_a_mirrored_reed_is_the_mirrored_plan() -> None:
    own = Correcting(
        {**learned(2.0).by, **learned(1.5, name="tilt", told=Predicted(0.01, 0.03, 0.05)).by}
    )
    plan, image = planned(heavy(), own), planned(heavy().mirrored(), own)
    assert plan.advised == image.advised
    assert any(e.raw for o in plan.options for e in o.expected)
    for a, b in zip(plan.options, image.options, strict=True):
        assert (a.act.code, a.act.zone, a.act.strokes) == (b.act.code, b.act.zone, b.act.strokes)
        assert a.act.part.mirrored is b.act.part
        assert a.gain == pytest.approx(b.gain, abs=1e-9)
        for x, y in zip(a.expected, b.expected, strict=True):
            sign = -1.0 if x.name == "tilt" else 1.0
            ends = sorted((sign * y.low, sign * y.high))
            assert [x.low, x.high] == pytest.approx(ends, abs=1e-9 * (abs(x.high) + 1))
            assert x.middle == pytest.approx(sign * y.middle, abs=1e-9 * (abs(x.high) + 1))
