"""The catalogue holds together: what it refers to is there, and can be found out."""

from __future__ import annotations

from importlib.resources import files

import pytest

from crowlight.errors import InputError
from crowlight.judge.findings import catalogue, heard, source_sentences
from crowlight.judge.findings.finding import GROUPS, SOURCES, Finding
from crowlight.judge.findings.load import COUNTS, read_catalogue
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.sentences import _sentences
from crowlight.judge.findings.signs import SIGNS, WORDS
from crowlight.judge.findings.stops import _table

ALL = list(catalogue().findings.values())
FOLDER = files("crowlight.judge.findings") / "catalogue"
TEXTS = {
    name: (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    for name in ("checks", "remedies", "cautions")
}
#: A catalogue of one finding, to spoil.
ONE = """
[[finding]]
code = "lump"
title = "A lump"
advice = "Take it off."
group = "tip"
prior_odds = [0.1, "cp"]
causes = ["A blunt knife."]
evidence = [{ measure = "lump", shift = 0.02, spread = 0.01 }]
remedies = ["spot", "record"]
cautions = ["knife"]
basis = "cp"
"""


def _by_code(f: Finding) -> str:
    return f.code


def test_there_are_enough_findings_in_every_group() -> None:
    assert len(ALL) >= 45
    assert {f.group for f in ALL} == set(GROUPS)


@pytest.mark.parametrize("finding", ALL, ids=_by_code)
def test_a_finding_is_whole(finding: Finding) -> None:
    assert finding.title
    assert finding.advice.endswith(".")
    assert finding.causes
    assert finding.evidence
    assert finding.remedies
    assert {finding.prior_source, finding.basis} <= set(SOURCES)
    codes = [item.code for item in finding.evidence]
    assert len(codes) == len(set(codes))
    # something can speak for it
    assert any(i.kind != "sign" or i.if_so > i.otherwise for i in finding.evidence)


@pytest.mark.parametrize("finding", ALL, ids=_by_code)
def test_remedies_climb_the_ladder(finding: Finding) -> None:
    steps = [catalogue().remedies[r].step for r in finding.remedies]
    assert steps == sorted(steps)


@pytest.mark.parametrize("finding", ALL, ids=_by_code)
def test_the_check_against_a_rival_bears_on_one_of_the_two(finding: Finding) -> None:
    for rival, check in finding.rivals.items():
        assert rival != finding.code
        other = catalogue().findings[rival]
        items = {i.code for i in (*finding.evidence, *other.evidence)}
        assert catalogue().checks[check].tells & items, (rival, check)


def test_most_findings_have_a_rival() -> None:
    assert sum(not f.rivals for f in ALL) <= 5


def test_all_evidence_but_words_is_answered_by_a_check() -> None:
    told = frozenset().union(*(c.tells for c in catalogue().checks.values()))
    used = {i.code for f in ALL for i in f.evidence}
    assert {code for code in used - told if not code.startswith("word-")} == set()


def test_every_quantity_and_sign_is_used_and_has_its_sentence() -> None:
    used = {i.code for f in ALL for i in f.evidence}
    assert used == {*MEASURES, *SIGNS, *COUNTS}
    words = _sentences()
    assert set(words["measures"]) == set(MEASURES)
    assert set(words["signs"]) == set(SIGNS)
    assert set(words["counts"]) == set(COUNTS)
    assert set(words["groups"]) == set(GROUPS)


def test_a_failing_control_reed_speaks_against_every_fault_of_the_reed() -> None:
    elsewhere = {"not-the-reed", "damage", "not-now"}
    for finding in ALL:
        found = [i for i in finding.evidence if i.code == "control-fails"]
        if finding.group not in elsewhere:
            assert [i.if_so < i.otherwise for i in found] == [True], finding.code
    leaks = catalogue().findings["oboe-leaks"]
    (own,) = [i for i in leaks.evidence if i.code == "control-fails"]
    assert own.if_so > 0.9


def test_what_cuts_warns_of_knife_and_dust() -> None:
    for remedy in catalogue().remedies.values():
        if remedy.cuts:
            assert "knife" in remedy.cautions
            assert remedy.zone
        if remedy.cuts and remedy.zone != "length":
            assert "dust" in remedy.cautions
        assert remedy.undoable != remedy.cuts or remedy.code in {"retie", "retire"}


def test_nobody_is_told_to_blow_harder() -> None:
    for text in source_sentences():
        assert "blow harder" not in text.lower() or "do not blow harder" in text.lower()


def test_sentences_are_filled_by_name_only() -> None:
    values = {"value": "1", "uncertainty": "1", "where": "here", "seen": "1", "of": "2"}
    for text in source_sentences():
        assert text
        filled = text % values if "%(" in text else text
        assert "%(" not in filled


def test_priors_add_up_to_a_few_findings_a_reed() -> None:
    # a reed that comes to the bench has something, not everything
    expected = sum(f.prior_odds / (1 + f.prior_odds) for f in ALL)
    assert 1.5 < expected < 5.0


@pytest.mark.parametrize(
    ("wrong", "right", "message"),
    [
        ("", 'code = "lump"\n', "'code' is missing"),
        ("prior_odds = [1.5", "prior_odds = [0.1", "prior odds 1.5"),
        ('group = "nose"', 'group = "tip"', "'lump': group"),
        ('measure = "weight"', 'measure = "lump"', "'weight' is missing or not known"),
        ("spread = 0.0 ", "spread = 0.01 ", "spread above 0"),
        ('["sand"', '["spot"', "names the remedy 'sand'"),
        ('cautions = ["bees"]', 'cautions = ["knife"]', "names the caution 'bees'"),
        ("[[finding", "[[finding]]", "catalogue: "),
    ],
)
def test_a_spoilt_catalogue_is_refused_by_name(wrong: str, right: str, message: str) -> None:
    assert right in ONE
    with pytest.raises(InputError, match=message.replace("(", "\\(")):
        read_catalogue([*TEXTS.values(), ONE.replace(right, wrong)])


def test_a_finding_may_not_stand_there_twice() -> None:
    with pytest.raises(InputError, match="'lump' stands there twice"):
        read_catalogue([*TEXTS.values(), ONE, ONE])


def test_a_small_catalogue_is_read_in_si() -> None:
    (item,) = read_catalogue([*TEXTS.values(), ONE]).findings["lump"].evidence
    assert (item.shift, item.spread) == pytest.approx((2e-5, 1e-5))


@pytest.mark.parametrize(
    ("said", "codes"),
    [
        ("", set()),
        ("Hard, and a bit flat.", {"hard", "flat"}),
        ("not hard at all", set()),
        ("it isn’t flat; it's sharp", {"sharp"}),
        ("it isn't flat, it won't speak".replace("'", ""), {"late"}),
        ("not good and hard", {"hard"}),
        ("not bright but hard", {"hard"}),
        ("no low notes", {"no-low"}),
        ("the low notes won't come and it CHIRPS", {"no-low", "chirps"}),
        ("flattering, hardly openly", set()),
        ("closes up in the second movement", {"closed"}),
        ("never too open", set()),
    ],
)
def test_words_are_heard(said: str, codes: set[str]) -> None:
    assert heard(said) == codes


def test_every_word_can_be_said() -> None:
    import tomllib

    text = (files("crowlight.judge.findings") / "lexicon.toml").read_text(encoding="utf-8")
    phrases = tomllib.loads(text)["words"]
    assert set(phrases) == set(WORDS)
    for code, said in phrases.items():
        for phrase in said:
            assert heard(f"it is, I say, {phrase}.") == {code}, phrase


def test_every_stop_has_its_words() -> None:
    assert all(text.endswith(".") for text, _ in _table().values())
