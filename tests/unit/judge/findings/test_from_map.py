"""What a thickness map tells the findings beyond the first judgement."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from crowlight.judge.findings import (
    BladeKnown,
    Geometry,
    Known,
    Measured,
    SideKnown,
    Support,
    Where,
    against,
    geometry_of_map,
    mean_of,
    rank,
)
from crowlight.judge.geometry import judge_geometry
from crowlight.reed import Blade, Reading, Side
from crowlight.reed.styles import Point, style
from crowlight.reed.thickness import ThicknessMap, map_thickness

LONG = style("long")
Change = Callable[[Blade, Point], float]


def mapped(change: Change) -> ThicknessMap:
    return map_thickness(
        [
            Reading(p.on(b), float(LONG.thickness(p.along, p.across)) + change(b, p), repeat=n)
            for b in Blade
            for p in LONG.full
            for n in (1, 2)
        ],
        LONG,
    )


def known(change: Change, *, doubt: float = 1.0) -> Geometry:
    found = mapped(change)
    return geometry_of_map(found, judge_geometry(found), doubt=doubt)


def nothing(blade: Blade, point: Point) -> float:
    return 0.0


def test_levels_of_zones_are_against_the_style_with_its_spread() -> None:
    def tip(blade: Blade, point: Point) -> float:
        return 0.03e-3 if point.zone == "tip" else 0.0

    thick, usual = known(tip), known(nothing)
    for side in (thick.marked.left, thick.plain.right):
        assert side.tip is not None
        assert side.tip.value == pytest.approx(0.03e-3, abs=8e-6)  # the map leans to the style
    assert usual.marked.left.tip is not None
    assert usual.marked.left.tip.value == pytest.approx(0.0, abs=4e-6)
    for name in ("spine", "tip"):
        level = getattr(usual.plain, name)
        assert level is not None, name
        assert abs(level.value) < 2 * level.uncertainty
    exact = known(tip, doubt=0.0)
    assert exact.marked.left.tip is not None
    assert thick.marked.left.tip is not None
    # without the style's spread it is known better, and just as thick
    assert exact.marked.left.tip.uncertainty < thick.marked.left.tip.uncertainty
    assert exact.marked.left.tip.value == thick.marked.left.tip.value


def test_left_against_right_of_a_corner_and_of_the_fall_cancel_the_centre() -> None:
    def corner(blade: Blade, point: Point) -> float:
        there = blade is Blade.PLAIN and point.across > 1e-3 and point.along > 66e-3
        return 0.03e-3 if there else 0.0

    found = known(corner)
    corners, fall = found.plain.sides["corner"], found.plain.sides["tip_slope"]
    assert corners.value < -2 * corners.uncertainty  # left less right: the right is thicker
    assert fall.value > 2 * fall.uncertainty  # and falls less there
    assert abs(found.marked.sides["corner"].value) < found.marked.sides["corner"].uncertainty
    # known better than from the two sides, whose centre is shared
    left, right = found.plain.left.corner, found.plain.right.corner
    assert left is not None
    assert right is not None
    apart = (left.uncertainty**2 + right.uncertainty**2) ** 0.5
    assert corners.uncertainty <= apart
    # both are what the readings say by themselves, each less sure the less was told of it
    assert corners.value == pytest.approx(-0.03e-3, abs=corners.uncertainty)
    assert left.value - right.value == pytest.approx(corners.value, abs=corners.uncertainty)


def test_a_corner_is_compared_with_the_three_others_at_once() -> None:
    def corner(blade: Blade, point: Point) -> float:
        there = blade is Blade.PLAIN and point.across > 1e-3 and point.along > 66e-3
        return 0.03e-3 if there else 0.0

    def tip(blade: Blade, point: Point) -> float:
        return 0.03e-3 if blade is Blade.PLAIN and point.zone == "tip" else 0.0

    found = known(corner)
    excess = found.plain.right.corner_excess
    assert excess is not None
    assert excess.value == pytest.approx(0.03e-3, abs=excess.uncertainty)
    others = [found.plain.left, found.marked.left, found.marked.right]
    rest = [s.corner_excess.value for s in others if s.corner_excess is not None]
    assert len(rest) == 3
    assert sum(rest) == pytest.approx(-excess.value, abs=excess.uncertainty)
    # an evenness: it stays whatever reed is loved
    assert against(found, known(nothing)).plain.right.corner_excess == excess
    # the corners of a thicker tip are no thick corners
    heavy = rank(Known(geometry=known(tip))).ranked
    assert (heavy[0].finding.code, heavy[0].where) == ("tip-heavier", Where(Blade.PLAIN))
    named = [r.finding.code for r in heavy if r.support in (Support.FAIR, Support.STRONG)]
    assert "thick-corner" not in named


def test_a_zone_is_at_its_floor_only_where_it_is_below_it_by_more_than_its_doubt() -> None:
    def deep(blade: Blade, point: Point) -> float:
        return -0.10e-3 if point.zone == "heart" and blade is Blade.MARKED else 0.0

    assert known(nothing).at_floor == frozenset()
    assert "heart" in known(deep).at_floor


@pytest.mark.parametrize(
    ("amount", "code", "side"),
    [(0.04e-3, "thick-corner", Side.LEFT), (-0.04e-3, "thin-side-of-tip", Side.LEFT)],
)
def test_a_thick_side_of_a_tip_is_not_called_a_thin_other_side(
    amount: float, code: str, side: Side
) -> None:
    """Left against right is the same for both; the other blade tells which of the two is off."""

    def one(blade: Blade, point: Point) -> float:
        there = blade is Blade.MARKED and point.zone == "tip" and point.across < -0.3e-3
        return amount if there else 0.0

    first = rank(Known(geometry=known(one))).ranked[0]
    assert (first.finding.code, first.where) == (code, Where(Blade.MARKED, side))
    assert first.support in (Support.FAIR, Support.STRONG)


def test_a_thin_side_of_a_heart_is_not_called_a_heavy_other_side() -> None:
    def one(blade: Blade, point: Point) -> float:
        there = blade is Blade.PLAIN and point.zone == "heart" and point.across > 0.3e-3
        return -0.08e-3 if there else 0.0

    found = rank(Known(geometry=known(one)))
    first = found.ranked[0]
    assert (first.finding.code, first.where) == (
        "thin-side-of-heart",
        Where(Blade.PLAIN, Side.RIGHT),
    )
    # and nothing is offered that takes cane from the sound side
    assert "equalise-heart" not in first.remedies


def test_against_another_reed_subtracts_what_both_know_and_nothing_else() -> None:
    own = Geometry(
        marked=BladeKnown(heart=Measured(5e-5, 3e-6), left=SideKnown(tip=Measured(1e-5, 4e-6))),
        blades={"heart": Measured(2e-5, 5e-6)},
        length=Measured(1e-3, 1e-4),
        opening=Measured(1e-4, 1e-5),
        at_floor=frozenset({"tip"}),
        clipping_room=Measured(2e-3, 1e-4),
    )
    loved = Geometry(
        marked=BladeKnown(heart=Measured(2e-5, 4e-6)),
        blades={"heart": Measured(9e-5, 5e-6)},
        length=Measured(-2e-3, 1e-4),
    )
    found = against(own, loved)
    heart = found.marked.heart
    assert heart is not None
    assert (heart.value, heart.uncertainty) == pytest.approx((3e-5, 5e-6))
    assert found.marked.left.tip is None  # the loved reed was not measured there
    assert found.blades == own.blades  # evenness is wanted whatever is loved
    assert found.length is not None
    assert found.length.value == pytest.approx(3e-3)
    assert found.opening is None
    assert (found.at_floor, found.clipping_room) == (own.at_floor, own.clipping_room)


def test_the_mean_of_reeds_keeps_the_doubt_of_one() -> None:
    several = [
        Geometry(length=Measured(v, 3e-4), plain=BladeKnown(spine=Measured(v / 100, 4e-6)))
        for v in (1e-3, 3e-3)
    ]
    mean = mean_of([*several, Geometry()])
    assert mean.length is not None
    assert (mean.length.value, mean.length.uncertainty) == pytest.approx((2e-3, 3e-4))
    assert mean.plain.spine is not None
    assert mean.plain.spine.value == pytest.approx(2e-5)
    assert mean.marked == BladeKnown()
