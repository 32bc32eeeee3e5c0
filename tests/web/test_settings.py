"""Settings: on the device, under a name, and what they change."""

from __future__ import annotations

import re

import httpx
import pytest
from tests.web.conftest import Browser, Site, styled_table

from crowlight.bench.display import CHOICES, Display, display_from
from crowlight.web import create_app
from crowlight.web.routes.settings import LABELS

#: Everything other than usual.
OTHER = {name: choices[1] for name, choices in CHOICES.items()}


def chosen(page: httpx.Response) -> dict[str, str]:
    """Return what is ticked on the page of settings."""
    found = re.findall(r'name="(\w+)" value="(\w+)"(?: id="[^"]*")? checked', page.text)
    return {name: value for name, value in found if name in CHOICES}


def test_every_setting_can_be_chosen_and_explained():
    assert set(LABELS) == set(CHOICES) == set(Display().as_kept())
    for name, (_, said, _) in LABELS.items():
        assert set(said) == set(CHOICES[name])


@pytest.mark.parametrize("name", CHOICES)
def test_what_is_no_choice_counts_for_nothing(name):
    assert display_from({name: "<script>"}) == display_from({name: 7}) == Display()
    assert getattr(display_from({name: CHOICES[name][-1]}), name) == CHOICES[name][-1]


def test_settings_are_kept_on_the_device(site):
    assert chosen(site.get("/settings")) == Display().as_kept()
    answer = site.send("/settings", OTHER)
    assert (answer.status_code, answer.headers["location"]) == (303, "/settings?done=settings")
    assert chosen(site.get("/settings")) == OTHER
    other_device = Site(Browser(create_app(site.desk)), site.desk)
    assert chosen(other_device.get("/settings")) == Display().as_kept()


def test_settings_go_with_a_name_to_another_device(site):
    site.send("/settings/who", {"name": "Ann", "who": None}, page=site.get("/settings"))
    site.send("/settings", OTHER)
    (ann,) = site.desk.people.all()
    assert site.desk.records.setting(ann.uuid) == OTHER
    there = Site(Browser(create_app(site.desk)), site.desk)
    answer = there.send("/settings/who", {"who": str(ann.uuid)}, page=there.get("/settings"))
    assert answer.status_code == 303
    assert chosen(there.get("/settings")) == OTHER
    assert "<bdi>Ann</bdi>" in there.get("/settings").text
    # nobody again: the device keeps how it looks, and no longer changes what is Ann's
    there.send("/settings/who", {"who": "", "name": ""}, page=there.get("/settings"))
    there.send("/settings", Display().as_kept())
    assert site.desk.records.setting(ann.uuid) == OTHER


def test_a_name_typed_again_is_the_same_person(site):
    for _ in range(2):
        site.send("/settings/who", {"name": "Ann"}, page=site.get("/settings"))
    assert [p.name for p in site.desk.people.all()] == ["Ann"]


def test_an_erased_person_leaves_the_device_working(site):
    site.send("/settings/who", {"name": "Ann"}, page=site.get("/settings"))
    site.desk.people.erase("Ann")
    assert site.send("/settings", OTHER).status_code == 303
    assert chosen(site.get("/settings")) == OTHER


def test_settings_need_the_token_of_their_form(site):
    answer = site.send("/settings", {**OTHER, "token": "0" * 64})
    assert answer.status_code == 403
    assert chosen(site.get("/settings")) == Display().as_kept()


def test_settings_show_on_every_page(site):
    reed = site.import_table(styled_table())
    before = site.get(reed).text
    assert 'data-theme="system"' in before
    assert "(prefers-color-scheme: dark)" in before
    site.send("/settings", {"theme": "dark", "contrast": "high", "text": "large"})
    page = site.get(reed).text
    for said in ('data-theme="dark"', 'data-contrast="high"', 'data-text="large"'):
        assert said in page
    # pictures with a dark twin follow the choice, not the system
    assert "(prefers-color-scheme: dark)" not in page
    assert 'media="all"' in page
    site.send("/settings", {"theme": "light"})
    assert 'media="not all"' in site.get(reed).text


@pytest.mark.parametrize(("unit", "said"), [("mm", "0.120"), ("hundredths", "12.0"), ("um", "120")])
def test_thickness_is_told_in_the_unit_chosen(site, unit, said):
    reed = site.import_table()
    site.send("/settings", {"unit": unit})
    # the marked tip: 0.19 mm left, 0.07 mm right
    assert said in re.sub(r"<[^>]+>", " ", site.get(reed).text)


def test_decimals_follow_the_choice_or_the_language_of_the_browser(site):
    reed = site.import_table()
    site.send("/settings", {"numbers": "comma"})
    assert "0,120" in site.get(reed).text
    site.send("/settings", {"numbers": "auto"})
    assert "0.120" in site.get(reed).text
    german = site.client.get(reed, headers={"accept-language": "de-AT,en;q=0.5"})
    assert "0,120" in german.text
    assert "Log" in german.text  # the sentences are those there are
    odd = site.client.get(reed, headers={"accept-language": "x-klingon;q=nothing"})
    assert "0.120" in odd.text


def test_the_choice_of_what_to_count_from_is_one_with_its_link(site):
    reed = site.import_table()
    site.get(f"{reed}?from=rim")
    assert chosen(site.get("/settings"))["count_from"] == "rim"
    site.send("/settings", {"count_from": "thread"})
    assert "from the thread top" in site.get(reed).text
