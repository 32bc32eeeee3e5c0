"""Invented reeds whose story has one sensible end; the reasoning stands beside each.

All reeds, places and numbers are invented. The reasoning is common practice without a source
unless it says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from crowlight.judge.findings import (
    Agreement,
    BladeKnown,
    Climate,
    Crow,
    Findings,
    Geometry,
    History,
    Known,
    Measured,
    Playing,
    SideKnown,
    Support,
    Trials,
    Where,
    catalogue,
    heard,
    rank,
)
from crowlight.reed import Blade, Side

HOUR = 3600.0
DAY = 24 * HOUR
MINUTE = 60.0


def mm(value: float, u: float = 0.008) -> Measured:
    """Return a length given in millimetres."""
    return Measured(value * 1e-3, u * 1e-3)


def corners(ml: float, mr: float, pl: float, pr: float, u: float = 0.006) -> Geometry:
    """Set corners, marked left and right, plain left and right [mm from what is wanted]."""

    def blade(left: float, right: float) -> BladeKnown:
        return BladeKnown(left=SideKnown(corner=mm(left, u)), right=SideKnown(corner=mm(right, u)))

    return Geometry(marked=blade(ml, mr), plain=blade(pl, pr))


def slopes(ml: float, mr: float, pl: float, pr: float, u: float = 0.03) -> Geometry:
    """Set the steepness of the transition at the four sides [mm/mm from what is wanted]."""

    def blade(left: float, right: float) -> BladeKnown:
        return BladeKnown(
            left=SideKnown(steepness=Measured(left, u)),
            right=SideKnown(steepness=Measured(right, u)),
        )

    return Geometry(marked=blade(ml, mr), plain=blade(pl, pr))


def hearts(marked: float, plain: float, **more: Measured) -> Geometry:
    """Set the hearts of the two blades [mm from what is wanted]."""
    return Geometry(marked=BladeKnown(heart=mm(marked)), plain=BladeKnown(heart=mm(plain)), **more)


CLEAN = Crow(clean=0.85, mixed=0.10, rattling=0.05, speaks="yes", first="both")

#: Everything measured and tried, and nothing wrong.
SOUND = Known(
    geometry=Geometry(
        marked=BladeKnown(
            tip=mm(0.001, 0.006),
            heart=mm(0.004),
            heart_length=mm(0.2, 0.4),
            spine=mm(0.003),
            gouge=mm(0.0),
            lump=mm(0.003, 0.006),
            left=SideKnown(corner=mm(0.001), tip_slope=mm(0.002), steepness=Measured(0.01, 0.03)),
            right=SideKnown(corner=mm(0.0), tip_slope=mm(0.0), steepness=Measured(0.0, 0.03)),
        ),
        plain=BladeKnown(
            tip=mm(0.0, 0.006),
            heart=mm(-0.003),
            heart_length=mm(0.0, 0.4),
            spine=mm(0.0),
            gouge=mm(0.002),
            lump=mm(0.002, 0.006),
            left=SideKnown(corner=mm(0.002), tip_slope=mm(-0.002), steepness=Measured(0.0, 0.03)),
            right=SideKnown(corner=mm(0.0), tip_slope=mm(0.001), steepness=Measured(0.01, 0.03)),
        ),
        length=mm(0.1, 0.2),
        tip_length=mm(0.1, 0.3),
        opening=mm(0.01, 0.06),
        clipping_room=mm(1.6, 0.2),
    ),
    crow=Crow(
        clean=0.85,
        mixed=0.10,
        rattling=0.05,
        speaks="yes",
        first="both",
        cents=Measured(3.0, 8.0),
        unsteadiness=Measured(0.0, 5.0),
    ),
    playing=Playing(
        low_soft_attack="yes",
        slurred_octaves="yes",
        high_notes_hold="yes",
        sags_when_lip_loosens="no",
        tongues_cleanly="yes",
        soft_to_loud="yes",
    ),
    trials=Trials(leaks="no", looked=True, control_reed="fine"),
)

GOOD = (Support.FAIR, Support.STRONG)


REED = Where()


@dataclass(frozen=True)
class Scenario:
    """A reed, what must come out, and why."""

    name: str
    why: str
    known: Known
    first: str | None = None
    where: Where = REED
    also: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    first_remedy: str | None = None
    nothing_lasting: bool = False
    no_cut: bool = False
    answer: str = "findings"


def say(words: str) -> Playing:
    return Playing(words=heard(words))


STORIES = (
    # --- fifteen reeds of a workshop by the sea and its customers
    Scenario(
        "low crow on an uncut length",
        "1.2 mm over length, crow a quarter tone flat, hearts even and as wanted: length explains "
        "it. A clip can be followed by another; heart taken off cannot be put back.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(heart=mm(-0.004), tip=mm(0.0)),
                plain=BladeKnown(heart=mm(-0.005), tip=mm(0.001)),
                length=mm(1.2, 0.2),
                tip_length=mm(0.3, 0.3),
                clipping_room=mm(2.7, 0.2),
            ),
            crow=replace(CLEAN, cents=Measured(-25.0, 8.0)),
        ),
        first="too-long",
    ),
    Scenario(
        "posted to the mountains",
        "Liked at 40 m, now hard and half closed at 2,100 m with its back as it was: the place "
        "changed, not the reed. Settle it, open it without a knife, leave the back alone.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(spine=mm(-0.01)),
                plain=BladeKnown(spine=mm(-0.01)),
                opening=mm(-0.30, 0.07),
            ),
            climate=Climate(altitude_home=40.0, altitude_now=2100.0, here_for=5 * HOUR),
            playing=say("so hard to blow"),
        ),
        first="higher-place",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "ten reeds with one thin corner",
        "The right corner as seen is 0.02 mm thinner on both blades, on all ten: seen from the "
        "front such corners lie diagonally, so it is the stroke and not the cane. Change the "
        "stroke; ten single repairs cure nothing.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(sides={"corner": mm(0.020, 0.006)}),
                plain=BladeKnown(sides={"corner": mm(0.020, 0.006)}),
            ),
            trials=Trials(batch_alike=(10, 10)),
        ),
        first="batch-alike",
        also=("hand-thins-one-corner",),
        stops=("before-the-knife",),
        nothing_lasting=True,
    ),
    Scenario(
        "wobble with one heavy heart",
        "0.07 mm between the hearts on equal gouge is far beyond the gauge: ease the heavy one "
        "only. The other cannot be made heavier.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(heart=mm(0.0), gouge=mm(0.0)),
                plain=BladeKnown(heart=mm(-0.07), gouge=mm(0.001)),
            ),
            playing=say("the crow wobbles"),
        ),
        first="heart-heavier",
        where=Where(Blade.MARKED),
        first_remedy="record",
    ),
    Scenario(
        "pupil with three dead reeds",
        "Low notes fail on every reed and on the control reed: what they share is the oboe.",
        Known(
            trials=Trials(control_reed="fails"),
            playing=replace(say("low notes dead on all my reeds"), low_soft_attack="no"),
        ),
        first="oboe-leaks",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "blank that hisses",
        "Air comes out at the side above the thread and the blades have slipped by 0.4 mm too "
        "much: seal it, or tie the blank again.",
        Known(
            trials=Trials(leaks="yes", bubbles="side"),
            geometry=Geometry(overlap=mm(0.4, 0.1)),
        ),
        first="slipped",
        also=("side-leak",),
    ),
    Scenario(
        "clipped for pitch until nothing was left",
        "Three clips, below the shortest blade, sharp and bright, tip half as long as wanted: "
        "past the end. Retire it, and balance before clipping next time.",
        Known(
            geometry=Geometry(
                length=mm(-1.7, 0.2), tip_length=mm(-2.3, 0.3), clipping_room=mm(-0.2, 0.2)
            ),
            history=History(clips=3),
            playing=say("sharp and bright"),
        ),
        first="too-short",
        stops=("no-more-clips",),
    ),
    Scenario(
        "fine crow, no octaves in this oboe",
        "Clean crow, fine in another oboe, control reed fine in this one: the two do not fit each "
        "other. Look at cork and seat.",
        Known(
            crow=CLEAN,
            playing=Playing(slurred_octaves="no"),
            trials=Trials(other_instrument="fine", control_reed="fine"),
        ),
        first="fit-of-the-staple",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "thicker than yesterday",
        "The tip reads 0.02 mm more after twenty minutes in water: swollen. Dry it and measure "
        "again before believing either number.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(tip=mm(0.020, 0.010)), plain=BladeKnown(tip=mm(0.020, 0.010))
            ),
            history=History(soaked=20 * MINUTE, since_cut=14 * HOUR),
        ),
        first="water-logged",
        stops=("not-now",),
        nothing_lasting=True,
        first_remedy="dry",
    ),
    Scenario(
        "chirp and one thick corner",
        "One corner is 0.03 mm thicker than the other three, which agree: dust that corner.",
        Known(geometry=corners(0.03, 0.0, 0.0, 0.0), playing=say("it chirps on high G")),
        first="thick-corner",
        where=Where(Blade.MARKED, Side.LEFT),
    ),
    Scenario(
        "a little stuffy, wanted tomorrow",
        "Little is known, it plays, and the performance is in twenty hours: only what can be "
        "undone.",
        Known(playing=say("a little stuffy"), agreement=Agreement(concert_in=20 * HOUR)),
        answer="cannot_tell",
        stops=("concert-soon",),
        nothing_lasting=True,
    ),
    Scenario(
        "an old love",
        "28 hours, a film, sagging: worn. Clean it, expect days, copy its measures.",
        Known(
            history=History(played=28 * HOUR),
            trials=Trials(looked=True, look=frozenset({"film"})),
            playing=replace(say("it sags"), sags_when_lip_loosens="yes"),
        ),
        first="worn",
        also=("dirty",),
    ),
    Scenario(
        "cracked in the heating season",
        "A rail has cracked and splinters after the air fell to 18 %: do not play it; let the "
        "cane rise and write down how it dried.",
        Known(
            trials=Trials(looked=True, look=frozenset({"crack-scrape", "splinter"})),
            climate=Climate(humidity_home=0.45, humidity_now=0.18),
        ),
        first="crack-in-scrape",
        also=("splintered",),
        stops=("splintered", "crack-in-scrape"),
        no_cut=True,
    ),
    Scenario(
        "said flat, recorded sharp",
        "The player says flat, the recording lies 8 cents high, and it sags when the lip lets go: "
        "one of the two is about something else. Ask; do not cut.",
        Known(
            crow=Crow(played_cents=Measured(8.0, 4.0)),
            playing=replace(say("it is flat"), sags_when_lip_loosens="yes"),
        ),
        answer="cannot_tell",
        stops=("disagreement",),
        nothing_lasting=True,
    ),
    Scenario(
        "better after scrape and holiday",
        "It was cut and it rested a week: which of them helped cannot be told from it.",
        Known(
            history=History(changed_together="yes", rested=7 * DAY, last_cut="better"),
            climate=Climate(altitude_home=300.0, altitude_now=300.0),
        ),
        first="cannot-credit",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    # --- the cases of common practice
    Scenario(
        "centre of the tip no thicker than its sides",
        "Without a thicker centre the tip has no spine of its own and rattles. Thin sides and "
        "corners, leave the centre, draw the edges of the transition back; it is short already, "
        "so clip last if at all. Corners tear.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(
                    left=SideKnown(tip_slope=mm(-0.028)), right=SideKnown(tip_slope=mm(-0.026))
                ),
                plain=BladeKnown(
                    left=SideKnown(tip_slope=mm(-0.030)), right=SideKnown(tip_slope=mm(-0.027))
                ),
                length=mm(-0.8, 0.2),
                clipping_room=mm(0.9, 0.2),
            ),
            crow=Crow(clean=0.1, mixed=0.3, rattling=0.6, speaks="yes"),
            playing=say("too easy, and the crow is rattling"),
        ),
        first="tip-no-thicker-at-centre",
        first_remedy="dust-corners",
    ),
    Scenario(
        "steep on the left, shallow on the right, twice",
        "The same way on both blades as seen is the hand: name it, recut the shallow side.",
        Known(geometry=slopes(0.08, -0.05, 0.07, -0.05), playing=Playing(slurred_octaves="no")),
        first="hand-cuts-one-side-steep",
        where=Where(None, Side.LEFT),
    ),
    Scenario(
        "plain heart longer and heavier, opening uneven",
        "One heart is 0.055 mm heavier and longer too: ease that blade's heart only.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(heart=mm(-0.005), heart_length=mm(-0.2, 0.4)),
                plain=BladeKnown(heart=mm(0.050), heart_length=mm(1.1, 0.4)),
                opening_lopsided=mm(0.09, 0.05),
            ),
            playing=say("it wobbles"),
        ),
        first="heart-heavier",
        where=Where(Blade.PLAIN),
    ),
    Scenario(
        "the crow went with the last stroke",
        "Cutting on blindly takes more away. Stop and measure lengths, hearts and transition of "
        "both blades; then the lightest dusting, or rest.",
        Known(
            crow=Crow(speaks="no"),
            history=History(
                crow_lost="yes", last_cut="worse", since_cut=10 * MINUTE, cuts_since_measured=1
            ),
        ),
        first="lost-by-last-cut",
        stops=("crow-lost",),
        nothing_lasting=True,
    ),
    Scenario(
        "crack at the thread",
        "Everything that bends, wets or blows it opens the crack: nothing that loads it.",
        Known(trials=Trials(looked=True, look=frozenset({"crack-thread"}))),
        first="crack-at-thread",
        stops=("crack-at-thread",),
        nothing_lasting=True,
    ),
    Scenario(
        "six of six alike",
        "All six are hard with thick hearts: the cause is what they share, so one change for all.",
        Known(
            geometry=hearts(0.040, 0.045),
            trials=Trials(batch_alike=(6, 6)),
            playing=say("hard"),
        ),
        first="batch-alike",
        also=("heart-thick",),
        stops=("before-the-knife",),
        nothing_lasting=True,
        first_remedy="next-batch",
    ),
    # --- more of our own
    Scenario(
        "nick after a concert",
        "A nick is seen and it chirps: the nick is the cause that needs no theory.",
        Known(
            trials=Trials(looked=True, look=frozenset({"nick"})),
            playing=say("squeaks since last night"),
            geometry=Geometry(clipping_room=mm(1.8, 0.2)),
        ),
        first="nick",
    ),
    Scenario(
        "bubbles from the thread",
        "It does not hold suction, and air comes through the thread; no crack is seen there.",
        Known(trials=Trials(leaks="yes", bubbles="thread", looked=True)),
        first="thread-leak",
        first_remedy="seal",
    ),
    Scenario(
        "seven hundred strokes on one edge",
        "Ridges and lumps after 700 strokes: sharpen before anything is scraped.",
        Known(
            history=History(strokes_since_sharpened=700),
            trials=Trials(looked=True, look=frozenset({"ridge", "lump"})),
        ),
        first="blunt-knife",
        also=("lump-in-tip",),
        stops=("sharpen-first",),
        first_remedy="sharpen",
    ),
    Scenario(
        "tied yesterday",
        "A day old and just cut: the cane will rise overnight, so any verdict is early.",
        Known(history=History(since_tied=1 * DAY, since_cut=15 * MINUTE)),
        first="too-fresh",
        stops=("not-now",),
        nothing_lasting=True,
    ),
    Scenario(
        "better after water",
        "One minute in water, closed, and well again after a fresh soak: it was dry.",
        Known(
            history=History(soaked=1 * MINUTE),
            trials=Trials(re_soaked="better"),
            playing=say("closed up"),
        ),
        first="dried-out",
        stops=("not-now",),
        nothing_lasting=True,
        first_remedy="re-soak",
    ),
    Scenario(
        "down from the high valley",
        "Eased for 2,300 m, soft and flat at the coast: play it two days before clipping.",
        Known(
            climate=Climate(altitude_home=2300.0, altitude_now=20.0, here_for=3 * HOUR),
            playing=say("loose and flat"),
        ),
        first="lower-place",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "unequal before it was scraped",
        "The bark differs by 0.04 mm, and so do the hearts: taking it out of the heart would take "
        "the heart. Leave this reed and look at the gouger.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(gouge=mm(0.020), heart=mm(0.015)),
                plain=BladeKnown(gouge=mm(-0.020), heart=mm(-0.015)),
            )
        ),
        first="gouge-uneven",
        where=Where(Blade.MARKED),
        first_remedy="next-batch",
    ),
    Scenario(
        "thread a millimetre too far",
        "Tied 1 mm past the staple's top and too closed: the throat is pinched; no knife helps.",
        Known(geometry=Geometry(tie_beyond=mm(1.0, 0.2), opening=mm(-0.12, 0.06))),
        first="throat-pinched",
    ),
    Scenario(
        "stands open",
        "A quarter of a millimetre too open and hard to play softly: press it and wait a day; the "
        "back comes last because that lasts.",
        Known(geometry=Geometry(opening=mm(0.25, 0.06)), playing=say("too open, no pianissimo")),
        first="too-open",
        first_remedy="rest",
    ),
    Scenario(
        "windows like glass",
        "Windows and spine far below what is wanted, low octave first, rattling: no stroke helps.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(
                    spine=mm(-0.04),
                    left=SideKnown(window=mm(-0.06)),
                    right=SideKnown(window=mm(-0.06)),
                ),
                plain=BladeKnown(
                    spine=mm(-0.04),
                    left=SideKnown(window=mm(-0.05)),
                    right=SideKnown(window=mm(-0.06)),
                ),
                at_floor=frozenset({"windows", "spine"}),
            ),
            crow=Crow(first="low"),
            playing=say("rattles"),
        ),
        first="windows-deep",
        stops=("floor",),
    ),
    Scenario(
        "back hardly opened",
        "Windows 0.06 mm thick and only the high octave in a slow swell: one pass in the back.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(
                    left=SideKnown(window=mm(0.06)), right=SideKnown(window=mm(0.06))
                ),
                plain=BladeKnown(left=SideKnown(window=mm(0.06)), right=SideKnown(window=mm(0.05))),
            ),
            crow=Crow(first="high", cents=Measured(35.0, 8.0)),
            trials=Trials(control_reed="fine", leaks="no"),
        ),
        first="back-thick",
    ),
    Scenario(
        "somebody else's thick tip",
        "The tip is 0.025 mm thick and late, and the owner has not been asked: hygiene, a "
        "question, and no stroke.",
        Known(
            geometry=Geometry(
                marked=BladeKnown(tip=mm(0.025, 0.006)), plain=BladeKnown(tip=mm(0.024, 0.006))
            ),
            playing=replace(say("late"), low_soft_attack="no"),
            agreement=Agreement(others_reed=True),
        ),
        first="tip-thick",
        stops=("ask-owner",),
        nothing_lasting=True,
    ),
    Scenario(
        "three tests and no gain",
        "A little thick in the heart, but three cuts brought nothing: stop for today.",
        Known(
            geometry=hearts(0.055, 0.050),
            playing=say("hard"),
            history=History(tests_without_gain=3),
        ),
        first="heart-thick",
        stops=("three-tests",),
        no_cut=True,
    ),
    Scenario(
        "cold church",
        "11 degrees, played notes flat, crow clean, another player and a warm oboe are fine.",
        Known(
            climate=Climate(temperature_now=284.0),
            crow=replace(CLEAN, played_cents=Measured(-18.0, 5.0)),
            trials=Trials(other_player="fine"),
        ),
        first="cold-or-loose",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "the ninetieth minute",
        "An hour and a half of crowing, even the control reed sounds wrong, a colleague likes "
        "both: it is the ear.",
        Known(
            history=History(crowing=90 * MINUTE),
            trials=Trials(control_reed="fails", other_player="fine"),
        ),
        first="tired-ear",
        stops=("not-the-reed",),
        nothing_lasting=True,
    ),
    Scenario(
        "one physical edge thin on both blades",
        "Left on the marked and right on the plain blade are one edge of the reed: not the hand, "
        "whose thin corners lie diagonally, but slip, shape or gouge.",
        Known(geometry=corners(-0.028, 0.0, 0.0, -0.028, u=0.005)),
        first="edge-thin-on-both",
        where=Where(Blade.MARKED, Side.LEFT),
    ),
    Scenario(
        "hearts within the gauge's error",
        "0.015 mm between hearts known to 0.011 mm is no difference anybody measured.",
        Known(geometry=hearts(0.008, -0.007)),
        answer="cannot_tell",
    ),
    Scenario(
        "one read wet, one read dry",
        "Readings in unlike wet states say nothing about the difference of the blades.",
        Known(
            geometry=hearts(0.03, -0.03),
            history=History(wet_states_alike="no"),
            playing=say("wobbles"),
        ),
        answer="cannot_tell",
        stops=("unlike-wet-states",),
        nothing_lasting=True,
    ),
    Scenario(
        "a good reed", "Everything looked at, nothing stands out.", SOUND, answer="no_finding"
    ),
    Scenario("a reed nobody looked at", "Nothing is known.", Known(), answer="cannot_tell"),
)


def _supported(found: Findings) -> dict[str, Support]:
    best: dict[str, Support] = {}
    for r in found.ranked:
        if r.support in GOOD:
            best.setdefault(r.finding.code, r.support)
    return best


@pytest.mark.parametrize("story", STORIES, ids=lambda s: s.name)
def test_the_story_ends_as_it_must(story: Scenario) -> None:
    found = rank(story.known)
    assert found.answer == story.answer
    supported = _supported(found)
    first = found.ranked[0]
    if story.first is None:
        assert not supported
    else:
        assert (first.finding.code, first.where) == (story.first, story.where)
        assert first.support in GOOD
    assert set(story.also) <= set(supported)
    assert {s.code for s in found.stops} == set(story.stops)
    if story.first_remedy is not None:
        assert first.remedies[0] == story.first_remedy
    remedies = catalogue().remedies
    if story.no_cut:
        assert not any(remedies[c].cuts for r in found.ranked for c in r.remedies)
    if story.nothing_lasting:
        lasting = {c for r in found.ranked for c in r.remedies if not remedies[c].undoable}
        assert lasting <= {"retire"}


def test_names_of_stories_differ() -> None:
    assert len({s.name for s in STORIES}) == len(STORIES) >= 36


def _first(name: str) -> tuple[Findings, object]:
    story = next(s for s in STORIES if s.name == name)
    return rank(story.known), story


def test_a_flat_tip_is_not_scraped_in_the_middle_and_corners_are_warned_of() -> None:
    found, _ = _first("centre of the tip no thicker than its sides")
    best = found.ranked[0]
    assert best.remedies == ("dust-corners", "draw-back-edges", "clip")
    assert "tear" in best.cautions


def test_an_unequal_pair_of_hearts_is_never_evened_by_the_lighter_blade() -> None:
    found, _ = _first("wobble with one heavy heart")
    assert found.ranked[0].where == Where(Blade.MARKED)
    other = next(
        r
        for r in found.ranked
        if r.finding.code == "heart-heavier" and r.where.blade is Blade.PLAIN
    )
    assert other.support is Support.UNLIKELY


def test_a_cracked_reed_is_spared_in_the_checks_too() -> None:
    found, _ = _first("crack at the thread")
    checks = catalogue().checks
    assert not any(checks[n.code].loads for n in found.next)
    assert found.parting is None or not checks[found.parting.code].loads
    assert not any(catalogue().remedies[c].loads for r in found.ranked for c in r.remedies)


def test_after_a_lost_crow_measuring_opens_the_way_to_dusting_again() -> None:
    story = next(s for s in STORIES if s.name == "the crow went with the last stroke")
    measured = replace(
        story.known,
        history=replace(story.known.history, cuts_since_measured=0),
        geometry=Geometry(
            length=mm(0.0, 0.2),
            marked=BladeKnown(heart=mm(0.0), left=SideKnown(transition=mm(0.0, 0.3))),
            plain=BladeKnown(heart=mm(0.0), right=SideKnown(transition=mm(0.0, 0.3))),
        ),
    )
    found = rank(measured)
    assert "crow-lost" not in {s.code for s in found.stops}
    assert "dust-tip" in found.ranked[0].remedies


def test_what_was_said_against_the_recording_is_asked_with_its_number() -> None:
    found, _ = _first("said flat, recorded sharp")
    (question,) = found.questions
    assert question.code == "flat-or-sharp"
    assert question.value == pytest.approx(8.0)
    weighed = {w.code for r in found.ranked for w in (*r.for_, *r.against)}
    assert not {"word-flat", "played-cents"} & weighed


def test_a_settled_reed_in_a_high_place_may_be_dusted() -> None:
    story = next(s for s in STORIES if s.name == "posted to the mountains")
    settled = replace(story.known, climate=replace(story.known.climate, here_for=3 * DAY))
    first = rank(settled).ranked[0]
    assert first.finding.code == "higher-place"
    assert "dust-tip" in first.remedies
    assert not {"back", "heart"} & set(first.remedies)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_what_comes_first_hangs_little_on_the_priors(factor: float) -> None:
    of = catalogue()
    findings = {
        code: replace(f, prior_odds=f.prior_odds * factor) for code, f in of.findings.items()
    }
    changed = [
        s.name
        for s in STORIES
        if s.first
        and rank(s.known, of=replace(of, findings=findings)).ranked[0].finding.code != s.first
    ]
    # two findings that may come in either order, such as a slip and the leak it makes
    assert len(changed) <= 2, changed
