"""Blade, crow and travel through the command line."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from crowlight.invented.workshop import fill
from crowlight.wiring import open_desk


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("workshop")
    with open_desk(folder) as desk:
        fill(desk)
    return folder


def test_blade_crow_and_travel_of_a_kept_reed(
    crowlight: Callable, workshop: Path, tmp_path: Path
) -> None:
    at = ("--folder", workshop)
    done = crowlight(*at, "blade", "Fulmar", "--json")
    assert done.status == 0, done.err
    found = json.loads(done.out)
    closing = found["outputs"]["closing_pressure"]
    assert closing["low"] < closing["value"] < closing["high"]
    assert closing["basis"] == "physics"
    assert closing["method"] in ("linearised", "sampled")
    effect = found["effects"]["closing_pressure"]["marked"]
    assert len(effect) == len(found["from_tip_mm"])
    assert len(effect[0]) == len(found["fraction"])
    # taking cane off the middle of the heart makes a reed easier to close
    heart = min(range(len(effect)), key=lambda i: abs(found["from_tip_mm"][i] - 8.0))
    assert effect[heart][len(effect[0]) // 2] < 0
    assert "not the pitch of the crow" in crowlight(*at, "blade", "Fulmar").out

    wav = tmp_path / "crow.wav"
    done = crowlight(*at, "crow", "Fulmar", "--json", "--sound", wav)
    assert done.status == 0, done.err
    modelled = json.loads(done.out)
    assert modelled["measured_reed"] is True
    low, middle, high = modelled["pitch_hz"]
    assert 200 < low < middle < high < 3000
    with soundfile.SoundFile(wav) as file:
        assert "odelled" in file.title
        assert file.frames > 48_000

    places = ("--from", "Kittiwake Haven (invented)", "--to", "Upper Sorrelhorn (invented)")
    done = crowlight(*at, "travel", "Fulmar", *places, "--json")
    assert done.status == 0, done.err
    told = json.loads(done.out)
    assert told["direction"] == "up"
    # dry air density ratio of the two standard atmospheres, ISO 2533: about 0.80 at 1850 m
    assert abs(told["density_ratio"] - 0.80) < 0.02
    assert {"no-thinning", "leave-long"} <= {a["code"] for a in told["advice"]}
    assert "Altitude is a few per cent" in crowlight(*at, "travel", "Fulmar", *places).out


def test_places_that_are_not_known_are_asked_about(crowlight: Callable, workshop: Path) -> None:
    at = ("--folder", workshop)
    done = crowlight(*at, "travel", "Fulmar", "--to", "Nowhere")
    assert done.status == 1
    assert "give its altitude" in done.err or "no place is called" in done.err
    done = crowlight(*at, "travel", "Fulmar", "--home-altitude", 5, "--to", "x", "--altitude", 9000)
    assert done.status == 1
    assert "9000" in done.err
    assert "Traceback" not in done.err


def test_a_reed_without_style_cannot_be_solved(crowlight: Callable, tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("blade,from_rim_mm,across_mm,thickness_mm\nmarked,67,0,0.1\n")
    done = crowlight("blade", path)
    assert done.status == 1
    assert "needs the scrape style" in done.err


def test_own_travelled_reeds_stand_beside_physics(tmp_path: Path) -> None:
    from crowlight.bench.followups import travel_outcomes
    from crowlight.bench.kinds import Travelled

    with open_desk(tmp_path) as desk:
        fill(desk)
        maker = desk.records.reed("Fulmar").maker
        assert travel_outcomes(desk.records, maker) == ()
        assert travel_outcomes(desk.records, None) == ()
        found = {"Tern": 40.0, "Dunlin": 55.0, "Knot": 47.0}
        for name, cents in found.items():
            follow_up = Travelled(
                effect="crow-pitch", found=cents, accuracy=15.0, home_altitude=6.0, altitude=1850.0
            )
            desk.write(name, follow_up)
        told = travel_outcomes(desk.records, maker)
        assert sorted(o[3] for o in told) == sorted(found.values())


def test_follow_ups_change_what_is_learned_not_what_physics_says() -> None:
    from crowlight.bench.air import travel
    from crowlight.bench.places import SiteAsked

    asked = {
        "home": SiteAsked(name="here", altitude=6.0),
        "destination": SiteAsked(name="there", altitude=1850.0),
    }
    told = [("crow-pitch", 6.0, 1850.0, cents, 15.0) for cents in (10.0, 14.0, 12.0, 11.0)]
    level = ("crow-pitch", 6.0, 10.0, 500.0, 15.0)  # no journey: tells nothing of altitude
    without, with_them = travel(asked), travel({**asked, "outcomes": (*told, level)})
    assert without["effects"] == with_them["effects"]
    (learned,) = [k for k in with_them["learned"] if k["effect"] == "crow-pitch"]
    assert learned["reeds"] == 4
    assert learned["joined"]["middle"] < learned["physics"]["middle"]


def test_weather_counts_beside_altitude() -> None:
    from crowlight.bench.air import travel
    from crowlight.bench.places import SiteAsked

    here = SiteAsked(name="here", altitude=6.0)
    calm = travel({"home": here, "destination": SiteAsked(name="there", altitude=1850.0)})
    low = SiteAsked(name="there", altitude=1850.0, pressure=79_500.0)
    stormy = travel({"home": here, "destination": low})
    assert stormy["density_ratio"] < calm["density_ratio"]
