"""Every sentence goes through the catalogue; numbers read as they should."""

from __future__ import annotations

import gettext
import math
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

import crowlight.report.words as module
from crowlight.bench.kinds import KINDS
from crowlight.judge import Outcome, Pairing
from crowlight.reed import Blade, CaneState, Side, instruments
from crowlight.reed.styles import STYLE_CODES
from crowlight.report.catalogue import POT, catalogue
from crowlight.report.words import STYLES, Shown, Words, in_locale


def test_the_catalogue_is_in_step_with_code_and_templates():
    same = POT.read_bytes() == catalogue()
    assert same, "renew it: python -m crowlight.report.catalogue"


def test_the_catalogue_holds_sentences_of_code_and_templates_alike():
    text = POT.read_text(encoding="utf-8")
    for sentence in ("no difference the gauge can see", "Write it down", "Overall length"):
        assert f'msgid "{sentence}"' in text
    assert 'msgid_plural "%(count)s reeds"' in text


def test_every_code_has_a_sentence():
    words = in_locale("en")
    assert [words.outcome(o) for o in Outcome] == [
        "differs",
        "no difference the gauge can see",
        "not measured",
    ]
    for said in (
        *map(words.pairing, Pairing),
        *map(words.blade, Blade),
        *map(words.side, Side),
        *map(words.state, CaneState),
        *map(words.group, CaneState),
    ):
        assert said
    for kind in KINDS:
        assert words.kind(kind) != kind
    assert set(STYLES) == set(STYLE_CODES)
    assert words.style("of my own") == "of my own"
    for code in instruments():
        assert words.gauge(code) != code


def test_no_text_of_a_template_goes_past_the_catalogue():
    package = Path(module.__file__).parent.parent
    for file in [
        *package.glob("report/templates/*.html"),
        *package.glob("web/templates/**/*.html"),
    ]:
        text = file.read_text(encoding="utf-8")
        text = re.sub(r"\{#.*?#\}", "", text, flags=re.S)
        text = re.sub(r"<pre.*?</pre>|<style.*?</style>", "", text, flags=re.S)
        text = re.sub(r"\{% trans.*?\{% endtrans %\}", "", text, flags=re.S)
        text = re.sub(r"\{[{%].*?[%}]\}", "", text, flags=re.S)
        bare = [b for b in re.findall(r">([^<]*[A-Za-z]{2,}[^<]*)<", text) if "=" not in b]
        left = [b.replace("crowlight", "").strip(" :·\n") for b in bare]
        assert [b for b in left if b] == [], file


def test_a_translation_needs_no_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    with POT.open("rb") as source:
        translated = read_po(source, locale="de")
    translated.get("differs").string = "abweichend"
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    with (folder / "crowlight.mo").open("wb") as out:
        write_mo(out, translated)
    found = gettext.translation("crowlight", tmp_path, ["de"])
    monkeypatch.setattr(module, "_catalogue", lambda _: found)
    assert Words("de").outcome(Outcome.DIFFERS) == "abweichend"
    assert Words("de").outcome(Outcome.NOT_MEASURED) == "not measured"


@pytest.mark.parametrize(
    ("value", "digits", "signed", "said"),
    [
        (0.456, 2, False, "0.46"),
        (-0.456, 2, False, "−0.46"),
        (0.456, 2, True, "+0.46"),
        (-0.0004, 3, True, "0.000"),
        (1234.5, 1, False, "1,234.5"),
        (math.nan, 2, False, "–"),
        (None, 2, True, "–"),
        (12.0, 0, False, "12"),
    ],
)
def test_numbers(value, digits, signed, said):
    assert in_locale("en").number(value, digits, signed=signed) == said


def test_lengths_and_intervals():
    words = in_locale("en")
    assert words.mm(0.0702, 1) == "70.2\u00a0mm"
    assert words.mm(math.inf) == "–"
    assert words.interval(-0.3e-4, 0.2e-4) == "−0.030 to +0.020"
    assert words.span(-0.084e-3, -0.016e-3) == "0.016 to 0.084"
    assert words.interval(math.nan, 1.0) == "–"
    assert Words("de").number(0.46) == "0,46"


def test_moments_have_no_seconds():
    said = in_locale("en").moment(datetime(2026, 3, 1, 12, 34, 56, tzinfo=UTC))
    assert "2026" in said
    assert ":56" not in said


def test_text_that_would_turn_itself_round_is_made_visible():
    assert module.literal("a\u202eb\u2066c\u200fd") == "a[U+202E]b[U+2066]c\u200fd"


@pytest.mark.parametrize(
    ("unit", "thick", "signed", "fine"),
    [
        ("mm", "0.460\N{NO-BREAK SPACE}mm", "+0.012", "0.46"),
        ("hundredths", "46.0\N{NO-BREAK SPACE}hundredths", "+1.2", "46"),
        ("um", "460\N{NO-BREAK SPACE}µm", "+12", "460"),
    ],
)
def test_thickness_is_shown_in_the_unit_of_the_maker(unit, thick, signed, fine):
    words = in_locale("en", Shown(unit=unit))
    assert words.thick(0.46e-3) == thick
    assert words.thin(0.012e-3, signed=True) == signed
    assert words.thin(0.46e-3, 2) == fine
    assert words.mm(70.2e-3, 1) == "70.2\N{NO-BREAK SPACE}mm"  # a length stays in millimetres
    assert words.thick(None) == words.thick(float("nan")) == "–"


def test_numbers_may_follow_another_country_than_the_sentences():
    words = in_locale("en", Shown(numbers="de"))
    assert words.number(1234.5, 1) == "1.234,5"
    assert words.interval(0.01e-3, 0.02e-3) == "+0,010 to +0,020"
