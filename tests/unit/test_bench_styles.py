"""Styles from a maker's own reeds, as text that can be kept, and judged by."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from crowlight.bench.assess import assess
from crowlight.bench.mapping import Mapped
from crowlight.bench.styles import checked_name, known_style, own_style_text, style_text
from crowlight.bench.tasks import result_key
from crowlight.errors import InputError
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.reed import CaneState
from crowlight.reed.styles import STYLE_CODES, style


def a_reed(seed: int, *, thicker: float = 0.0) -> dict:
    """Return inputs about a reed of a hand that leaves everything behind the transition thicker."""
    rng = np.random.default_rng(seed)
    reed = draw_reed(rng, even=True)
    readings = tuple(
        replace(r, thickness=r.thickness + thicker * (r.place.along < 64.5e-3))
        for r in measure(reed, planned_places(reed.style), rng)
    )
    length = reed.style.length
    return {"name": f"R {seed}", "readings": readings, "style": "long", "length": length}


@pytest.fixture(scope="module")
def reeds() -> tuple[dict, ...]:
    return tuple(a_reed(seed, thicker=0.04e-3) for seed in range(6))


@pytest.fixture(scope="module")
def text(reeds: tuple[dict, ...]) -> str:
    return own_style_text({"name": "mine", "reeds": reeds})["text"]


@pytest.mark.parametrize("code", STYLE_CODES)
def test_a_style_comes_back_from_its_text(code: str) -> None:
    assert known_style("whatever", style_text(style(code))) == style(code)
    assert known_style(code) is style(code)


def test_the_style_is_that_of_the_reeds(text: str) -> None:
    mine = known_style("mine", text)
    assert mine.code == "mine"
    assert mine.profile["heart.front"].source == "own"
    gained = mine.thickness(61e-3, 0.0) - style("long").thickness(61e-3, 0.0)
    assert gained == pytest.approx(0.04e-3, abs=0.015e-3)


def test_a_reed_is_judged_by_ones_own_style(text: str) -> None:
    usual = a_reed(77, thicker=0.05e-3)
    ours = {**usual, "style": "mine", "style_text": text}
    by_long, by_mine = (assess(inputs).groups[0].mapped for inputs in (usual, ours))
    assert by_long is not None
    assert by_mine is not None
    assert (by_long.style, by_mine.style) == ("long", "mine")

    def heart(mapped: Mapped) -> float:
        against = [
            f for f in mapped.geometry.findings if f.against == "style" and f.zone == "heart"
        ]
        return max(abs(f.decision.value) for f in against)

    assert heart(by_mine) < heart(by_long) - 0.015e-3
    assert result_key("assess", usual) != result_key("assess", ours)
    assert result_key("assess", ours) != result_key("assess", {**ours, "style_text": text + " "})


def test_a_style_of_a_style(reeds: tuple[dict, ...], text: str) -> None:
    again = tuple({**one, "style": "mine", "style_text": text} for one in reeds[:2])
    made = known_style("x", own_style_text({"name": "second", "reeds": again})["text"])
    assert made.code == "second"


def test_reeds_no_style_can_be_made_from(reeds: tuple[dict, ...]) -> None:
    def make(*given: dict) -> None:
        own_style_text({"name": "mine", "reeds": given})

    with pytest.raises(InputError, match="name the reeds"):
        make()
    with pytest.raises(InputError, match="'R 0' has no scrape style"):
        make({**reeds[0], "style": ""})
    with pytest.raises(InputError, match="'R 0' is of style 'long' and 'R 1' of 'short-u'"):
        make(reeds[0], {**reeds[1], "style": "short-u"})
    with pytest.raises(InputError, match=r"'R 0' has too few readings of wet cane.* 6 of each"):
        make({**reeds[0], "readings": reeds[0]["readings"][:5]})
    dry = tuple(replace(r, state=CaneState.DRY) for r in reeds[0]["readings"])
    with pytest.raises(InputError, match="too few readings of wet cane"):
        make({**reeds[0], "readings": dry})


@pytest.mark.parametrize("name", ["", " ", "x" * 101, "Long", "short-u ", "a\nb"])
def test_a_name_no_style_may_have(name: str) -> None:
    with pytest.raises(InputError, match=r"give 1 to 100|comes with crowlight|U\+000A"):
        checked_name(name)


def test_text_that_is_no_style(text: str) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        known_style("mine", text[:-9])
    with pytest.raises(InputError, match="cannot be read"):
        known_style("mine", "{}")
    told = json.loads(text)
    with pytest.raises(InputError, match="later crowlight"):
        known_style("mine", json.dumps(told | {"version": 2}))
    with pytest.raises(InputError, match="is not a 'crowlight style'"):
        known_style("mine", json.dumps(told | {"format": "else"}))
    del told["style"]["zones"]
    with pytest.raises(InputError, match="cannot be read"):
        known_style("mine", json.dumps(told))
