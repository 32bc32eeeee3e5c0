"""The playing test: six taps, three answers each, and nothing that must be answered."""

from __future__ import annotations

import re

from crowlight.bench.kinds import PlayingTest


def test_six_questions_with_three_answers_none_chosen(site):
    page = site.get(f"{site.add_reed()}/play")
    assert len(re.findall(r'type="radio"', page.text)) == 18
    assert " checked" not in page.text
    assert "never force a reed that will not speak" in page.text


def test_answers_are_written_down_and_the_rest_is_not_sure(site, desk):
    reed = site.add_reed()
    done = site.send(f"{reed}/play", {"low_soft_attack": "no", "slurred_octaves": "yes"})
    assert done.status_code == 303
    assert done.headers["location"] == f"{reed}/next?done=written&form=playing-test"
    (entry,) = desk.sheet("Gull 7").entries
    assert entry.payload == PlayingTest(low_soft_attack="no", slurred_octaves="yes")


def test_sent_twice_it_is_written_once(site, desk):
    reed = site.add_reed()
    page = site.get(f"{reed}/play")
    for _ in range(2):
        assert site.send(f"{reed}/play", {"soft_to_loud": "no"}, page=page).status_code == 303
    assert len(desk.sheet("Gull 7").entries) == 1


def test_nothing_answered_says_nothing(site, desk):
    reed = site.add_reed()
    answer = site.send(f"{reed}/play", {})
    assert answer.status_code == 422
    assert "Nothing is filled in" in answer.text
    assert desk.sheet("Gull 7").entries == ()


def test_what_was_tapped_comes_back_when_somebody_else_wrote_first(site, desk):
    reed = site.add_reed()
    page = site.get(f"{reed}/play")
    desk.write("Gull 7", PlayingTest(tongues_cleanly="no"))
    answer = site.send(f"{reed}/play", {"soft_to_loud": "no"}, page=page)
    assert answer.status_code == 409
    assert re.search(r'name="soft_to_loud" value="no"[^>]* checked', answer.text)
    again = site.send(f"{reed}/play", {}, page=answer)
    assert again.status_code == 303
    assert len(desk.sheet("Gull 7").entries) == 2
