"""The page that says how the predictions have done."""

from __future__ import annotations

from crowlight.bench.advice_kinds import Advised, Foretold, Offered
from crowlight.bench.kinds import Cut, Described, Opening
from crowlight.reed import Blade


def test_nothing_to_score_says_what_to_do(site) -> None:
    page = site.get("/scores").text
    assert "Nothing to score yet" in page
    assert site.get("/scores.json").json()["scores"] == []


def test_a_measured_cut_is_scored(site) -> None:
    reed = site.desk.add_reed("Ruff").uuid
    told = Foretold(name="rest_height", unit="m", low=-5e-5, middle=0.0, high=5e-5)
    option = Offered(
        kind="scrape", name="equalise-heart", zone="heart", part="whole",
        blades=(Blade.MARKED,), strokes=3, expected=(told,),
    )  # fmt: skip
    site.desk.write(reed, Described(style="long"))
    site.desk.write(reed, Opening(height=0.7e-3))
    advice = Advised(
        target="style", answer="findings", options=(option, Offered(kind="leave", name="leave")),
        advised=0, seq=2, code="test", digest="0" * 64,
    )  # fmt: skip
    (entry,) = site.desk.write(reed, advice).entries
    cut = Cut(zone="heart", blades=(Blade.MARKED,), strokes=3, advised=entry.uuid, option=0)
    site.desk.write(reed, cut)
    site.desk.write(reed, Opening(height=0.72e-3))
    page = site.get("/scores").text
    assert "opening height at rest, mm" in page
    assert "1 cuts, 1 numbers" in page
    assert "nothing yet, from 1 cuts" in page
    assert site.get("/scores.json").json()["scores"][0]["pairs"] == 1
