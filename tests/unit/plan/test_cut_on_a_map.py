"""From readings to a plan: the real map, and one real solution of the blades."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from crowlight.blade import (
    Blades,
    BladeShape,
    Mechanics,
    MeshSize,
    ThicknessGrid,
    Unknown,
    evaluate,
)
from crowlight.errors import InputError
from crowlight.judge.findings import Crow, Known, Measured, Playing, geometry_known, rank
from crowlight.judge.geometry import judge_geometry
from crowlight.plan.cut import (
    Plan,
    Words,
    draw_chance,
    next_cut,
    reed_now,
    solve_after,
    target,
    unknown_slopes,
)
from crowlight.plan.cut.shapes import Part, patch
from crowlight.reed import Blade, Reading
from crowlight.reed.styles import style
from crowlight.reed.thickness import ThicknessMap, map_thickness

LONG = style("long")
GRID = (24, 9)


def readings() -> list[Reading]:
    """Read a reed like its style whose marked heart is 0.06 mm thicker."""
    found = []
    for blade in Blade:
        for p in LONG.full:
            heavy = 0.06e-3 * (blade is Blade.MARKED and p.zone == "heart")
            found.append(Reading(p.on(blade), float(LONG.thickness(p.along, p.across)) + heavy))
    return found


def planned(of: Sequence[Reading]) -> Plan:
    found = map_thickness(of, LONG, shape=GRID)
    reed = reed_now(found, None, rng=np.random.default_rng(4), count=80)
    known = Known(
        geometry=geometry_known(judge_geometry(found), LONG),
        crow=Crow(unsteadiness=Measured(20.0, 6.0)),
        playing=Playing(words=frozenset({"wobbles"})),
    )
    chance = draw_chance(reed, np.random.default_rng(5))
    return next_cut(reed, target(reed), rank(known), known, chance)


def test_readings_in_another_order_give_the_same_plan() -> None:
    first = planned(readings())
    assert first.options[0].act.code == "equalise-heart"
    rng = np.random.default_rng(6)
    for _ in range(2):
        of = readings()
        again = planned([of[i] for i in rng.permutation(len(of))])
        assert [o.act for o in again.options] == [o.act for o in first.options]
        assert again.advised == first.advised
        for a, b in zip(again.options, first.options, strict=True):
            assert a.gain == pytest.approx(b.gain, abs=1e-6)
            assert a.harm.total == pytest.approx(b.harm.total, abs=1e-9)


@pytest.fixture(scope="module")
def mapped() -> ThicknessMap:
    return map_thickness(readings(), LONG, shape=GRID)


@pytest.fixture(scope="module")
def answer(mapped: ThicknessMap) -> Mechanics:
    along = mapped.along[::-1] - LONG.thread_top
    blades = Blades(
        ThicknessGrid(along, mapped.fraction, mapped.mean[0, ::-1]),
        ThicknessGrid(along, mapped.fraction, mapped.mean[1, ::-1, ::-1]),
        shape=BladeShape(length=LONG.length - LONG.thread_top, tip_width=7e-3, height=0.33e-3),
        size=MeshSize(4, 6, 3),
    )
    return evaluate(blades)


def test_drawn_maps_scatter_as_the_map_says(mapped: ThicknessMap) -> None:
    reed = reed_now(mapped, None, rng=np.random.default_rng(1), count=600)
    inner = mapped.mean > 4 * mapped.sd  # not cut off at nothing
    ratio = reed.draws.std(axis=0)[inner] / mapped.sd[inner]
    # 600 draws: 3 % each; what is cut off at the bark narrows a little
    assert np.median(ratio) == pytest.approx(1.0, abs=0.03)
    assert np.quantile(ratio, [0.02, 0.98]) == pytest.approx([1.0, 1.0], abs=0.12)
    # neighbours hang together as in the map's own draws: a zone's mean scatters alike
    heart = reed.where["heart"]
    own = mapped.samples(600, np.random.default_rng(2))[:, 0][:, heart].mean(axis=1).std()
    assert reed.draws[:, 0][:, heart].mean(axis=1).std() == pytest.approx(own, rel=0.12)


def test_lines_and_solution_agree_on_a_light_cut_of_one_side(
    mapped: ThicknessMap, answer: Mechanics
) -> None:
    """Frames as well: the left as seen of the plain blade is the far edge for the blade model."""
    reed = reed_now(mapped, answer, rng=np.random.default_rng(1), count=20)
    shape = np.zeros(reed.mean.shape)
    shape[1] = patch(reed, "heart", Part.LEFT)
    cane = 6e-6
    solved = solve_after(answer)(shape, cane, 0.0)
    lines = dict(zip(reed.names, -cane * (reed.by_cane * shape).sum(axis=(1, 2, 3)), strict=True))
    for name in ("closing_pressure", "stiffness", "compliance", "unevenness", "tilt"):
        assert lines[name] == pytest.approx(solved[name], rel=0.1), name
    # the plain blade alone got weaker: it closes more; its left faces the marked blade's right
    assert solved["unevenness"] < 0
    other = np.zeros(reed.mean.shape)
    other[0] = patch(reed, "heart", Part.RIGHT)
    facing = -cane * (reed.by_cane * other).sum(axis=(1, 2, 3))[reed.names.index("tilt")]
    assert np.sign(facing) == np.sign(lines["tilt"])


def test_a_plan_with_the_blade_model_tells_what_it_expects(
    mapped: ThicknessMap, answer: Mechanics
) -> None:
    reed = reed_now(mapped, answer, rng=np.random.default_rng(1), count=60)
    known = Known(geometry=geometry_known(judge_geometry(mapped), LONG))
    wanted = target(reed, words=Words(easy_resistant=-1.0))
    done: list[float] = []
    plan = next_cut(
        reed,
        wanted,
        rank(known),
        known,
        draw_chance(reed, np.random.default_rng(2)),
        report=done.append,
    )
    assert done == sorted(done)
    assert done[-1] == 1.0
    cut = plan.options[0]
    assert cut.act.kind == "scrape"
    expected = {e.name: e for e in cut.expected}
    # closing is told with the widest doubt of all: its 95 % point may lie above no change
    pressure = expected["closing_pressure"]
    assert pressure.low < 2 * pressure.middle < 0 < expected["compliance"].low
    assert -0.5 < expected["closing_pressure"].share_middle < 0


def test_what_is_unknown_of_the_cane_widens_the_outputs_not_the_map(
    mapped: ThicknessMap, answer: Mechanics
) -> None:
    stiffer = Unknown(
        "cane", "a test", lambda b, t: replace(b, cane=b.cane.scaled(along=float(np.exp(0.2 * t))))
    )
    slopes = unknown_slopes(answer, [stiffer])
    assert slopes.shape == (len(answer.values), 1)
    known = reed_now(mapped, answer, rng=np.random.default_rng(1), count=200)
    doubted = reed_now(mapped, answer, by_unknown=slopes, rng=np.random.default_rng(1), count=200)
    k = known.names.index("closing_pressure")
    pressure = list(answer.values).index("closing_pressure")
    assert slopes[pressure, 0] > 0  # stiffer cane closes later
    wider = np.log(doubted.now[:, k]).std() ** 2 - np.log(known.now[:, k]).std() ** 2
    share = slopes[pressure, 0] / answer.values["closing_pressure"]
    # sampling of 200: variances to a tenth, the covariance of the two parts to a fourteenth each
    assert wider == pytest.approx(share**2, rel=0.4)
    assert np.array_equal(doubted.draws, known.draws)


def test_blades_solved_as_alike_or_on_another_grid_are_refused(
    mapped: ThicknessMap, answer: Mechanics
) -> None:
    other = map_thickness(readings(), LONG, shape=(20, 9))
    with pytest.raises(InputError, match="solved apart, with maps"):
        reed_now(other, answer, rng=np.random.default_rng(1), count=5)
