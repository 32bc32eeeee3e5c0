"""The one screen: what it says, what stands behind it, and what is written down from it."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from tests.next_plans import AdviceJobs

from crowlight.bench.advice_kinds import Advised, AfterCheck, Guess, Treated
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import (
    Clip,
    Cut,
    Described,
    Opening,
    Recording,
    Rest,
    Verdict,
    Withdrawn,
)
from crowlight.reed import Blade
from crowlight.report.next_screen import MOST_NUMBERS, numbers_in
from crowlight.wiring import open_desk

TABLE = """\
# reed: Gull 7
# length_mm: 70
# thread_top_mm: 47
# state: wet
blade,from_tip_mm,across_mm,thickness_mm
marked,1,-2.5,0.19
plain,1,-2.5,0.07
marked,6,0,0.46
"""


@pytest.fixture
def jobs() -> AdviceJobs:
    return AdviceJobs()


@pytest.fixture
def desk(tmp_path: Path, jobs: AdviceJobs) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=jobs) as opened:
        yield opened


@pytest.fixture
def reed(site: Any, desk: Desk) -> str:
    """Return the address of a reed with an advice."""
    address = site.import_table(TABLE)
    desk.write("Gull 7", Described(style="long"))
    return address


def seen(page: Any) -> str:
    """Return the text of a page, blanks as one."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page.text, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]+>", " ", text)).replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", text)


def form(page: Any, action: str) -> dict[str, str]:
    """Return what a browser would send with the form of this action."""
    for found in re.findall(r'<form method="post"[^>]*?>.*?</form>', page.text, flags=re.DOTALL):
        if f'action="{action}"' in found:
            typed = re.findall(r'<input (?!type="(?:checkbox|radio)")[^>]*>', found)
            return dict(
                pair
                for one in typed
                for pair in re.findall(r'name="(\w+)"[^>]*value="([^"]*)"', one)
            )
    raise AssertionError(action)


def tap(site: Any, page: Any, action: str, **changes: str) -> Any:
    return site.client.post(action, data={**form(page, action), **changes})


def glance_text(page: Any) -> str:
    (where,) = re.findall(r'<p class="glance-where".*?</p>', page.text, flags=re.DOTALL)
    (told,) = re.findall(r'<dl class="glance-told">.*?</dl>', page.text, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", " ", where + told)
    return re.sub(r"\s+", " ", text).replace("\N{NO-BREAK SPACE}", " ").strip()


def written(desk: Desk, kind: type) -> list[Any]:
    return [e.payload for e in desk.sheet("Gull 7").state.entries if isinstance(e.payload, kind)]


# --- what it says --------------------------------------------------------------------------------


def test_one_patch_three_lines_and_at_most_three_numbers(site, reed):
    page = site.get(f"{reed}/next")
    text = glance_text(page)
    assert text.startswith("Marked blade, heart, all over : ")
    assert "light stroke" in text
    assert "Listen for The wobble goes; pitch falls slightly." in text
    assert "Stop The crow steadies, even if a difference remains. or After" in text
    assert numbers_in(text) <= MOST_NUMBERS
    first = page.text.partition('class="next-why"')[0]
    assert first.count('class="act"') == 1
    assert "What to do is for" not in first
    for button in ("Did it", "Did something else", "Rest it"):
        assert button in first


def test_what_the_picture_says_is_what_the_words_say(site, reed):
    page = site.get(f"{reed}/next")
    (told,) = re.findall(r'<desc id="next-blades-desc">(.*?)</desc>', page.text)
    assert told == "Tip up, facing each blade. Shaded: marked blade, heart, all over."


def test_everything_else_stands_behind_why(site, reed):
    page = site.get(f"{reed}/next")
    before, _, behind = page.text.partition('class="next-why"')
    told = seen(type("P", (), {"text": behind}))
    assert "This blade's heart is heavier than the other's: marked blade" in told
    assert "What would tell them apart:" in told
    assert "For it" in told
    assert "Against it" in told
    assert "leave it" in told
    assert "rest it until tomorrow" in told
    assert "Predicted change; 90 % ranges" in told
    assert "physics; your data" in told
    assert "common practice, no source" in told
    assert "Lasting harm" in told
    assert "What to look at next" in told
    assert "Light strokes of 0.003 mm left above the floors, 95 % sure" in told
    assert f'href="{reed}/blades"' in behind
    assert "Predicted change" not in before


def test_ids_on_the_page_are_unique(site, reed):
    ids = re.findall(r'\bid="([^"]+)"', site.get(f"{reed}/next").text)
    assert len(ids) == len(set(ids))


def test_held_tip_down_the_side_is_named_as_it_is_seen_and_that_is_remembered(site, reed, jobs):
    jobs.about = "corner"
    up = site.get(f"{reed}/next")
    assert re.match("Marked blade, .*left", glance_text(up))
    down = site.get(f"{reed}/next?tip=down")
    assert glance_text(down) == glance_text(up).replace("left", "right")
    assert glance_text(site.get(f"{reed}/next")) == glance_text(down)
    (named,) = re.findall(r'<p class="lead headline">([^<]*[Ll]eft[^<]*)</p>', up.text)
    assert named not in down.text
    assert named.replace("Left", "Right").replace("left", "right") in down.text
    left = site.get(f"{reed}/next?tip=up&knife=left")
    assert 'class="glance knife-left"' in left.text
    assert 'class="glance knife-left"' in site.get(f"{reed}/next").text


@pytest.mark.parametrize(
    ("about", "first", "head"),
    [
        ("crack", "A crack at the thread", "Put it aside"),
        ("splinter", "Splintered cane can cut the lip", "Put it aside"),
        ("crow-lost", "The crow went with the last cut: stop.", "Measure, photograph and record"),
    ],
)
def test_what_must_be_said_first_comes_first(site, reed, jobs, about, first, head):
    jobs.about = about
    page = site.get(f"{reed}/next")
    told = seen(page)
    assert told.index(first) < told.index(head)
    assert glance_text(page).startswith(head)


def test_a_reed_that_may_not_be_played_asks_for_no_swell_and_offers_no_cut(site, reed, jobs):
    jobs.about = "splinter"
    page = site.get(f"{reed}/next")
    front = page.text.partition('class="next-why"')[0]
    assert 'role="alert"' in front
    assert "slow swell" not in front
    assert 'name="strokes"' not in front
    assert "Say so to its player in plain words." in front


def test_somebody_elses_reed_asks_for_hygiene_and_consent_first(site, reed, jobs):
    jobs.about = "others"
    told = seen(site.get(f"{reed}/next"))
    hygiene = told.index("wash hands, clean the reed before and after")
    assert told.index("Ask the owner before anything that cannot be undone.") > hygiene
    assert hygiene < told.index("Why, and what else could be done")
    assert f'href="{reed}/write/wish?from=next"' in site.get(f"{reed}/next").text


@pytest.mark.parametrize("about", ["nothing", "unmeasured"])
def test_where_nothing_is_known_looking_comes_first_with_links(site, reed, jobs, about):
    jobs.about = about
    page = site.get(f"{reed}/next")
    front = page.text.partition('class="next-why"')[0]
    assert "Most worth a look now:" in front
    assert len(re.findall(rf'<li><a href="{reed}/[\w/-]+">', front)) == 3
    assert 'class="act"' not in front


def test_an_unmeasured_reed_says_why_no_cut_is_planned(site, reed, jobs):
    jobs.about = "unmeasured"
    page = site.get(f"{reed}/next")
    assert "Its scrape style is not stated" in seen(page)
    assert glance_text(page).startswith("Measure, photograph and record; change nothing")
    assert '<svg class="reed held' not in page.text


def test_what_is_done_for_another_finding_than_the_first_says_for_which(site, reed, jobs):
    jobs.about = "other-first"
    told = seen(site.get(f"{reed}/next"))
    first = "This blade's heart is heavier than the other's, marked blade (fair evidence)."
    other = "What to do is for: This blade's heart is longer than the other's, marked blade"
    assert f"{first} {other}" in told


def test_a_cut_no_finding_asks_for_says_so(site, reed, jobs):
    jobs.about = "unasked"
    page = site.get(f"{reed}/next")
    assert "Nothing is named wrong. This is likely to bring it closer to the scrape style." in (
        seen(page)
    )
    assert glance_text(page).startswith("Marked blade, heart")


@pytest.mark.parametrize("about", ["unasked", "nothing", "unmeasured"])
def test_a_reed_that_is_liked_and_of_which_nothing_is_named_is_left(site, desk, reed, jobs, about):
    jobs.about = about
    desk.write("Gull 7", Verdict(grade=4))
    page = site.get(f"{reed}/next")
    assert glance_text(page).startswith("Leave it as it is")
    assert "It is liked as it is, and nothing is named wrong." in seen(page)
    assert "Most worth a look now" not in seen(page)
    assert "Leave it as it is" in seen(site.get(reed))
    desk.write("Gull 7", Verdict(grade=3))
    assert not glance_text(site.get(f"{reed}/next")).startswith("Leave it as it is") or (
        about == "nothing"
    )


def test_what_a_player_asked_for_is_done_to_a_liked_reed_as_well(site, desk, reed, jobs):
    jobs.about = "wished"
    desk.write("Gull 7", Verdict(grade=5))
    page = site.get(f"{reed}/next")
    assert glance_text(page).startswith("Marked blade, heart")
    assert "closer to this player's words" in seen(page)


def test_the_option_on_the_screen_is_the_one_called_advised(site, desk, reed, jobs):
    jobs.about = "unasked"
    desk.write("Gull 7", Verdict(grade=5))
    behind = site.get(f"{reed}/next").text.partition('class="next-why"')[2]
    (advised,) = re.findall(r'<li class="advised">\s*<h3>([^<]*)', behind)
    assert advised.strip().startswith("leave it")


def test_a_fault_of_a_liked_reed_is_still_told(site, desk, reed):
    desk.write("Gull 7", Verdict(grade=5))
    assert glance_text(site.get(f"{reed}/next")).startswith("Marked blade, heart")


def test_a_blunt_knife_is_sharpened_first_and_that_is_written_as_the_knifes(site, reed, jobs):
    jobs.about = "blunt"
    page = site.get(f"{reed}/next")
    assert glance_text(page).startswith("Sharpen the knife first")
    assert f'href="{reed}/write/knife?from=next">Knife sharpened: write it down' in page.text
    assert f'action="{reed}/next/did"' not in page.text


def test_whoever_uses_no_knife_is_told_why_no_cut_is_offered(site, reed, jobs):
    jobs.about = "no-knife"
    told = seen(site.get(f"{reed}/next"))
    assert "Whoever has this reed uses no knife: cuts are left out." in told
    assert "Needs a knife." in told


def test_words_against_a_recording_are_asked_about_before_any_advice(site, reed, jobs):
    jobs.about = "disagree"
    page = site.get(f"{reed}/next")
    told = seen(page)
    assert told.index("A question first.") < told.index("Did something else")
    assert f'href="{reed}/play"' in page.text.partition("glance")[0]


@pytest.mark.parametrize("about", ["heart", "nothing", "crow-lost", "clip"])
def test_nothing_ever_asks_for_harder_blowing(site, reed, jobs, about):
    jobs.about = about
    told = seen(site.get(f"{reed}/next")).lower()
    assert "blow harder" not in told.replace("do not blow harder", "")


# --- cautions ------------------------------------------------------------------------------------


def front(site: Any, reed: str) -> str:
    return seen(
        type("P", (), {"text": site.get(f"{reed}/next").text.partition('class="next-why"')[0]})
    )


KNIFE = "keep the thumb behind the edge"


def test_the_knife_caution_comes_once_in_a_sitting_whatever_the_browser(site, desk, reed):
    assert KNIFE in front(site, reed)
    assert KNIFE in front(site, reed)  # seeing it is not cutting
    cut = Cut(zone="heart", blades=(Blade.MARKED,), strokes=2)
    desk.write("Gull 7", cut, at=desk.clock.now() - timedelta(hours=5))
    assert KNIFE in front(site, reed)  # another sitting
    desk.write("Gull 7", cut)
    assert KNIFE not in front(site, reed)


def test_the_first_clip_brings_its_caution_again(site, desk, reed, jobs):
    jobs.about = "clip-only"
    desk.write("Gull 7", Cut(zone="tip", blades=(Blade.MARKED,), strokes=1))
    assert "Clip on a firm block against a stop" in front(site, reed)
    desk.write("Gull 7", Clip(amount=1e-4, against="stop"))
    assert "Clip on a firm block against a stop" not in front(site, reed)


def test_the_tearing_of_corners_is_said_every_time(site, desk, reed, jobs):
    jobs.about = "corner"
    desk.write("Gull 7", Cut(zone="tip", blades=(Blade.MARKED,), strokes=1))
    assert "A thin corner tears easily" in front(site, reed)
    assert KNIFE not in front(site, reed)


# --- waiting -------------------------------------------------------------------------------------


def test_while_it_computes_the_page_says_how_far_and_looks_again(site, reed, jobs):
    jobs.held = threading.Event()
    site.client.app.state.running.patience = 0.5
    page = site.get(f"{reed}/next", 202)
    assert '<meta http-equiv="refresh"' in page.text
    assert page.headers["progress"] == "0.40"
    assert "What is wrong, and what to do next" in page.text
    jobs.held.set()
    until = time.monotonic() + 60
    while (status := site.client.get(f"{reed}/next").status_code) == 202:
        assert time.monotonic() < until
    assert status == 200


def test_the_reed_page_never_waits_and_tells_what_is_known(site, reed, jobs):
    page = site.get(reed)
    assert "computed when asked for" in seen(page)
    assert f'href="{reed}/next"' in page.text
    assert "advise" not in [task for task, _ in jobs.asked]
    site.get(f"{reed}/next")
    told = seen(site.get(reed))
    assert "This blade's heart is heavier than the other's, marked blade (fair evidence)" in told
    assert "Marked blade, heart, all over" in told
    assert [task for task, _ in jobs.asked].count("advise") == 1
    assert "What to do next" not in seen(site.get(f"{reed}?at=1"))


# --- did it --------------------------------------------------------------------------------------


def test_did_it_is_one_tap_with_the_strokes_that_were_advised(site, desk, reed):
    page = site.get(f"{reed}/next")
    asked = int(form(page, f"{reed}/next/did")["strokes"])
    done = tap(site, page, f"{reed}/next/did")
    assert done.status_code == 303
    (advice,) = written(desk, Advised)
    (cut,) = written(desk, Cut)
    assert (cut.zone, cut.blades, cut.strokes, cut.option) == (
        "heart",
        (Blade.MARKED,),
        asked,
        advice.advised,
    )
    after = site.get(done.headers["location"])
    assert "One slow swell from nothing" in after.text
    assert f"Cut: marked blade, heart, all over, {asked} light strokes" in seen(after)


def test_a_double_tap_writes_once(site, desk, reed):
    page = site.get(f"{reed}/next")
    for _ in range(3):
        assert tap(site, page, f"{reed}/next/did").status_code == 303
    assert len(written(desk, Cut)) == 1
    assert len(written(desk, Advised)) == 1


def test_other_strokes_than_advised_are_kept_as_done(site, desk, reed):
    page = site.get(f"{reed}/next")
    tap(site, page, f"{reed}/next/did", strokes="5")
    assert written(desk, Cut)[0].strokes == 5


@pytest.mark.parametrize("typed", ["", "two", "0", "99", "1.5"])
def test_strokes_that_are_none_are_asked_about_and_stay_typed(site, desk, reed, typed):
    page = site.get(f"{reed}/next")
    answer = tap(site, page, f"{reed}/next/did", strokes=typed)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert (
        f'name="strokes" class="number" inputmode="numeric" autocomplete="off" value="{typed}"'
        in (answer.text)
    )
    assert written(desk, Cut) == []


def test_a_clip_is_written_with_its_amount(site, desk, reed, jobs):
    jobs.about = "clip-only"
    page = site.get(f"{reed}/next")
    assert form(page, f"{reed}/next/did")["amount"] == "0.1"
    tap(site, page, f"{reed}/next/did", amount="0,15")
    (clip,) = written(desk, Clip)
    assert (clip.amount, clip.against) == (pytest.approx(0.15e-3), "stop")


def test_what_is_done_without_a_knife_is_written_as_a_treatment(site, desk, reed, jobs):
    jobs.about = "crow-lost"
    page = site.get(f"{reed}/next")
    assert tap(site, page, f"{reed}/next/did").status_code == 303
    assert [t.what for t in written(desk, Treated)] == ["record"]


def test_resting_is_one_tap(site, desk, reed):
    page = site.get(f"{reed}/next")
    done = tap(site, page, f"{reed}/next/rest")
    assert done.headers["location"] == f"{reed}/next?done=written"
    assert len(written(desk, Rest)) == 1


def test_when_somebody_else_wrote_first_nothing_is_written_and_the_log_is_shown(site, desk, reed):
    page = site.get(f"{reed}/next")
    desk.write("Gull 7", Verdict(words="wobbles less"))
    answer = tap(site, page, f"{reed}/next/did")
    assert answer.status_code == 409
    assert "wobbles less" in answer.text
    assert written(desk, Cut) == []
    assert tap(site, answer, f"{reed}/next/did").status_code == 303


def test_a_form_of_another_browser_writes_nothing(site, desk, reed):
    page = site.get(f"{reed}/next")
    for action in ("did", "rest", "undo", "other", "guess", "after"):
        data = {**form(page, f"{reed}/next/did"), "token": "x"}
        assert site.client.post(f"{reed}/next/{action}", data=data).status_code in (403, 404, 422)
    kinds = [e.payload.kind for e in desk.sheet("Gull 7").entries]
    assert kinds == ["lengths", "readings", "described"]


# --- something else ------------------------------------------------------------------------------


def other(site: Any, reed: str, did: str, **typed: Any) -> Any:
    page = site.get(f"{reed}/next/other")
    hidden = dict(
        re.findall(r'<input type="hidden" name="(token|uuid|seen)" value="([^"]*)"', page.text)
    )
    return site.client.post(f"{reed}/next/other", data={**hidden, "did": did, **typed})


def test_another_cut_is_written_where_it_was_made(site, desk, reed):
    done = other(site, reed, "cut", zone="tip", part="left-corner", blades=["plain"], strokes="2")
    assert done.status_code == 303
    (cut,) = written(desk, Cut)
    assert (cut.zone, cut.part, cut.blades, cut.strokes) == (
        "tip",
        "left-corner",
        (Blade.PLAIN,),
        2,
    )
    (advice,) = [e for e in desk.sheet("Gull 7").state.entries if isinstance(e.payload, Advised)]
    assert (cut.advised, cut.option) == (advice.uuid, None)


def test_held_tip_down_the_choice_called_right_is_the_left_of_the_records(site, reed):
    page = site.get(f"{reed}/next/other?tip=down").text
    site.get(f"{reed}/next?tip=down")
    page = site.get(f"{reed}/next/other").text
    assert '<option value="left-corner">right corner</option>' in page


def test_a_depth_is_typed_in_micrometres(site, desk, reed):
    blades = ["marked", "plain"]
    assert (
        other(
            site, reed, "cut", zone="heart", part="whole", blades=blades, depth="12,5"
        ).status_code
        == 303
    )
    assert written(desk, Cut)[0].depth == pytest.approx(12.5e-6)


@pytest.mark.parametrize(
    ("did", "typed", "why"),
    [
        ("cut", {"zone": "tip", "part": "whole", "blades": ["plain"]}, "How much came off?"),
        ("cut", {"zone": "tip", "part": "whole", "strokes": "2"}, "is empty; fill it in"),
        ("cut", {"zone": "tip", "part": "whole", "blades": ["plain"], "depth": "thin"}, "“thin”"),
        ("clip", {"against": "stop", "amount": "9"}, "Amount = 9 mm"),
        ("treated", {"what": ""}, "is empty; fill it in"),
    ],
)
def test_what_is_missing_is_asked_about_and_what_was_typed_stays(site, desk, reed, did, typed, why):
    answer = other(site, reed, did, **typed)
    assert answer.status_code == 422
    assert why in seen(answer)
    for value in ("strokes", "depth", "amount"):
        if typed.get(value):
            assert f'value="{typed[value]}"' in answer.text
    assert len(desk.sheet("Gull 7").entries) == 3


def test_a_clip_by_eye_may_have_no_size(site, desk, reed):
    assert other(site, reed, "clip", against="eye", amount="").status_code == 303
    (clip,) = written(desk, Clip)
    assert (clip.amount, clip.against) == (None, "eye")


# --- afterwards ----------------------------------------------------------------------------------


@pytest.mark.parametrize("result", ["better", "same", "worse"])
def test_the_check_afterwards_is_one_tap_and_leads_back(site, desk, reed, result):
    done = tap(site, site.get(f"{reed}/next"), f"{reed}/next/did")
    page = site.get(done.headers["location"])
    answer = site.send(done.headers["location"], {"result": result}, page=page)
    assert answer.headers["location"] == f"{reed}/next?done=written"
    (check,) = written(desk, AfterCheck)
    assert check.result == result
    (cut,) = [e for e in desk.sheet("Gull 7").state.entries if isinstance(e.payload, Cut)]
    assert check.follows == cut.uuid
    told = seen(site.get(f"{reed}/next"))
    assert "What came of the last one" in told
    assert {"better": "better", "same": "the same", "worse": "worse"}[result] in told


def test_a_crow_recorded_since_is_kept_with_the_check(site, desk, reed):
    old = Recording(sound_of="crow", digest="0" * 64, sample_rate=48_000)
    desk.write("Gull 7", old)
    where = tap(site, site.get(f"{reed}/next"), f"{reed}/next/did").headers["location"]
    assert "Kept with the crow" not in seen(site.get(where))
    new = desk.write("Gull 7", Recording(sound_of="crow", digest="1" * 64, sample_rate=48_000))
    page = site.get(where)
    assert "Kept with the crow recorded at" in seen(page)
    site.send(where, {"result": "same"}, page=page)
    assert written(desk, AfterCheck)[0].recording == new.entries[0].uuid


def test_the_gauge_is_asked_for_with_the_third_cut_only(site, desk, reed):
    for _ in range(3):
        desk.write("Gull 7", Cut(zone="heart", blades=(Blade.MARKED,), strokes=2))
    # six wet places of each blade count as measured
    rows = [f"{b},{t},{x},0.3" for b in ("marked", "plain") for t in (2, 6, 9) for x in (-2, 0, 2)]
    fresh = "\n".join([*TABLE.splitlines()[1:5], *rows])
    last = desk.sheet("Gull 7").state.entries[-1].uuid
    assert "Touch three points" not in site.get(f"{reed}/next/after?follows={last}").text
    site.import_table(fresh, reed="Gull 7")
    for n in range(3):
        desk.write("Gull 7", Cut(zone="heart", blades=(Blade.MARKED,), strokes=2))
        last = desk.sheet("Gull 7").state.entries[-1].uuid
        asked = "Touch three points" in site.get(f"{reed}/next/after?follows={last}").text
        assert asked is (n == 2)


def test_a_check_of_nothing_is_refused(site, reed):
    site.get(f"{reed}/next/after", 404)
    site.get(f"{reed}/next/after?follows=00000000-0000-0000-0000-000000000000", 404)


def test_undo_takes_the_last_entry_back_and_keeps_it_struck_out(site, desk, reed):
    tap(site, site.get(f"{reed}/next"), f"{reed}/next/did")
    page = site.get(f"{reed}/next")
    assert "Last written down: Cut" in seen(page)
    for _ in range(2):
        assert tap(site, page, f"{reed}/next/undo").status_code == 303
    assert written(desk, Cut) == []
    entries = desk.sheet("Gull 7").entries
    assert sum(isinstance(e.payload, Withdrawn) for e in entries) == 1
    assert any(isinstance(e.payload, Cut) for e in entries)
    assert "Last written down" not in seen(site.get(f"{reed}/next"))


def test_the_opening_foreseen_stands_beside_the_opening_found(site, desk, reed):
    desk.write("Gull 7", Opening(height=0.70e-3, uncertainty=0.02e-3))
    tap(site, site.get(f"{reed}/next"), f"{reed}/next/did")
    assert "not measured" in seen(site.get(f"{reed}/next"))
    desk.write("Gull 7", Opening(height=0.69e-3, uncertainty=0.02e-3))
    told = seen(site.get(f"{reed}/next"))
    assert "Foreseen and found" in told
    assert "\N{MINUS SIGN}0.01 mm ± 0.03 as foreseen" in told


def test_the_best_moment_says_what_has_gone_since(site, desk, reed):
    assert "Best moment so far" not in seen(site.get(f"{reed}/next"))
    desk.write("Gull 7", Verdict(grade=4))
    told = seen(site.get(f"{reed}/next"))
    assert "Nothing was done to it since. This may be it: leaving it is an answer." in told
    desk.write("Gull 7", Cut(zone="heart", blades=(Blade.MARKED,), strokes=3))
    desk.write("Gull 7", Clip(amount=2e-4, against="stop"))
    desk.write("Gull 7", Verdict(grade=2))
    told = seen(site.get(f"{reed}/next"))
    assert "4 of 5" in told
    assert "heart: 3 light strokes, both blades added up" in told
    assert "0.2 mm clipped off" in told


# --- guess first ---------------------------------------------------------------------------------


def test_a_guess_is_asked_for_before_the_advice_is_computed_and_both_are_kept(
    site, desk, reed, jobs
):
    page = site.get(f"{reed}/next?guess=yes")
    assert "Your guess first" in seen(page)
    assert "Listen for" not in seen(page)
    assert "advise" not in [task for task, _ in jobs.asked]
    sent = {"zone": "heart", "part": "whole", "blades": ["marked"], "does": "scrape"}
    data = {**form(page, f"{reed}/next/guess"), **sent}
    done = site.client.post(f"{reed}/next/guess", data=data)
    assert done.status_code == 303
    back = site.get(done.headers["location"], 303)
    assert back.headers["location"] == f"{reed}/next?done=written"
    (guess,) = written(desk, Guess)
    assert (guess.does, guess.zone, guess.blades) == ("scrape", "heart", (Blade.MARKED,))
    assert len(written(desk, Advised)) == 1
    told = seen(site.get(f"{reed}/next"))
    assert "Marked blade, heart, all over" in told
    assert "You guessed" in told
    assert site.client.post(f"{reed}/next/guess", data=data).status_code == 303
    assert len(written(desk, Guess)) == 1


def test_leaving_it_is_a_guess_as_well_and_may_be_skipped(site, desk, reed):
    page = site.get(f"{reed}/next?guess=yes")
    data = {**form(page, f"{reed}/next/guess"), "does": "leave", "zone": "tip", "part": "whole"}
    assert site.client.post(f"{reed}/next/guess", data=data).status_code == 303
    assert written(desk, Guess) == [Guess(does="leave")]
    tap(site, site.get(f"{reed}/next"), f"{reed}/next/did")
    assert "Your guess first" in seen(site.get(f"{reed}/next"))
    assert "Listen for" in seen(site.get(f"{reed}/next?guess=no"))


def test_guesses_and_advice_are_scored_over_time_under_the_name_of_who_guessed(site, desk, reed):
    me = desk.people.add_maker("Ilse Invented")
    page = site.get("/settings")
    data = {"token": form(page, "/settings/who")["token"], "who": str(me.uuid)}
    assert site.client.post("/settings/who", data=data).status_code == 303
    page = site.get(f"{reed}/next?guess=yes")
    heart = {"zone": "heart", "part": "whole", "blades": ["marked"], "does": "scrape"}
    site.client.post(f"{reed}/next/guess", data={**form(page, f"{reed}/next/guess"), **heart})
    deadline = time.monotonic() + 60
    while not written(desk, Advised) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert written(desk, Guess)[0].who == "Ilse Invented"
    done = tap(site, site.get(f"{reed}/next"), f"{reed}/next/did")
    site.send(done.headers["location"], {"result": "better"})
    leave = {**form(site.get(f"{reed}/next"), f"{reed}/next/guess"), "does": "leave"}
    site.client.post(f"{reed}/next/guess", data=leave)
    told = seen(site.get(f"{reed}/next"))
    assert "Ilse Invented : 2 made, 1 tried: 1 better, 0 the same, 0 worse" in told
    assert "the tool : " in told
    (cut,) = [e for e in desk.sheet("Gull 7").state.entries if isinstance(e.payload, Cut)]
    assert cut.by == me.uuid


def test_a_scrape_without_a_place_is_asked_about(site, desk, reed):
    page = site.get(f"{reed}/next?guess=yes")
    data = {**form(page, f"{reed}/next/guess"), "does": "scrape", "zone": "heart"}
    answer = site.client.post(f"{reed}/next/guess", data=data)
    assert answer.status_code == 422
    assert "Where would you scrape?" in seen(answer)
    assert '<option value="heart" selected>' in answer.text
    assert written(desk, Guess) == []


def test_a_reed_that_is_not_there(site, reed):
    nobody = UUID(int=0)
    for path in ("next", "next/other", "play"):
        site.get(f"/reeds/{nobody}/{path}", 404)
