"""A maker's own cuts put later predictions right: what teaches, what does not, and what is kept."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import UUID, uuid4, uuid5

import numpy as np
import pytest
from tests.canned_models import CannedJob, CannedJobs
from tests.cut_reeds import fake_reed
from tests.kept_entries import START, log, named
from tests.next_plans import counsel as counsel_of

from crowlight.bench.advice_kinds import Advised, Foretold, Offered
from crowlight.bench.advise import Answered
from crowlight.bench.counsel import COUNSEL, Counsel, without_shapes
from crowlight.bench.desk import Desk
from crowlight.bench.done import Deed
from crowlight.bench.kinds import Cut, Opening, Rest, Travelled, Wetting, read
from crowlight.bench.learning import learned_from, pairs_of
from crowlight.bench.own_correcting import correcting_of, learned_by, taught
from crowlight.bench.own_cuts import OwnCuts, joined, own_cuts_of
from crowlight.bench.ports import Maker
from crowlight.calibrate.learning import Pair, Predicted, learn_correction
from crowlight.judge.findings import Known, rank
from crowlight.plan.cut import (
    Expected,
    Words,
    draw_chance,
    next_cut,
    target,
)
from crowlight.plan.cut.strokes import USUAL
from crowlight.reed import Blade
from crowlight.report.advice import advice_plain
from crowlight.report.next_why import expected_rows
from crowlight.report.scores import scores_plain, scores_text, told_said
from crowlight.report.words import in_locale
from crowlight.wiring import open_desk

WORDS = in_locale("en")
DAY = 1440.0
MORE = 1.6
REED: Any = SimpleNamespace(uuid=named(0), maker=named(99), batch=None)


# --- logs of single cuts --------------------------------------------------------------------------


def told(name: str = "heart") -> Offered:
    change = Foretold(name="rest_height", unit="m", low=-30e-6, middle=-20e-6, high=-10e-6)
    return Offered(
        kind="scrape", name=name, zone="heart", part="whole", blades=(Blade.MARKED,), strokes=3,
        cane=(5e-6, 9e-6, 15e-6), expected=(change,),
    )  # fmt: skip


def cut_once(
    k: int = 0,
    *,
    more: float = MORE,
    strokes: int = 3,
    before_cut: Sequence[tuple[float, Any]] = (),
    between: Sequence[tuple[float, Any]] = (),
    after: float = 20.0,
    expected: Foretold | None = None,
) -> tuple[Any, ...]:
    """Return one cut made as advised, its opening changing `more` times what was told."""
    option = told()
    if expected is not None:
        option = option.model_copy(update={"expected": (expected,)})
    advice = Advised(
        target="style", answer="findings", options=(option, Offered(kind="leave", name="leave")),
        advised=0, seq=1, code="crowlight test", digest="0" * 64,
    )  # fmt: skip
    start = (0.60 + 0.02 * (k % 11)) * 1e-3
    lines = [
        (1.0, Opening(height=start, uncertainty=1e-6)),
        *before_cut,
        (2.0, advice),
        (3.0, Cut(zone="heart", blades=(Blade.MARKED,), strokes=strokes, option=0)),
        *between,
        (after, Opening(height=start - more * 20e-6, uncertainty=1e-6)),
    ]
    at = {id(advice): uuid5(UUID(int=k), "advice")}
    entries = []
    for e in log(*lines):
        one = replace(e, uuid=at.get(id(e.payload), uuid5(UUID(int=k), str(e.seq))))
        if isinstance(one.payload, Cut) and one.payload.option is not None:
            one = replace(one, payload=one.payload.model_copy(update={"advised": at[id(advice)]}))
        entries.append(one)
    return tuple(entries)


def known(logs: Sequence[Sequence[Any]]) -> OwnCuts:
    return joined(own_cuts_of(REED, entries) for entries in logs)


def test_enough_sound_cuts_teach_and_a_few_do_not() -> None:
    every = [cut_once(k) for k in range(12)]
    own = known(every)
    pairs = taught(own)
    assert len(pairs) == 12
    assert all(p.happened == pytest.approx(-32e-6, rel=0.01) for p in pairs)
    found = learned_by(own)
    assert found.cuts == 12
    assert found.bias() > 0.5  # along the predicted change: more of it
    raw = Predicted(-30e-6, -20e-6, -10e-6)
    right = found.applied(raw, {"cut": "heart", "zone": "heart"})
    assert right.low < -32e-6 < right.high
    assert right.middle < -24e-6
    # a cut that opens it is told to open it more
    other = found.applied(Predicted(10e-6, 20e-6, 30e-6), {"cut": "heart", "zone": "heart"})
    assert other.middle == pytest.approx(-right.middle)
    few = known(every[:3])
    assert few.teaching is None
    assert learned_by(few).applied(raw) == raw
    assert correcting_of(few) is None
    assert correcting_of(known(every[:4])) is None
    assert correcting_of(known(every[:5])) is not None


@pytest.mark.parametrize(
    "lay",
    [
        {"before_cut": [(1.5, Cut(zone="tip", blades=(Blade.PLAIN,), strokes=1))]},
        {"before_cut": [(1.5, Rest(duration=3600.0))]},
        {"after": 2 * DAY},
        {"between": [(4.0, Wetting(how="soaked"))]},
        {"between": [(4.0, Wetting(how="wiped"))]},
        {"between": [(4.0, Travelled(effect="pitch", found=1.0, accuracy=1.0,
                                     home_altitude=0.0, altitude=900.0))]},
        {"strokes": 5},
    ],
)  # fmt: skip
def test_what_something_else_may_have_helped_does_not_teach(lay: Mapping[str, Any]) -> None:
    confounded = [cut_once(k, more=4.0, **lay) for k in range(12)]
    assert taught(known(confounded)) == []
    assert correcting_of(known(confounded)) is None
    sound = [cut_once(k + 20) for k in range(6)]
    with_them, alone = known([*sound, *confounded]), known(sound)
    assert [p.cut for p in taught(with_them)] == [p.cut for p in taught(alone)]
    assert learned_by(with_them).cuts == 6
    found = learned_from((REED, entries, "") for entries in [*sound, *confounded])
    (said,) = found.corrections
    assert (said.cuts, said.used) == (6, True)
    if "strokes" not in lay:
        assert said.left_out == 12
        assert "12 more do not count" in told_said(said, WORDS)


def test_the_order_of_the_cuts_does_not_matter() -> None:
    every = [cut_once(k, more=1.0 + 0.2 * (k % 5)) for k in range(9)]
    assert known(every) == known(every[::-1])
    raw = Predicted(-30e-6, -20e-6, -10e-6)
    one, other = learned_by(known(every)), learned_by(known(every[::-1]))
    assert one.applied(raw) == other.applied(raw)


def test_an_opening_read_at_its_worst_is_not_called_more_than_told() -> None:
    """Nothing but the reading scatters; chosen at their widest, they come back by themselves."""
    rng = np.random.default_rng(8)
    true = 0.65e-3 + 0.03e-3 * rng.standard_normal(120)
    seen = true + 0.03e-3 * rng.standard_normal(120)
    worst = np.argsort(seen)[-12:]
    logs = []
    for k in range(120):
        first, last = cut_once(k)[0], cut_once(k)[-1]
        opened = Opening(height=float(seen[k]), uncertainty=0.03e-3)
        again = float(true[k] - 20e-6 + 0.03e-3 * rng.standard_normal())
        entries = (
            replace(first, payload=opened),
            *cut_once(k)[1:-1],
            replace(last, payload=Opening(height=again, uncertainty=0.03e-3)),
        )
        logs.append(entries if k in worst else entries[:1])
    own = known(logs)
    pairs = taught(own)
    plain = np.mean([c.after - c.before for c in own.changes])
    assert len(pairs) == 12
    assert plain < -40e-6  # as if twice what was told
    assert abs(np.mean([p.happened for p in pairs]) + 20e-6) < abs(plain + 20e-6) / 2


def test_corrections_are_learned_from_the_model_and_scores_are_of_what_was_told() -> None:
    """A told prediction that was put right teaches what the model's would have."""
    right = Foretold(
        name="rest_height", unit="m", low=-45e-6, middle=-32e-6, high=-19e-6,
        basis=("physics", "your data"), raw=(-30e-6, -20e-6, -10e-6), own_cuts=12,
    )  # fmt: skip
    raw, corrected = (
        [cut_once(k) for k in range(12)],
        [cut_once(k, expected=right) for k in range(12)],
    )
    assert known(raw) == known(corrected)
    (pair,) = pairs_of(REED, corrected[0])
    assert pair.predicted.middle == -32e-6
    (alone,) = pairs_of(REED, corrected[0], raw=True)
    assert alone.predicted.middle == -20e-6
    assert pairs_of(REED, raw[0], raw=True) == []
    found = learned_from((REED, entries, "") for entries in corrected)
    (beside,) = found.beside
    assert beside.cuts == 12
    assert beside.crps < beside.raw_crps
    assert found.scores[0].bias == pytest.approx(0.0, abs=1e-6)  # told right
    assert found.corrections[0].bias > 0.5  # and still learned from the model, which is not
    assert "without own cuts" in scores_text(found, WORDS)
    assert scores_plain(found)["beside_the_model"][0]["cuts"] == 12


def test_an_advice_kept_before_still_loads() -> None:
    old = Foretold(name="rest_height", unit="m", low=-3e-5, middle=-2e-5, high=-1e-5)
    data = cut_once(expected=old)[1].payload.model_dump(mode="json")
    for option in data["options"]:
        for e in option["expected"]:
            del e["raw"], e["own_cuts"]
    loaded = read("advised", 1, data)
    assert isinstance(loaded, Advised)
    assert loaded.options[0].expected[0].raw is None
    assert loaded.options[0].expected[0].own_cuts == 0
    assert Advised.version == 2


def test_a_counsel_kept_before_still_loads() -> None:
    data = json.loads(COUNSEL.to_bytes(counsel_of("heart")))
    for option in data["plan"]["options"]:
        for e in option["expected"]:
            assert e.pop("raw") is None
            assert e.pop("own_cuts") == 0
    loaded = COUNSEL.from_bytes(json.dumps(data).encode())
    assert all(e.raw is None for o in loaded.plan.options for e in o.expected)


# --- does it help, and does it no harm ------------------------------------------------------------


def drawn(rng: np.random.Generator, count: int, bias: float) -> list[Pair]:
    """Draw cuts told by honest intervals, but for a bias along the change, in its deviations."""
    pairs: list[Pair] = []
    for k in range(count):
        size, way = rng.uniform(0.5, 2.0), rng.choice([-1.0, 1.0])
        middle, end = way * 2.0 * size, 1.6448536269514722 * size
        happened = middle + size * (way * bias + rng.standard_normal())
        groups = {"cut": str(rng.choice(["a", "b", "c"])), "zone": str(rng.choice(["tip", "back"]))}
        predicted = Predicted(middle - end, middle, middle + end)
        pairs.append(Pair("x", predicted, float(happened), 0.0, str(k), groups))
    return pairs


@pytest.mark.parametrize(("bias", "least", "most"), [(0.5, 0.80, 0.97), (0.0, 0.95, 1.02)])
def test_held_out_cuts_are_told_better_where_there_is_something_to_learn(
    bias: float, least: float, most: float
) -> None:
    """Ratio of the mean scores, corrected over raw: thirty cuts, forty held out, sixty makers."""
    raw = right = 0.0
    rng = np.random.default_rng(31)
    for _ in range(60):
        found = learn_correction(drawn(rng, 30, bias), quantity="x", along=True, draws=128)
        for p in drawn(rng, 40, bias):
            raw += p.predicted.crps(p.happened)
            right += found.applied(p.predicted, p.groups).crps(p.happened)
    assert least < right / raw < most


# --- at the desk ----------------------------------------------------------------------------------


class _Jobs(CannedJobs):
    """Plans on a made-up reed, as the task does from what it is given."""

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> CannedJob:
        if task != "advise":
            return super().submit(task, inputs, sticky=sticky)
        self.asked.append((task, inputs))
        reed = fake_reed(fault=lambda b, s, u: 30e-6 * (b == 0) + 0.0 * (s + u), count=40)
        known_ = inputs["known"]
        plan = next_cut(
            reed, target(reed, words=Words(easy_resistant=-1.0)), rank(Known()), Known(),
            draw_chance(reed, np.random.default_rng(3)),
            correcting=correcting_of(
                inputs["own_cuts"], maker=inputs["maker"], batch=inputs["batch"]
            ),
        )  # fmt: skip
        counsel = Counsel(
            name=inputs["name"], known=known_, plan=without_shapes(plan), strokes=USUAL
        )
        kept = COUNSEL.from_bytes(COUNSEL.to_bytes(counsel))
        self.jobs.append(CannedJob(Answered(counsel=kept), self.held))
        return self.jobs[-1]


@contextmanager
def bench(folder: Path) -> Iterator[tuple[Desk, UUID]]:
    with open_desk(folder) as opened:
        desk = replace(opened, jobs=_Jobs())
        maker = Maker(uuid=uuid4(), name="Ode Larkwell (invented)")
        desk.records.add_person(maker)
        yield desk, maker.uuid


def cut_index(counsel: Counsel) -> int:
    return next(i for i, o in enumerate(counsel.plan.options) if o.act.kind == "scrape")


def opening_of(counsel: Counsel) -> Expected:
    told = counsel.plan.options[cut_index(counsel)].expected
    return next(e for e in told if e.name == "rest_height")


def cut_reed(desk: Desk, maker: UUID, k: int) -> Expected:
    """Advise, cut as advised and measure a reed whose opening changes more than the model says."""
    desk.add_reed(f"Lark {k}", maker=maker, invented=True)
    height = (0.60 + 0.02 * k) * 1e-3
    at = START + timedelta(days=k)
    desk.write(f"Lark {k}", Opening(height=height, uncertainty=2e-8), at=at)
    counsel = desk.advice.plan(f"Lark {k}")
    e = opening_of(counsel)
    model = (e.raw or (e.low, e.middle, e.high))[1]
    desk.advice.did(
        f"Lark {k}", cut_index(counsel), digest=counsel.digest, deed=Deed(),
        at=at + timedelta(minutes=5),
    )  # fmt: skip
    after = Opening(height=height + MORE * model, uncertainty=2e-8)
    desk.write(f"Lark {k}", after, at=at + timedelta(minutes=9))
    return e


def test_the_thirteenth_advice_tells_what_twelve_cuts_taught(tmp_path: Path) -> None:
    with bench(tmp_path) as (desk, maker):
        told = [cut_reed(desk, maker, k) for k in range(12)]
        model = told[0]
        assert all(e.raw is None and e.own_cuts == 0 for e in told[:5])
        raws = [e.raw for e in told[5:]]
        assert set(raws) == {(model.low, model.middle, model.high)}  # never of a corrected one
        assert [e.own_cuts for e in told[5:]] == list(range(5, 12))

        desk.add_reed("Last", maker=maker, invented=True)
        counsel = desk.advice.plan("Last")
        e = opening_of(counsel)
        truth = MORE * model.middle
        assert e.raw == (model.low, model.middle, model.high)
        assert e.own_cuts == 12
        assert e.basis[-1] == "your data"
        assert abs(e.middle) > 1.15 * abs(model.middle)
        assert e.low < truth < e.high
        assert abs(e.middle - truth) < abs(model.middle - truth)
        (shown,) = [
            r
            for r in expected_rows(
                advice_plain(counsel)["options"][cut_index(counsel)]["expected"], WORDS
            )
            if r.name == "rest_height"
        ]
        assert shown.basis.endswith("(12 cuts)")
        assert shown.without

        # the log keeps both
        desk.advice.did("Last", cut_index(counsel), digest=counsel.digest)
        advised = desk.sheet("Last").entries[0].payload
        assert isinstance(advised, Advised)
        kept = next(x for x in advised.options[cut_index(counsel)].expected if x.raw)
        assert (kept.raw, kept.own_cuts) == (e.raw, 12)
        assert kept.middle == e.middle

        # nobody's reed, and another maker's, learn nothing of it
        desk.add_reed("Nobody's", invented=True)
        assert opening_of(desk.advice.plan("Nobody's")).raw is None
        found = desk.learning.scores()
        assert [(t.maker, t.cuts, t.used) for t in found.corrections] == [(maker, 12, True)]
        assert desk.learning.correction(maker).cuts == 12
        assert found.beside[0].cuts == 7
        assert found.beside[0].crps < found.beside[0].raw_crps


def test_three_cuts_change_nothing(tmp_path: Path) -> None:
    with bench(tmp_path) as (desk, maker):
        told = [cut_reed(desk, maker, k) for k in range(3)]
        desk.add_reed("Last", maker=maker, invented=True)
        counsel = desk.advice.plan("Last")
        assert opening_of(counsel) == told[0]
        assert desk.jobs.asked[-1][1]["own_cuts"] is None  # type: ignore[attr-defined]  # canned
        (said,) = desk.learning.scores().corrections
        assert (said.cuts, said.used) == (3, False)
        assert "nothing yet, from 3 cuts; it takes 5" in told_said(said, WORDS)
