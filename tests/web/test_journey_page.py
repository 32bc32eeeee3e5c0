"""The page of a journey: what changes, what to do, and what is asked about."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
import soundfile
from tests.canned_models import CannedJobs

from crowlight.bench.desk import Desk
from crowlight.bench.workshop_kinds import Intake
from crowlight.plan import contested_claims
from crowlight.wiring import open_desk

TRIP = "home_name=Saltmarsh&home_altitude=5&to_name=Highfold&to_altitude=2100&ask=1"


@pytest.fixture
def jobs() -> CannedJobs:
    return CannedJobs()


@pytest.fixture
def desk(tmp_path: Path, jobs: CannedJobs) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=jobs) as opened:
        yield opened


@pytest.fixture
def pages(site: Any, jobs: CannedJobs) -> tuple[Any, str, CannedJobs]:
    return site, site.add_reed("Möwe 7"), jobs


def seen(page: Any) -> str:
    """Return the text of a page, blanks as one."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text)).replace("\xa0", " ")


def test_the_first_sentence_puts_altitude_and_moisture_in_proportion(pages):
    site, reed, _ = pages
    for address in (f"{reed}/journey", f"{reed}/journey?{TRIP}"):
        page = site.get(address)
        first = re.search(r'<p class="lead">(.*?)</p>', page.text)
        assert first is not None
        assert "a few per cent" in first[1]
        assert "moisture may do as much" in first[1]


def test_effects_are_ranges_by_cause_and_say_when_the_direction_is_open(pages):
    site, reed, _ = pages
    told = seen(site.get(f"{reed}/journey?{TRIP}"))
    assert (
        "pressure at which a middle note starts By altitude +2.5 to +4.7 % By temperature none "
        "By moisture \N{MINUS SIGN}9.8 to +5.8 % direction open "
        "All together \N{MINUS SIGN}6.8 to +9.7 % direction open"
    ) in told
    assert "pitch of the crow (modelled, untested) By altitude +25 to +47 cents" in told
    assert "a usual one was taken" in told  # nobody measured this reed


def test_blanks_get_limits_and_finished_reeds_none(pages):
    site, reed, jobs = pages
    blank = seen(site.get(f"{reed}/journey?{TRIP}&made=blank"))
    assert "Between × 1.00 and × 1.30 of what it is at home. Basis: physics." in blank
    assert "Stiffness alone: × 0.93 to × 0.98" in blank
    finished = seen(site.get(f"{reed}/journey?{TRIP}&made=finished"))
    assert "Do not thin it. Basis: common practice, no source." in finished
    assert "Stiffness alone" not in finished
    assert [i["state"] for t, i in jobs.asked if t == "travel"] == ["blank", "finished"]


def test_own_travelled_reeds_stand_beside_physics(pages):
    site, reed, jobs = pages
    assert "None has been followed up yet" in seen(site.get(f"{reed}/journey?{TRIP}"))
    ends = {"low": -0.01, "middle": 0.03, "high": 0.08}
    jobs.learned = [
        {
            "effect": "threshold",
            "unit": "1",
            "reeds": 4,
            "physics": ends,
            "own": {**ends, "high": 0.2},
            "joined": {**ends, "high": 0.09},
            "verdict": "agrees",
        }
    ]
    told = seen(site.get(f"{reed}/journey?{TRIP}&made=cane"))
    assert (
        "Physics alone \N{MINUS SIGN}1.0 to +8.0 % Your reeds alone \N{MINUS SIGN}1.0 to +20.0 % "
        "(4 reeds) Both: the next reed \N{MINUS SIGN}1.0 to +9.0 % your reeds agree with physics"
    ) in told


def test_contested_claims_stand_with_what_is_said_against_them(pages):
    site, reed, _ = pages
    page = site.get(f"{reed}/journey?{TRIP}")
    assert "Contested in the trade" in page.text
    for claim in contested_claims():
        assert claim.claim in page.text
        assert claim.counter in page.text


def test_the_strip_is_in_multiples_of_the_threshold_without_pascals(pages):
    site, reed, _ = pages
    told = seen(site.get(f"{reed}/journey?{TRIP}"))
    assert "× 1.50 with the octave below 40 %" in told
    assert "Hypothesis: the lower octave" in told
    assert "one slow crescendo" in told
    assert not re.search(r"\d k?Pa", told)


@pytest.mark.parametrize(
    "address", [f"altitude.svg?{TRIP}", "crow.svg?altitude=5", "crow.svg?altitude=5&dark=1"]
)
def test_charts_are_svg(pages, address):
    site, reed, _ = pages
    answer = site.get(f"{reed}/journey/{address}")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_both_places_are_marked_on_the_chart(pages):
    site, reed, _ = pages
    svg = site.get(f"{reed}/journey/altitude.svg?{TRIP}").text
    for told in ("Saltmarsh", "Highfold", "middle note", "low note", "crow"):
        assert f">{told}<" in svg


def test_the_sound_is_a_wav_that_says_it_is_a_model(pages):
    site, reed, jobs = pages
    answer = site.get(f"{reed}/journey/crow.wav?altitude=2100")
    assert answer.headers["content-type"] == "audio/wav"
    assert answer.headers["content-disposition"] == (
        'attachment; filename="modelled-crow-Mowe-7-2100-m.wav"'
    )
    with soundfile.SoundFile(io.BytesIO(answer.content)) as file:
        assert (file.samplerate, file.channels, file.subtype) == (48_000, 1, "PCM_24")
        assert "a model, not a recording" in file.title
        assert len(file.read()) == 4800
    (inputs,) = [i for t, i in jobs.asked if t == "crow-sound"]
    assert inputs["altitude"] == 2100.0
    site.get(f"{reed}/journey/crow.wav?altitude=9000", 422)
    site.get(f"{reed}/journey/crow.wav?altitude=5&over=50", 422)


@pytest.mark.parametrize(
    ("asked", "why", "kept"),
    [
        ("home_altitude=5&to_altitude=9000", "is it in feet? 9000 ft is 2743 m", "9000"),
        ("home_altitude=5&to_altitude=900&to_temperature=68", "68 °F is 20.0 °C", "68"),
        ("home_altitude=5&to_altitude=900&home_humidity=140", "140 % is outside 0 to 100", "140"),
        ("home_altitude=5&to_altitude=900&to_pressure=680", "680", "680"),
        ("home_altitude=5&to_altitude=900&to_pressure=29.9", "read the barometer again", "29.9"),
        ("home_altitude=5&to_altitude=1850&to_pressure=1015", "1015", "1015"),
        ("home_altitude=5", "How high is where it is going?", "5"),
        ("home_altitude=high&to_altitude=900", "“high” is not a number", "high"),
        ("home_name=Dune&to_altitude=900", "How high is Dune?", "Dune"),
    ],
)
def test_what_is_in_doubt_comes_back_as_typed_with_the_question(pages, asked, why, kept):
    site, reed, jobs = pages
    page = site.get(f"{reed}/journey?{asked}&ask=1", 422)
    assert why in seen(page)
    assert f'value="{kept}"' in page.text
    assert 'aria-invalid="true"' in page.text
    assert jobs.asked == []  # nothing was guessed


def test_kept_places_are_offered_and_one_without_altitude_is_asked_about(pages):
    site, reed, jobs = pages
    people = site.desk.people
    maker = people.add_maker("An invented maker")
    high = people.add_place(maker.uuid, "Highfold", altitude=2100.0, humidity=0.3)
    dune = people.add_place(maker.uuid, "Dune")
    page = site.get(f"{reed}/journey")
    assert "Highfold, 2,100 m" in page.text
    assert "Dune (altitude not known)" in page.text
    asked = f"home_altitude=5&to_place={dune.uuid}&ask=1"
    assert "How high is Dune?" in seen(site.get(f"{reed}/journey?{asked}", 422))
    site.get(f"{reed}/journey?home_altitude=5&to_place={high.uuid}&to_temperature=19,5&ask=1")
    (to,) = [i["destination"] for t, i in jobs.asked if t == "travel"]
    assert (to.name, to.altitude, to.humidity) == ("Highfold", 2100.0, 0.3)
    assert to.temperature == pytest.approx(292.65, abs=1e-9)


def test_hostile_names_stay_text(pages):
    site, reed, _ = pages
    name = quote("<script>1</script>")
    page = site.get(f"{reed}/journey?home_name={name}&home_altitude=5&to_altitude=900&ask=1")
    assert "<script>1</script>" not in page.text


def test_a_barometer_on_the_spot_is_used(pages):
    site, reed, jobs = pages
    site.get(f"{reed}/journey?home_altitude=5&to_altitude=1850&to_pressure=811.5&ask=1")
    (inputs,) = [i for t, i in jobs.asked if t == "travel"]
    assert inputs["destination"].pressure == pytest.approx(81_150.0)
    assert inputs["home"].pressure is None


def test_a_posted_reed_goes_where_it_is_played_unless_one_says_otherwise(site: Any, desk: Desk):
    player = desk.people.add_player("Lene (invented)").uuid
    place = desk.people.add_place(player, "Highfold (invented)", altitude=1850.0)
    reed = desk.posted.take_in("Sent 1", Intake(complaint="Too hard."), player=player)
    chosen = f'<option value="{place.uuid}" selected>'
    page = site.get(f"/reeds/{reed.uuid}/journey").text
    home, to = page.split('id="f-to_place"')
    assert chosen in to
    assert chosen not in home
    assert chosen not in site.get(f"/reeds/{reed.uuid}/journey?{TRIP}").text
    assert chosen not in site.get(f"{site.add_reed('Ruff')}/journey").text
