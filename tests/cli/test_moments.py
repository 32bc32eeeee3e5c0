"""Two moments of a reed compared."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Clip, Cut, Described, Lengths, Note, ReadingsTaken
from crowlight.errors import InputError
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.reed import Blade, CaneState, Reading
from crowlight.wiring import open_desk

THINNER = 0.06e-3


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    with open_desk(tmp_path / "records") as opened:
        yield opened


def scrape(desk: Desk) -> tuple[Reading, ...]:
    """Keep a reed that loses a lot of its marked heart between two sittings, and some length."""
    rng = np.random.default_rng(5)
    true = draw_reed(rng, even=True)
    readings = tuple(measure(true, planned_places(true.style), rng))
    desk.add_reed("Tern")
    desk.write("Tern", Described(style="long"))  # 1
    desk.write("Tern", Lengths(overall=true.style.length))  # 2
    desk.write("Tern", ReadingsTaken(), readings=readings)  # 3
    desk.write("Tern", Cut(zone="heart", blades=(Blade.MARKED,)))  # 4
    desk.write("Tern", Clip(amount=0.3e-3, against="stop"))  # 5
    after = tuple(
        replace(r, thickness=r.thickness - THINNER * in_heart(r))
        for r in readings
        if r.place.along < true.style.length - 1.2e-3
    )
    desk.write("Tern", ReadingsTaken(), readings=after)  # 6
    return readings


def in_heart(reading: Reading) -> bool:
    return reading.place.blade is Blade.MARKED and reading.place.along < 0.0635


def test_a_scraped_heart_is_seen_on_the_map(desk: Desk) -> None:
    scrape(desk)
    found = desk.compare("Tern", 3, 6)
    assert [e.payload.kind for e in found.difference.happened] == ["cut", "clip", "readings"]
    assert found.difference.length == pytest.approx(-0.3e-3)
    (change,) = found.maps
    assert change.state is CaneState.WET
    assert change.along[0] <= found.after.length < found.before.length
    rows = [i for i, s in enumerate(change.along) if 0.0600 <= s <= 0.0625]
    marked, plain = (np.array(change.change[b])[rows] for b in Blade)
    assert marked.mean() == pytest.approx(-THINNER, abs=0.015e-3)
    assert abs(plain.mean()) < 0.012e-3
    sd = np.array(change.sd[Blade.MARKED])[rows]
    assert np.all(sd > 0)
    assert np.mean(np.abs(marked + THINNER) < 3 * sd) > 0.95
    assert np.shape(change.change[Blade.PLAIN]) == (len(change.along), len(change.fraction))


def test_without_new_readings_there_is_no_map_of_a_change(desk: Desk) -> None:
    scrape(desk)
    assert desk.compare("Tern", 3, 5).maps == ()
    assert desk.compare("Tern", 0, 6).maps == ()
    assert desk.compare("Tern", 2, 3).difference.happened[0].payload.kind == "readings"


def test_unlike_wet_states_are_not_compared(desk: Desk) -> None:
    readings = scrape(desk)
    dry = tuple(replace(r, state=CaneState.DRY) for r in readings)
    desk.write("Tern", ReadingsTaken(), readings=dry)
    found = desk.compare("Tern", 6, 7)
    assert found.maps == ()
    assert found.difference.thickness == ()


@pytest.mark.parametrize(("before", "after"), [(2, 1), (1, 1), (-1, 1), (0, 2)])
def test_moments_that_are_none(desk: Desk, before: int, after: int) -> None:
    desk.add_reed("Tern")
    desk.write("Tern", Note(text="x"))
    with pytest.raises(InputError, match=rf"entries 0 .* to 1: .* not {before} with {after}"):
        desk.compare("Tern", before, after)


def test_the_command_says_it_in_millimetres(crowlight: Callable, desk: Desk) -> None:
    scrape(desk)
    found = json.loads(crowlight("compare", "Tern", 3, 6, "--json").out)
    assert found["length_mm"] == pytest.approx(-0.3)
    assert (found["before"], found["after"]) == (3, 6)
    assert [e["kind"] for e in found["happened"]] == ["cut", "clip", "readings"]
    heart = [c for c in found["thickness"] if c["blade"] == "marked" and c["from_rim_mm"] < 63.5]
    assert heart
    assert all(c["change_mm"] == pytest.approx(-0.06, abs=1e-3) for c in heart)
    (drawn,) = found["maps"]
    assert len(drawn["blades"]["marked"]["change_mm"]) == len(drawn["from_rim_mm"])
    text = crowlight("compare", "Tern", 3, 6).out
    assert "length: -0.300 mm" in text
    assert "marked blade, map of wet cane: the clearest loss is -0.0" in text
    assert "not 6 with 3" in crowlight("compare", "Tern", 6, 3).err
