"""Scrape styles: what job and trade ask of the data, and the geometry of zones and points."""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
from importlib.resources import files

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.reed import Blade, CaneState
from crowlight.reed.styles import SOURCES, STYLE_CODES, Outline, Style, read_style, style

MM = 1e-3


@pytest.fixture(params=STYLE_CODES)
def any_style(request: pytest.FixtureRequest) -> Style:
    return style(request.param)


# Common practice, no source: what every maker of this school would call normal.
def test_long_scrape_agrees_with_common_practice():
    long = style("long")
    overall = long.lengths["overall"]
    assert (overall.low, overall.high) == pytest.approx((69 * MM, 71 * MM))
    assert long.lengths["staple"].value == pytest.approx(47 * MM)
    position = long.profile["transition.position"]
    assert (position.low, position.high) == pytest.approx((63.5 * MM, 66.5 * MM))
    assert abs(64 * MM - position.value) <= 2 * position.spread  # 64 on a 69 to 70 mm reed
    heart = long.zone("heart").tolerance
    assert heart.sides == pytest.approx(0.03 * MM)
    assert heart.blades == pytest.approx(0.02 * MM)
    assert long.zone("tip").tolerance.sides < heart.sides


@pytest.mark.parametrize("thickness_mm", [0.42, 0.46, 0.50, 0.52])
def test_no_heart_centre_of_common_practice_is_a_fault(thickness_mm: float):
    long = style("long")
    along = np.linspace(60 * MM, 63 * MM, 7)
    middle = long.thickness(along, 0.0).mean()
    spread = long.spread(along, 0.0).mean()
    assert abs(thickness_mm * MM - middle) < 2.5 * spread


def test_every_style_says_wet_or_dry_and_tags_every_figure(any_style: Style):
    assert any_style.state in (CaneState.WET, CaneState.DRY)
    figures = [*any_style.lengths.values(), *any_style.profile.values()]
    assert all(figure.source in SOURCES for figure in figures)
    assert all(figure.spread >= 0 for figure in figures)


@pytest.mark.parametrize("code", ["cor-anglais-long", "oboe-damore-long"])
def test_figures_of_the_larger_instruments_are_marked_weak(code: str):
    other = style(code)
    tags = {f.source for f in [*other.lengths.values(), *other.profile.values()]}
    assert tags == {"weak", "derived"}
    assert all(zone.tolerance.floor_source == "weak" for zone in other.zones)


def test_zones_cover_the_blade_once_each_point_has_its_zone(any_style: Style):
    along = np.linspace(any_style.thread_top, any_style.length, 90)
    fraction = np.linspace(-1, 1, 41)
    inside = [zone.contains(along[:, None], fraction) for zone in any_style.zones]
    assert np.any(inside, axis=0).all()
    for point in (*any_style.full, *any_style.quick):
        assert any_style.zone_of(point.along, point.across).name == point.zone
    measured = {point.zone for point in any_style.full}
    parts = {"spine", "windows", "rails"}
    missing = {zone.name for zone in any_style.zones} - measured
    assert missing <= {"bark", "back"}
    assert "back" not in missing or parts <= measured


def test_standard_points_stand_clear_of_the_edges_in_snake_order(any_style: Style):
    assert len(any_style.full) == 24
    assert len(any_style.quick) == 8
    for points in (any_style.full, any_style.quick):
        assert len({point.code for point in points}) == len(points)
        along = [point.along for point in points]
        assert along == sorted(along, reverse=True)
        for point in points:
            half = float(any_style.outline.half_width(point.along))
            assert half - abs(point.across) >= 1 * MM - 1e-12
            assert any_style.length - point.along >= 0.4 * MM


def test_full_set_goes_to_and_fro(any_style: Style):
    jumps = [abs(b.across - a.across) for a, b in itertools.pairwise(any_style.full)]
    assert max(jumps) < 3 * MM  # the next row begins on the side where the last one ended


def test_floors_lie_below_the_style(any_style: Style):
    along = np.linspace(any_style.thread_top + 1e-4, any_style.length - 3e-4, 60)
    fraction = np.linspace(0, 0.999, 15)
    grid = np.meshgrid(along, fraction, indexing="ij")
    mean = any_style.mean(any_style.vector()[0], *grid)
    assert mean.min() > 0
    for zone in any_style.zones:
        inside = zone.contains(*grid)
        floor = zone.tolerance.floor + (
            (zone.tolerance.floor_edge - zone.tolerance.floor) * grid[1] ** 2
        )
        assert np.median((mean - floor)[inside]) > 0


def test_profile_jacobian_matches_differences(any_style: Style):
    values, _ = any_style.vector()
    along = np.linspace(any_style.thread_top, any_style.length, 40)[:, None]
    fraction = np.linspace(-1, 1, 9)
    _, jacobian = any_style.mean.with_jacobian(values, along, fraction)
    step = 1e-7
    for i, name in enumerate(any_style.mean.names):
        shift = step * np.eye(len(values))[i]
        numeric = (
            any_style.mean(values + shift, along, fraction)
            - any_style.mean(values - shift, along, fraction)
        ) / (2 * step)
        np.testing.assert_allclose(jacobian[..., i], numeric, atol=2e-9, err_msg=name)


def test_band_weights_sum_to_one(any_style: Style):
    along = np.linspace(any_style.thread_top, any_style.length, 50)[:, None]
    weights = any_style.mean.weights(any_style.vector()[0], along, np.linspace(-1, 1, 9))
    np.testing.assert_allclose(weights.sum(axis=-1), 1.0, atol=1e-12)
    assert weights.min() >= 0


def test_a_clip_moves_nothing_behind_the_transition(any_style: Style):
    clipped = any_style.placed(any_style.length - 0.8 * MM)
    for before, after in zip(any_style.full, clipped.full, strict=True):
        if before.along < any_style.shape.transition:
            assert after == before
        else:
            assert after.along <= before.along
            assert clipped.length - after.along >= 0.4 * MM
    behind = np.linspace(any_style.thread_top, any_style.shape.transition - 3e-3, 9)
    np.testing.assert_allclose(
        clipped.thickness(behind, 0.0), any_style.thickness(behind, 0.0), atol=1e-6
    )


@pytest.mark.parametrize("length", [math.nan, 0.0, 0.0652, 0.0765])
def test_a_length_that_does_not_fit_is_refused(length: float):
    with pytest.raises(InputError, match="does not fit style 'long'"):
        style("long").placed(length)


def test_messages_name_what_there_is():
    with pytest.raises(InputError, match="long, short-u"):
        style("longer")
    with pytest.raises(InputError, match="off the blade"):
        style("long").zone_of(0.069, 0.0039)
    with pytest.raises(InputError, match="it has tip, transition"):
        style("long").zone("ears")
    with pytest.raises(InputError, match="it has 1L 1C"):
        style("long").point("9C")
    with pytest.raises(InputError, match="lacks 'profile'"):
        read_style("code = 'mine'")
    with pytest.raises(InputError, match="not TOML"):
        read_style("code = ")


def test_an_unknown_source_tag_is_refused():
    text = (files("crowlight.reed.styles") / "long.toml").read_text(encoding="utf-8")
    with pytest.raises(InputError, match="source tag 'hearsay'"):
        read_style(text.replace('"cp"', '"hearsay"'))


def test_points_become_places_of_a_blade():
    place = style("long").point("1R").on(Blade.PLAIN)
    assert (place.blade, place.across) == (Blade.PLAIN, pytest.approx(2.46 * MM, abs=0.01 * MM))


def test_styles_are_values():
    with pytest.raises(dataclasses.FrozenInstanceError):
        style("long").code = "mine"  # pyright: ignore[reportAttributeAccessIssue] the point of the test


@pytest.mark.parametrize(
    ("along", "width", "told"),
    [
        ((0.047, 0.070), (3e-3, 0.0), "above 0 mm"),
        ((0.047, 0.070), (3e-3, float("nan")), "above 0 mm"),
        ((0.047, 0.047), (3e-3, 7e-3), "must increase"),
        ((0.070, 0.047), (3e-3, 7e-3), "must increase"),
        ((0.047, float("nan")), (3e-3, 7e-3), "must increase"),
        ((0.047, 0.070), (3e-3,), "one width for each"),
        ((), (), "one width for each"),
    ],
)
def test_an_outline_that_is_none_is_refused(along, width, told):
    with pytest.raises(InputError, match=told):
        Outline(along, width, 0.1e-3, "own")


def test_a_style_file_with_a_tip_of_no_width_is_refused():
    text = (files("crowlight.reed.styles") / "long.toml").read_text(encoding="utf-8")
    widths = re.findall(r"^width = \[.*\]", text, re.M)
    assert len(widths) == 1
    narrow = re.sub(r",\s*[\d.]+\]", ", 0.0]", widths[0])
    with pytest.raises(InputError, match="above 0 mm"):
        read_style(text.replace(widths[0], narrow))
