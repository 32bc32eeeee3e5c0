"""The use case: a kept photograph, marks in it, an answer that can be worked out anew."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import numpy as np
import pytest
from pydantic import ValidationError
from tests.lit_pictures import MU, file_of, light, light_marks, thinner_left

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Clip, Described, Lengths, Withdrawn, read
from crowlight.bench.light_kinds import LightMarks
from crowlight.bench.lit import Lit
from crowlight.errors import InputError, NotFound
from crowlight.look import Answer, Look, Part
from crowlight.report.light import headline, light_plain, light_rows, light_text, marks_said
from crowlight.report.words import in_locale
from crowlight.wiring import open_desk

WORDS = in_locale("en")
PICTURE = file_of(light(thickness=thinner_left(0.04e-3)), "JPEG", quality=92)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records") as opened:
        opened.add_reed("Tern")
        opened.write("Tern", Described(style="long"))
        opened.write("Tern", Lengths(overall=70.2e-3, thread_top=47e-3))
        yield opened


def looked(desk: Desk, **more: object) -> Lit:
    photo = desk.light.keep("Tern", PICTURE).uuid
    desk.light.mark("Tern", light_marks(photo, **more))
    found = desk.light.look("Tern")
    assert found is not None
    return found


def test_a_marked_photograph_answers_by_zone(desk: Desk):
    lit = looked(desk, facing="marked")
    zones = {z.name: z for z in lit.found.look.zones}
    assert lit.style == "long"
    assert lit.length_known
    assert zones["tip"].answer is Answer.DIFFERS
    assert zones["tip"].low <= MU * 0.04e-3 <= zones["tip"].high
    assert headline(lit.found.look, WORDS).startswith("More light on the left: tip, ")
    text = light_text("Tern", lit, WORDS)
    assert "Here left and right are as seen facing the marked blade." in text
    assert "not thickness" in text
    assert "Measure here with the gauge before any cut." in text
    assert "common practice, no source" in text
    assert " mm thick" not in text


def test_the_same_photograph_is_kept_once_and_its_answer_too(desk: Desk):
    one = looked(desk)
    seq = desk.records.reed("Tern").seq
    assert desk.light.keep("Tern", PICTURE).uuid == one.photo.uuid
    assert desk.records.reed("Tern").seq == seq

    class NotRead:
        def read(self, data: bytes):
            raise AssertionError

    object.__setattr__(desk, "pictures", NotRead())
    assert desk.light.look("Tern") == one


def test_marking_again_replaces_nothing_and_the_latest_marks_count(desk: Desk):
    first = looked(desk)
    desk.light.mark("Tern", light_marks(first.photo.uuid, facing="plain"))
    again = desk.light.look("Tern")
    assert again is not None
    assert again.marks.facing == "plain"
    assert again.marked.seq == first.marked.seq + 1
    desk.write("Tern", Withdrawn(), replaces=again.marked.uuid)
    back = desk.light.look("Tern")
    assert back is not None
    assert back.marked.uuid == first.marked.uuid


def test_a_withdrawn_photograph_takes_its_marks_along(desk: Desk):
    lit = looked(desk)
    desk.write("Tern", Withdrawn(), replaces=lit.photo.uuid)
    assert desk.light.look("Tern") is None
    with pytest.raises(NotFound, match="no such photograph"):
        desk.light.look("Tern", lit.photo.uuid)


def test_marks_of_another_reeds_photograph_are_refused(desk: Desk):
    desk.add_reed("Ruff")
    photo = desk.light.keep("Ruff", PICTURE).uuid
    for wrong in (photo, uuid4()):
        with pytest.raises(NotFound, match="no such photograph"):
            desk.light.mark("Tern", light_marks(wrong))
    assert desk.light.look("Tern") is None


def test_a_clip_after_the_photograph_does_not_move_what_is_in_it(desk: Desk):
    before = looked(desk)
    desk.write("Tern", Clip(amount=0.5e-3))
    after = desk.light.look("Tern")
    assert after is not None
    assert after.tip == before.tip == pytest.approx(70.2e-3)


@pytest.mark.parametrize("style", ["", "a school nobody knows"])
def test_a_reed_without_a_known_style_has_bands_and_no_zones(desk: Desk, style: str):
    desk.write("Tern", Described(style=style))
    lit = looked(desk)
    assert lit.style == ""
    assert lit.found.look.zones == ()
    assert len(lit.found.look.bands) == 8
    assert headline(lit.found.look, WORDS).startswith("More light on the left in ")


def test_lower_marks_nearer_to_the_tip_are_placed_there(desk: Desk):
    lit = looked(desk, reach=15e-3)
    assert lit.found.look.bands[-1].start > 55e-3


def test_a_picture_that_shows_no_reed_says_so(desk: Desk):
    photo = desk.light.keep("Tern", file_of(np.full((600, 300), 0.05))).uuid
    desk.light.mark("Tern", light_marks(photo))
    lit = desk.light.look("Tern")
    assert lit is not None
    assert headline(lit.found.look, WORDS).startswith("Cannot be told: ")
    plain = light_plain("Tern", lit)
    assert plain["reason"] == "background-not-bright"
    assert plain["bands"] == []


def test_a_reed_whose_length_does_not_fit_its_style_says_so(desk: Desk):
    desk.write("Tern", Lengths(overall=50e-3))
    photo = desk.light.keep("Tern", PICTURE).uuid
    desk.light.mark("Tern", light_marks(photo))
    with pytest.raises(InputError, match="does not fit style"):
        desk.light.look("Tern")


def test_plain_values_are_whole_and_finite(desk: Desk):
    lit = looked(desk)
    plain = light_plain("Tern", lit)
    assert [b["from_tip_mm"][0] for b in plain["bands"]] == sorted(
        b["from_tip_mm"][0] for b in plain["bands"]
    )
    tip = next(z for z in plain["zones"] if z["zone"] == "tip")
    assert tip["low"] < tip["ln_left_over_right"] < tip["high"]
    parts = [tip["from_scatter"], tip["from_marks"], tip["from_backlight"]]
    assert sum(p * p for p in parts) == pytest.approx(tip["standard_uncertainty"] ** 2, rel=1e-2)


def test_rows_say_what_is_sure_and_what_is_not(desk: Desk):
    lit = looked(desk)
    rows = light_rows(lit.found.look.zones, lit.tip, WORDS)
    said = {r.part.name: (r.says, r.interval) for r in rows}
    assert said["tip"][0] == "more light on the left"
    assert said["tip"][1].startswith("by ")
    for name, (says, interval) in said.items():
        part = next(r.part for r in rows if r.part.name == name)
        if part.answer is Answer.NO_DIFFERENCE_SEEN and part.low > 0:
            assert says == "a difference of more than 5 % is not sure"
            assert interval.endswith("more light on the left")


def test_marks_outside_the_picture_are_no_entry():
    with pytest.raises(ValidationError):
        light_marks(uuid4()).model_copy().model_validate(
            {**light_marks(uuid4()).model_dump(), "tip_left": (1.2, 0.1)}
        )
    kept = light_marks(uuid4(), reach=14e-3, passed="one", remark="dim")
    assert read("light", 1, kept.model_dump(mode="json")) == kept
    assert "one blade alone. dim" in marks_said(kept, WORDS)
    assert isinstance(kept, LightMarks)


def part(
    name: str, start: float, value: float, half: float, answer: Answer, **more: object
) -> Part:
    low, high = value - half, value + half
    return Part(name=name, start=start, stop=start + 5e-3, answer=answer, value=value, low=low,
                high=high, **more)  # fmt: skip


def test_the_headline_tells_of_bands_that_no_zone_tells_of():
    even, differs = Answer.NO_DIFFERENCE_SEEN, Answer.DIFFERS
    heart = part("heart", 57e-3, 0.0, 0.03, even)
    left, right = part("", 57e-3, 0.18, 0.04, differs), part("", 52e-3, -0.17, 0.08, differs)
    two = Look(zones=(heart,), bands=(left, right))
    told = "More light on the left in 1 band; more light on the right in 1 band."
    assert headline(two, WORDS) == told
    named = Look(zones=(part("heart", 57e-3, 0.18, 0.04, differs),), bands=(left, right))
    assert (
        headline(named, WORDS)
        == "More light on the left: heart; more light on the right in 1 band."
    )
    alone = Look(zones=named.zones, bands=(left,))
    assert headline(alone, WORDS) == "More light on the left: heart."


def test_a_small_difference_that_is_sure_is_not_denied():
    sure = part("tip", 65e-3, 0.06, 0.02, Answer.NO_DIFFERENCE_SEEN)
    assert headline(Look(zones=(sure,)), WORDS) == "No difference of more than 5 % is sure."
    none = part("tip", 65e-3, 0.01, 0.02, Answer.NO_DIFFERENCE_SEEN)
    assert headline(Look(zones=(none,)), WORDS) == "No difference the photo can show."


def test_which_blade_was_seen_is_told_of_one_blade_too(desk: Desk):
    text = light_text("Tern", looked(desk, facing="plain", passed="one"), WORDS)
    assert (
        "through one blade alone, as you say. Here left and right are as seen facing the plain"
        in text
    )
