"""The letter: what it says follows from what was written down, and it comes out as it was meant."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from uuid import UUID

import pytest
import vl_convert
from tests.pictures import PLACE, jpeg, png
from tests.posted_desk import fonts_of, posted_desk, text_of, told_of

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Climate, Cut
from crowlight.bench.pictures import Picture
from crowlight.bench.places import SiteAsked
from crowlight.bench.ports import Player
from crowlight.bench.story import Story
from crowlight.bench.workshop_kinds import LETTER_PARTS, Consent, Intake, Letter, Outcome, Photo
from crowlight.reed import Blade
from crowlight.report.letter import blocks, letter_content, letter_html, letter_pdf
from crowlight.report.letter_findings import differing, named
from crowlight.report.letter_text import draft, glossary
from crowlight.report.words import in_locale
from crowlight.wiring import open_desk

WORDS = in_locale("en")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with posted_desk(tmp_path_factory.mktemp("posted")) as opened:
        yield opened


@pytest.fixture(scope="module")
def wigeon(desk: Desk) -> Story:
    return desk.posted.story("Wigeon")


@pytest.fixture(scope="module")
def siskin(desk: Desk) -> Story:
    return desk.posted.story("Siskin")


# --- what it says ---------------------------------------------------------------------------------


def test_the_story_keeps_before_and_after_apart(wigeon: Story):
    kinds = [e.payload.kind for e in wigeon.work]
    assert kinds == ["treated", "cut", "cut"]
    assert not {"treated", "cut"} & {e.payload.kind for e in wigeon.arrival.entries}
    assert wigeon.measured_again
    assert wigeon.crow_before is not None
    assert wigeon.crow_after is not None
    assert wigeon.crow_before.at < wigeon.work[0].happened_at < wigeon.crow_after.at


def test_what_was_found_carries_its_interval(wigeon: Story):
    found = draft(wigeon, words=WORDS).parts["found"]
    sentence = re.search(
        r"Tip of the marked blade: the left side is thicker than the right, "
        r"by (\S+)\smm \((\S+) to (\S+)\)",
        found,
    )
    assert sentence, found
    value, low, high = map(float, sentence.groups())
    assert low < value < high
    assert low > 0.0  # else it would not be named
    assert "95 %" in found


def test_differences_that_say_the_same_again_are_counted(wigeon: Story):
    """The letter names fewer than the reed's page counts; it says so."""
    again = len(differing(wigeon.arrival)) - len(named(wigeon.arrival))
    found = draft(wigeon, words=WORDS).parts["found"]
    assert again > 0
    assert ("say the same again" in found) or ("says the same again" in found)
    assert str(again) in found or again == 1


def test_the_air_is_that_of_before_the_work(tmp_path: Path):
    with open_desk(tmp_path) as desk:
        desk.add_reed("Dunlin")
        desk.write("Dunlin", Intake(complaint="Too hard."))
        desk.write("Dunlin", Climate(humidity=0.0045))  # a slip, not corrected but said again
        desk.write("Dunlin", Climate(temperature=294.15, humidity=0.45))
        desk.write("Dunlin", Treated(what="cleaned"))
        desk.write("Dunlin", Climate(humidity=0.7))
        parts = draft(desk.posted.story("Dunlin"), words=WORDS).parts
    assert "The air in my workshop: 21 °C and 45 % humidity." in parts["came"]


def test_what_was_done_is_what_was_written_down(wigeon: Story):
    done = draft(wigeon, words=WORDS).parts["done"]
    assert "Knife: tip, marked blade, left as seen facing it, 4 light strokes." in done
    assert "The chirp was gone, so I stopped there." in done
    assert "Cleaned. Lukewarm water and a soft brush." in done
    assert "35 minutes" in done
    before, after = re.search(r"left and right: (\S+)\smm apart before, (\S+) now", done).groups()
    assert float(after) < float(before)


def test_consent_is_told_as_it_was_given(siskin: Story, wigeon: Story):
    assert (
        "I asked before I cut, and you agreed (by telephone, 17 March)."
        in (draft(siskin, words=WORDS).parts["done"])
    )
    assert "I asked" not in draft(wigeon, words=WORDS).parts["done"]


def test_the_places_are_theirs(siskin: Story, wigeon: Story):
    high, low = (draft(s, words=WORDS).parts["expect"] for s in (siskin, wigeon))
    assert "You play 2,350 m above sea level; my workshop lies at 6 m." in high
    assert "24 % humidity" in high
    assert "You play 4 m above sea level" in low
    assert "66 % humidity" in low
    # the canned journey: -6.8 to 9.7 %
    assert "anywhere from 7 % easier to 10 % harder: which, cannot be told" in high


def test_only_who_uses_a_knife_is_offered_one(siskin: Story, wigeon: Story):
    with_knife, without = (draft(s, words=WORDS) for s in (wigeon, siskin))
    assert with_knife.change is not None
    assert "two light strokes" in with_knife.parts["try"]
    assert "cane dust is bad for the lungs" in with_knife.parts["try"]
    assert without.change is None
    assert "No knife is needed" in without.parts["try"]
    unknown = replace(wigeon, player=Player(uuid=wigeon.player.uuid, name="x", uses_knife=None))
    drafted = draft(unknown, words=WORDS)
    assert drafted.change is None
    assert any("uses a knife is not known" in hint for hint in drafted.hints)


def test_the_change_to_try_is_on_the_thicker_side(wigeon: Story):
    change = draft(wigeon, words=WORDS).change
    assert (change.zone, change.blade) == ("tip", Blade.MARKED)
    assert change.side == "left"


def test_what_nobody_said_is_asked(siskin: Story, wigeon: Story):
    asked = draft(siskin, words=WORDS).parts["questions"]
    assert "Is there anything you do not bear" in asked
    assert "Is there anything you do not bear" not in draft(wigeon, words=WORDS).parts["questions"]


def test_nothing_done_and_nothing_known_is_said(desk: Desk):
    parts = draft(desk.posted.story("Teal"), words=WORDS).parts
    assert "I have not measured the thickness" in parts["found"]
    assert "I did nothing to it" in parts["done"]
    assert "no knife touched it" in parts["left-alone"]


def test_an_unknown_altitude_foretells_nothing(siskin: Story):
    nowhere = replace(siskin, to=None, travel=None, no_travel="to")
    expect = draft(nowhere, words=WORDS).parts["expect"]
    assert "I do not know how high above the sea" in expect
    assert "%" not in expect


def test_a_model_without_an_answer_foretells_nothing(siskin: Story):
    silent = replace(siskin, travel=None, no_travel="too few draws sound")
    expect = draft(silent, words=WORDS).parts["expect"]
    assert "You play 2,350 m" in expect
    assert "My model has no answer for this reed" in expect


def test_a_usual_climate_is_said_to_be_one(siskin: Story):
    to = SiteAsked(name="x", altitude=2350.0, season="heated-winter")
    expect = draft(replace(siskin, to=to), words=WORDS).parts["expect"]
    assert "Nobody measured the air of the hall; I took what is usual: heated, in winter" in expect


def test_a_cut_without_a_reason_is_a_hint_not_an_invention(wigeon: Story):
    bare = tuple(
        replace(e, payload=e.payload.model_copy(update={"remark": ""})) for e in wigeon.work
    )
    drafted = draft(replace(wigeon, work=bare), words=WORDS)
    assert sum("No reason was written down" in hint for hint in drafted.hints) == sum(
        isinstance(e.payload, Cut) for e in bare
    )


def test_a_cut_without_asking_is_told(wigeon: Story):
    entry = replace(wigeon.work[0], payload=Consent(to="cut", answer="not-asked"))
    state = replace(wigeon.now.state, entries=(*wigeon.now.state.entries, entry))
    told = replace(wigeon, now=replace(wigeon.now, state=state))
    assert "I cut it without having asked you." in draft(told, words=WORDS).parts["done"]


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (
            Outcome(outcome="broke", reason="cracked", where="bench"),
            "It broke on the bench. Cracked.",
        ),
        (Outcome(outcome="broke", where="not-known", remark="I found it so."), "It broke. I found"),
        (Outcome(outcome="given-up"), "I gave it up"),
    ],
)
def test_a_reed_that_broke_is_told_honestly_and_needs_no_care(wigeon: Story, outcome, said: str):
    ended = replace(wigeon, posting=replace(wigeon.posting, outcome=outcome))
    drafted = draft(ended, words=WORDS)
    assert said in drafted.parts["done"]
    assert not {"care", "try", "expect"} & set(drafted.parts)
    assert drafted.change is None
    well = replace(wigeon.posting, outcome=Outcome(outcome="sellable"))
    assert "care" in draft(replace(wigeon, posting=well), words=WORDS).parts


def test_a_student_gets_one_observation_and_one_exercise(wigeon: Story):
    parts = draft(wigeon, words=WORDS, student=True).parts
    assert set(parts) <= {"greeting", "came", "found", "done", "care", "try", "closing"}
    found = parts["found"]
    assert found.count("\n- ") + found.startswith("- ") == 1
    assert parts["try"].count("Exercise:") == 1
    content = letter_content(wigeon, words=WORDS, student=True)
    assert content.form == ()


def test_trade_words_are_explained_once_each():
    text = "The heart and the HEART, tips, crow; nothing of the back."
    assert [term for term, _ in glossary(text, WORDS)] == ["tip", "heart", "crow"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", []),
        ("one", [(("one",), ())]),
        ("a\nb\n\nc", [(("a", "b"), ()), (("c",), ())]),
        ("head\n- a\n- b\ntail", [(("head",), ()), ((), ("a", "b")), (("tail",), ())]),
        ("-not a list", [(("-not a list",), ())]),
    ],
)
def test_paragraphs_and_lists(text: str, found: list):
    assert [(b.lines, b.items) for b in blocks(text)] == found


# --- how it comes out -----------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", "A4"), ("letter", "letter")])
def test_the_pdf_is_tagged_and_brings_its_fonts(wigeon: Story, paper, size, tmp_path: Path):
    made = letter_pdf(letter_content(wigeon, words=WORDS), words=WORDS, paper=paper)
    assert made.accessible  # typst's own checks for PDF/UA-1 (ISO 14289-1) passed
    told = told_of(made.pdf)
    assert re.search(r"Tagged:\s+yes", told)
    assert re.search(r"Title:\s+About your reed “Wigeon”", told)
    assert f"({size})" in told
    # ISO 14289-1, 5: the file says that it is PDF/UA part 1
    assert b"pdfuaid" in made.pdf
    fonts = fonts_of(made.pdf, tmp_path)
    assert fonts
    for line in fonts:
        embedded, subset, unicode = re.search(r"\s(yes|no)\s+(yes|no)\s+(yes|no)\s", line).groups()
        assert (embedded, subset, unicode) == ("yes", "yes", "yes"), line


def test_pdf_and_page_say_the_same(siskin: Story):
    content = letter_content(siskin, words=WORDS)
    page = html.unescape(re.sub(r"<[^>]+>", " ", letter_html(content, words=WORDS)))
    page = " ".join(page.split())
    pdf = text_of(letter_pdf(content, words=WORDS).pdf)
    squeezed = pdf.replace(" ", "")
    for part in content.parts:
        for block in part.blocks:
            for line in (*block.lines, *block.items):
                assert " ".join(line.split()) in page
                assert "".join(line.split()) in squeezed
    for question in content.form:
        assert question.asks in page
        assert "".join(question.asks.split()) in squeezed
    assert "Invented: the people, the places and every number." in page
    assert len(content.pictures) == 6  # both blades and the crow, before and after


HOSTILE = (
    '#panic("x") #import "y" *b* _i_ $x$ `raw` @ref <label> = h\n'
    "- item <script>alert(2)</script> // not a comment\n"
    "<script>alert(1)</script> {{ 7*7 }} {% x %} %(name)s \\u{41} [t](u) ~ -- 'q' \"d\""
)


def test_hostile_text_is_printed_as_it_is(wigeon: Story):
    intake = Intake(complaint=HOSTILE, may_cut="yes")
    posting = wigeon.posting
    hostile = replace(
        wigeon,
        posting=replace(posting, intake=intake),
        player=Player(uuid=wigeon.player.uuid, name='"><img src=x onerror=1> #x', uses_knife=True),
    )
    content = letter_content(hostile, words=WORDS)
    page = letter_html(content, words=WORDS)
    assert "<script>alert" not in page
    assert "<img src=x" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "{{ 7*7 }} {% x %} %(name)s" in page
    made = letter_pdf(content, words=WORDS)
    assert made.accessible
    squeezed = text_of(made.pdf).replace(" ", "")
    for piece in HOSTILE.replace("\n- item", "\n item").split():
        assert piece in squeezed
    assert '"><img' in squeezed


def test_characters_that_turn_text_round_are_made_visible(wigeon: Story):
    kept = Letter(parts={"came": "abc \u202e fed"})
    content = letter_content(wigeon, words=WORDS, kept=kept)
    assert "[U+202E]" in letter_html(content, words=WORDS)
    assert "[U+202E]" in text_of(letter_pdf(content, words=WORDS).pdf)


def test_an_edited_letter_is_what_is_sent(wigeon: Story):
    kept = Letter(parts={"greeting": "Hello Lene,", "closing": "Isa"})
    content = letter_content(wigeon, words=WORDS, kept=kept)
    assert [p.name for p in content.parts] == ["greeting", "closing"]
    text = text_of(letter_pdf(content, words=WORDS).pdf)
    assert "Hello Lene, Isa" in text
    assert "What I found" not in text


def test_photographs_go_without_the_place(desk: Desk, wigeon: Story):
    first = wigeon.work[0].happened_at
    kept = [
        desk.posted.keep_photo("Wigeon", data, shows="tip", remark=remark, at=first)
        for data, remark in ((jpeg(), "#a"), (png(60, 40), "second"))
    ]
    story = desk.posted.story("Wigeon", travel=False)
    assert [e.uuid for e in story.photos_before] == [k.entries[0].uuid for k in kept]
    content = letter_content(
        story, words=WORDS, photo=lambda entry: desk.posted.photo("Wigeon", entry)
    )
    page, made = letter_html(content, words=WORDS), letter_pdf(content, words=WORDS)
    assert made.accessible
    assert page.count("data:image/jpeg;base64,") == 2
    assert PLACE not in made.pdf
    assert "The tip, as it came. #a" in text_of(made.pdf)


def test_photographs_against_the_light_take_no_place_from_others(tmp_path: Path):
    with open_desk(tmp_path) as desk:
        desk.add_reed("Ruff")
        for n, shows in enumerate(("light", "light", "damage")):
            desk.posted.keep_photo("Ruff", png(20 + n, 10), shows=shows)
        before = desk.posted.story("Ruff", travel=False).photos_before
        told = [e.payload.shows for e in before if isinstance(e.payload, Photo)]
    assert told == ["damage", "light"]


def test_photographs_are_printed_no_larger_than_paper_shows(desk: Desk, siskin: Story):
    dots = "".join(f'<circle cx="{n * 37 % 2400}" cy="{n * 91 % 1800}" r="9"/>' for n in range(999))
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="2400" height="1800">{dots}</svg>'
    large = vl_convert.svg_to_jpeg(svg, scale=1.0, quality=98)
    desk.posted.keep_photo("Siskin", large, shows="whole", at=siskin.work[0].happened_at)

    def as_kept(entry: UUID) -> Picture:
        return desk.posted.photo("Siskin", entry)

    story = desk.posted.story("Siskin", travel=False)
    plain = letter_pdf(letter_content(story, words=WORDS), words=WORDS).pdf
    made = letter_pdf(letter_content(story, words=WORDS, photo=as_kept), words=WORDS).pdf
    assert b"/Width 1600" in made
    assert b"/Width 2400" not in made
    # pixels go as (1600 / 2400) squared, and the quality of 85 is less than that of 98
    assert len(made) - len(plain) < len(large) / 2


def test_every_part_has_its_place_in_the_draft(wigeon: Story):
    assert list(draft(wigeon, words=WORDS).parts) == list(LETTER_PARTS)
