"""What to do next, drawn and said: as the maker holds the reed, three numbers at most."""

from __future__ import annotations

import base64
import re
import zlib
from typing import Any

import numpy as np
import pytest
from tests.cut_reeds import LONG, Real
from tests.next_plans import CASES, EN, case

from crowlight.reed import Blade
from crowlight.report.held import Held, Tip
from crowlight.report.next_cut import (
    BladeDrawn,
    cane_picture,
    cane_table,
    next_picture,
    pick_picture,
    where_held,
)
from crowlight.report.next_screen import MOST_NUMBERS, glance, numbers_in, stopped
from crowlight.report.next_why import check_address, expected_rows, finding_rows, option_rows

DRAWN = BladeDrawn(LONG)


def option(kind: str = "scrape", **more: Any) -> dict[str, Any]:
    usual = {"zone": "tip", "part": "left-corner", "blades": ["marked"], "oblique": True, "clip": 0}
    return {"kind": kind, **usual, **more}


def picture(of: dict[str, Any] | None, tip: Tip = Tip.UP) -> str:
    return next_picture(of, DRAWN, held=Held(tip), words=EN, name="p")


def shading(svg: str) -> Real:
    """Return the mask of a patch, 0 to 1, rows from the tip down, columns from left to right."""
    (data,) = re.findall(r"data:image/png;base64,([^\"]+)", svg)
    png = base64.b64decode(data)
    width, height = (int.from_bytes(png[16 + 4 * i : 20 + 4 * i]) for i in range(2))
    start = png.index(b"IDAT")
    size = int.from_bytes(png[start - 4 : start])
    rows = np.frombuffer(zlib.decompress(png[start + 4 : start + 4 + size]), np.uint8)
    shades = rows.reshape(height, width + 1)[:, 1:].astype(float)
    return shades / shades.max()


def groups(svg: str) -> dict[Blade, str]:
    """Return what is drawn on each blade."""
    found = re.findall(r"<g transform=.*?</g>", svg, flags=re.DOTALL)
    return dict(zip(Blade, found, strict=True))


def laid(svg: str, blade: Blade, x: float, y: float) -> tuple[float, float]:
    """Return where a point of a blade's own frame comes to lie in the drawing."""
    (numbers,) = re.findall(r"matrix\(([^)]*)\)", groups(svg)[blade])
    a, b, c, d, e, f = (float(n) for n in numbers.split())
    return a * x + c * y + e, b * x + d * y + f


def told(svg: str) -> str:
    (text,) = re.findall(r"<desc[^>]*>(.*?)</desc>", svg)
    return text


# --- the drawing -------------------------------------------------------------------------------


def test_the_patch_lies_where_the_knife_goes_and_fades_at_its_edges() -> None:
    shade = shading(picture(option()))
    down, across = np.indices(shade.shape)
    middle = (down * shade).sum() / shade.sum(), (across * shade).sum() / shade.sum()
    assert middle[0] < 0.1 * shade.shape[0]  # within 2.3 mm of the tip
    assert middle[1] < 0.25 * shade.shape[1]  # on the left
    assert not shade[:, shade.shape[1] // 2 :].any()  # nothing on the other side
    assert len(np.unique(shade)) > 5  # soft
    step = np.abs(np.diff(shade[0, : shade.shape[1] // 2]))
    assert step.max() < 0.4


def test_the_other_corner_is_the_mirror_image() -> None:
    left, right = (shading(picture(option(part=f"{s}-corner"))) for s in ("left", "right"))
    assert np.abs(left - right[:, ::-1]).max() < 0.15  # of a shade and a half


def test_both_sides_leave_the_centre_unshaded() -> None:
    shade = shading(picture(option(zone="tip", part="sides", blades=["marked", "plain"])))
    assert not shade[:, 66:74].any()
    assert shade[:, :40].any()
    assert shade[:, -40:].any()


@pytest.mark.parametrize(
    ("blades", "shaded"),
    [(["marked"], {Blade.MARKED}), (["plain"], {Blade.PLAIN}), (["marked", "plain"], set(Blade))],
)
@pytest.mark.parametrize("kind", ["scrape", "clip"])
def test_only_the_blades_that_are_meant_are_shaded(kind, blades, shaded) -> None:
    svg = picture(option(kind, blades=blades, clip=1e-4))
    assert {b for b, drawn in groups(svg).items() if 'class="act"' in drawn} == shaded


@pytest.mark.parametrize("kind", ["leave", "rest", "act"])
def test_nothing_is_shaded_where_no_cane_comes_off(kind) -> None:
    svg = picture(option(kind, zone=None, part=None, blades=[]))
    assert 'class="act"' not in svg
    assert "Nothing is shaded." in told(svg)
    assert picture(None) == svg


def test_a_clip_is_a_band_at_the_tip_that_can_be_seen() -> None:
    band = re.search(r'M-\S+ 0H(\S+)V(\S+)H\S+Z" class="act"', picture(option("clip", clip=1e-4)))
    assert band is not None
    assert float(band[1]) * 2 == pytest.approx(DRAWN.size[0])
    assert float(band[2]) >= 10.0


@pytest.mark.parametrize(
    ("tip", "tip_lies", "left_lies"),
    [
        (Tip.UP, (0, -1), (-1, 0)),
        (Tip.DOWN, (0, 1), (1, 0)),
        (Tip.RIGHT, (1, 0), (0, -1)),
        (Tip.LEFT, (-1, 0), (0, 1)),
    ],
)
def test_the_drawing_turns_and_never_mirrors(tip, tip_lies, left_lies) -> None:
    """A reed that is turned keeps its sides; one that is mirrored would have them exchanged."""
    svg = picture(option(), tip)
    for blade in Blade:
        foot = laid(svg, blade, 0.0, 100.0)
        towards_tip = np.subtract(laid(svg, blade, 0.0, 0.0), foot) / 100.0
        towards_left = np.subtract(laid(svg, blade, -100.0, 100.0), foot) / 100.0
        assert tuple(towards_tip) == tip_lies
        assert tuple(towards_left) == left_lies


@pytest.mark.parametrize("tip", Tip)
def test_everything_lies_inside_the_drawing_and_the_blades_apart(tip) -> None:
    svg = picture(option(), tip)
    box = re.search(r'viewBox="0 0 (\S+) (\S+)"', svg)
    assert box is not None
    wide, long = DRAWN.size
    corners = {
        b: np.array([laid(svg, b, x, y) for x in (-wide / 2, wide / 2) for y in (0.0, long)])
        for b in Blade
    }
    for points in corners.values():
        assert points.min() >= 0
        assert np.all(points.max(axis=0) <= [float(box[1]), float(box[2])])
    one, two = (corners[b] for b in Blade)
    apart = np.maximum(two.min(axis=0) - one.max(axis=0), one.min(axis=0) - two.max(axis=0))
    assert apart.max() > 20


# --- the words beside it -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tip", "said"),
    [
        (Tip.UP, "marked blade, left corner"),
        (Tip.DOWN, "marked blade, right corner"),
        (Tip.RIGHT, "marked blade, upper corner"),
        (Tip.LEFT, "marked blade, lower corner"),
    ],
)
def test_the_words_name_the_side_as_it_is_held_and_the_picture_says_the_same(tip, said) -> None:
    svg = picture(option(), tip)
    assert where_held(option(), Held(tip), EN) == said
    assert f"Shaded: {said}." in told(svg)
    # the edge so called is drawn on the side on which the patch lies
    patch = laid(svg, Blade.MARKED, -50.0, 0.0)
    edge = said.split()[2]
    found = re.findall(rf'<text x="(\S+)" y="(\S+)" class="edge"[^>]*>{edge}<', svg)
    other = re.findall(rf'<text x="(\S+)" y="(\S+)" class="edge"[^>]*>(?!{edge})\w+<', svg)
    distance = [
        np.hypot(float(p[0]) - patch[0], float(p[1]) - patch[1]) for p in (found[0], other[0])
    ]
    assert distance[0] < distance[1]


def test_other_places_are_named_with_zone_and_part() -> None:
    assert where_held(option(zone="heart", part="whole", blades=["plain"]), Held(), EN) == (
        "plain blade, heart, all over"
    )
    both = option(zone="transition", part="left-foot", blades=["marked", "plain"])
    assert where_held(both, Held(Tip.DOWN), EN) == (
        "both blades, transition, foot of the right side"
    )
    assert where_held(option(zone="tip", part="left"), Held(Tip.RIGHT), EN) == (
        "marked blade, tip, upper side"
    )


def test_what_is_tapped_keeps_the_names_of_the_records() -> None:
    svg = pick_picture(DRAWN, held=Held(Tip.DOWN), words=EN, name="k")
    pieces = re.findall(r'data-blade="(\w+)" data-zone="(\w+)" data-part="([\w-]+)"', svg)
    assert {b for b, _, _ in pieces} == {"marked", "plain"}
    assert {"tip", "transition", "heart", "windows", "spine", "rails"} == {z for _, z, _ in pieces}
    assert {"left", "right", "left-corner", "right-corner"} <= {p for _, _, p in pieces}
    path = re.search(r'd="M([-\d.]+) [^"]*" class="pick" [^>]*data-part="left-corner"', svg)
    assert path is not None
    assert float(path[1]) < 0  # left in the frame of the records, which is turned as a whole


def test_cane_left_stands_on_both_blades_and_in_a_table() -> None:
    left = [
        {"zone": z, "blade": b, "least": 1e-5, "strokes": n}
        for n, (z, b) in enumerate((z, b) for z in ("tip", "heart") for b in ("marked", "plain"))
    ]
    svg = cane_picture(left, DRAWN, held=Held(), words=EN, name="c")
    assert re.findall(r'class="count"[^>]*>(\d+)<', svg) == ["0", "2", "1", "3"]
    assert cane_table(left, EN) == [
        ("tip", [("marked blade", 0), ("plain blade", 1)]),
        ("heart", [("marked blade", 2), ("plain blade", 3)]),
    ]
    assert "tip: marked blade 0, plain blade 1" in told(svg)


# --- plans ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plans() -> dict[str, tuple[dict[str, Any], dict[str, Any]]]:
    return {name: case(name) for name in CASES}


@pytest.mark.parametrize("name", CASES)
def test_three_lines_and_at_most_three_numbers(plans, name) -> None:
    plan, _ = plans[name]
    for index in range(len(plan["options"])):
        g = glance(plan, DRAWN, held=Held(), words=EN, index=index)
        lines = [f"{g.where} {g.how_much}", g.listen, " ".join(g.stop)]
        assert lines[0].strip()
        assert numbers_in(" ".join(lines)) <= MOST_NUMBERS, lines
        assert len(g.stop) <= 2


def test_a_heavy_heart_is_eased_and_the_screen_says_where_how_much_and_when_to_stop(plans) -> None:
    g = glance(plans["heart"][0], DRAWN, held=Held(), words=EN)
    assert g.where == "Marked blade, heart, all over"
    assert g.how_much.endswith("light strokes") or g.how_much == "1 light stroke"
    assert g.listen == "The wobble goes; pitch falls slightly."
    assert g.stop[0] == "The crow steadies, even if a difference remains."
    assert g.cuts
    assert g.strokes >= 1
    assert 'class="act"' in g.picture


def test_a_stop_rule_with_too_many_numbers_is_left_for_the_reasons(plans) -> None:
    plan = plans["heart"][0]
    wordy = {**plan["options"][0], "stop_when": [{"text": "1 2 3 4"}, {"text": "5"}]}
    g = glance({**plan, "options": [wordy]}, None, held=Held(), words=EN, index=0)
    assert g.stop == ("5",)
    assert g.picture == ""


def test_a_clip_says_how_much_and_against_what(plans) -> None:
    plan = plans["clip"][0]
    index = next(i for i, o in enumerate(plan["options"]) if o["kind"] == "clip")
    g = glance(plan, DRAWN, held=Held(), words=EN, index=index)
    assert g.where == "Both blades, tip edge"
    assert g.how_much.replace("\N{NO-BREAK SPACE}", " ") == "0.1 mm off the tip, against a stop"
    assert g.clip_mm == "0.1"


def test_without_a_knife_the_effect_and_the_stop_of_the_remedy_are_told(plans) -> None:
    g = glance(plans["crow-lost"][0], DRAWN, held=Held(), words=EN)
    assert g.kind == "act"
    assert g.where == "Measure, photograph and record; change nothing"
    assert g.stop == ("When the numbers repeat.",)
    assert g.how_much == ""


def test_what_must_be_said_first_comes_with_the_gravest(plans) -> None:
    said = stopped(plans["crack"][1])
    assert said[0].code == "crack-at-thread"
    assert said[0].grave
    assert "honest word" in said[0].text
    assert stopped(plans["splinter"][1])[0].code == "splintered"
    assert [s.code for s in stopped(plans["others"][1])] == ["ask-owner"]
    assert not stopped(plans["others"][1])[0].grave
    assert stopped(plans["nothing"][1]) == []


def test_of_several_stops_the_gravest_is_said_first() -> None:
    names = ("three-tests", "ask-owner", "floor", "splintered")
    said = stopped({"stops": [{"name": n, "text": n} for n in names]})
    assert [s.code for s in said] == ["splintered", "ask-owner", "three-tests"]


def test_every_option_stands_behind_it_with_range_basis_and_harm(plans) -> None:
    plan, _ = plans["heart"]
    rows = option_rows(plan, held=Held(), words=EN)
    assert {r.kind for r in rows} >= {"leave", "rest"}
    assert rows[0].advised
    assert [r.advised for r in rows].count(True) == 1
    cut = next(r for r in rows if r.kind == "scrape")
    assert cut.expected
    for e in cut.expected:
        assert " to " in e.change
        assert "physics" in e.basis
    closing = next(e for e in cut.expected if e.name == "closing_pressure")
    (given,) = [e for e in plan["options"][cut.index]["expected"] if e["name"] == closing.name]
    low, high = (
        float(v.replace("\N{MINUS SIGN}", "-"))
        for v in closing.change.removesuffix("\N{NO-BREAK SPACE}kPa").split(" to ")
    )
    assert low == pytest.approx(given["change"][0] * 1e-3, rel=0.06)
    assert high == pytest.approx(given["change"][2] * 1e-3, rel=0.06)
    assert "common practice" in cut.harm_basis
    rest = next(r for r in rows if r.kind == "rest")
    (night,) = rest.expected
    assert night.change.replace("\N{NO-BREAK SPACE}", " ") == "\N{MINUS SIGN}0.02 to +0.10 mm"
    assert night.open_sign
    assert night.basis == "common practice, no source"


def test_findings_name_their_side_as_the_reed_is_held(plans) -> None:
    found = plans["corner"][1]
    up, down = (finding_rows(found, held=Held(t), words=EN) for t in (Tip.UP, Tip.DOWN))
    one, other = (next(r for r in rows if "side" in r.place) for rows in (up, down))
    assert one.place == "left side of the marked blade"
    assert other.place == "right side of the marked blade"
    assert any("left side of the marked blade" in e for e in one.pro)
    assert any("right side of the marked blade" in e for e in other.pro)
    assert not any("left side of the marked blade" in e for e in other.pro + other.con)


def test_every_check_leads_to_where_it_is_written_down(plans) -> None:
    codes = {c["name"] for _, found in plans.values() for c in (*found["next"], *found["gate"])}
    assert codes
    assert {c for c in codes if not check_address(c)} <= {"batch-mates"}


def test_a_change_of_sign_unknown_is_called_open_and_shares_are_told() -> None:
    up = {"name": "closing_pressure", "unit": "Pa", "change": [10.0, 50.0, 90.0],
          "share": [0.01, 0.05, 0.09], "basis": ["physics", "your data"]}  # fmt: skip
    either = {**up, "change": [-10.0, 5.0, 90.0], "share": None}
    one, other = expected_rows([up, either], EN)
    assert (one.open_sign, other.open_sign) == (False, True)
    assert one.change.replace("\N{NO-BREAK SPACE}", " ") == "+0.010 to +0.090 kPa"
    assert one.share.replace("\N{NO-BREAK SPACE}", " ") == "+1.0 to +9.0 %"
    assert one.basis == "physics; your data"
    assert other.share == ""


def test_leaving_it_promises_no_change(plans) -> None:
    rows = option_rows(plans["heart"][0], held=Held(), words=EN)
    assert next(r for r in rows if r.kind == "leave").expected == ()


def test_a_reed_that_may_not_be_played_is_put_aside_whatever_else_could_be_done(plans) -> None:
    g = glance(plans["splinter"][0], DRAWN, held=Held(), words=EN, put_aside=True)
    assert (g.kind, g.where, g.listen) == ("leave", "Put it aside", "")
    assert not g.cuts


def test_a_change_too_small_to_be_shown_is_next_to_nothing() -> None:
    tiny = {"name": "rest_height", "unit": "m", "change": [-1e-8, 1e-8, 2e-8],
            "share": [-1e-5, 1e-5, 2e-5], "basis": ["physics"]}  # fmt: skip
    (row,) = expected_rows([tiny], EN)
    assert (row.change, row.share, row.open_sign) == ("next to nothing", "", False)
