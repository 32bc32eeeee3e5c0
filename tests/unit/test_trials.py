"""The virtual maker's bench: hidden truth, what policies see, results that can be resumed."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from crowlight.invented.trials import DEVELOPMENT, TEST, code_digest, summarise
from crowlight.invented.trials import lines as kept
from crowlight.invented.trials.bench import Deed, Seen
from crowlight.invented.trials.faults import FAULTS, Fault, draw_faults, put_in
from crowlight.invented.trials.feel import TOLERANCES, distance, draw_ear, inside, play
from crowlight.invented.trials.knife import Knife, clip, draw_knife, scrape
from crowlight.invented.trials.planner import Planner, _cane_off, _laid, _read
from crowlight.invented.trials.rivals import FixedOrder, MatchStyle, Nothing, RandomScraping
from crowlight.invented.trials.seeds import PER_PLAYER
from crowlight.invented.trials.start import gauge
from crowlight.invented.trials.truth import FRACTION, TrueReed, Tube, along_of
from crowlight.judge.findings import catalogue
from crowlight.plan.cut import Part, ReedNow, bare_reed, patch
from crowlight.plan.cut.strokes import USUAL
from crowlight.reed import Blade
from crowlight.reed.styles import style

LONG = style("long")
BOTH = (Blade.MARKED, Blade.PLAIN)


@pytest.fixture(scope="module")
def reed() -> TrueReed:
    """Return a reed that is exactly as the style has it."""
    along = along_of(LONG, LONG.length + 3e-3)
    half = LONG.outline.half_width(np.minimum(along, LONG.length))[:, None]
    one = np.asarray(LONG.thickness(np.minimum(along, LONG.length)[:, None], half * FRACTION))
    transition = LONG.profile["transition.position"].value
    return TrueReed(
        LONG, along, np.stack([one, one]), transition, LONG.length, 0.65e-3, 0.65e-3, Tube()
    )


def test_development_and_test_seeds_are_disjoint_and_so_are_their_players() -> None:
    assert not set(DEVELOPMENT) & set(TEST)
    assert not {s // PER_PLAYER for s in DEVELOPMENT} & {s // PER_PLAYER for s in TEST}
    assert (len(DEVELOPMENT), len(TEST)) == (60, 500)


def test_only_listed_findings_are_put_in() -> None:
    found = catalogue().findings
    for code, kind in FAULTS.items():
        assert found[code].places == kind.places
        assert abs(kind.faint) < 0.2 * min(abs(kind.low), abs(kind.high))


@pytest.mark.parametrize("code", FAULTS)
def test_a_fault_is_where_it_says_and_nowhere_else(reed: TrueReed, code: str) -> None:
    kind = FAULTS[code]
    blade = "plain" if kind.places in ("blade", "quarter") else ""
    side = "left" if kind.places in ("side", "quarter") else ""
    wrong = put_in(reed, Fault(code, blade, side, kind.high, faint=False))
    added = wrong.thick - reed.thick
    if not added.any():
        assert (wrong.length, wrong.opening) != (reed.length, reed.opening)
        return
    assert np.abs(added).max() == pytest.approx(abs(kind.high), rel=1e-6)
    if blade:
        assert not added[0].any()
    if side:
        assert not added[..., FRACTION > 0].any()


def test_faults_are_none_one_or_two_and_some_too_faint() -> None:
    rng = np.random.default_rng(1)
    drawn = [draw_faults(rng) for _ in range(800)]
    counts = [sum(len(d) == k for d in drawn) / 800 for k in (0, 1, 2)]
    assert counts == pytest.approx([0.10, 0.75, 0.15], abs=0.04)
    faint = np.mean([f.faint for d in drawn for f in d])
    assert faint == pytest.approx(0.1, abs=0.03)
    assert all(len({f.code for f in d}) == len(d) for d in drawn)


def test_policies_see_nothing_that_is_hidden() -> None:
    assert {f.name for f in fields(Seen)} == {
        "style", "loved", "gauged", "playing", "crow", "log", "sitting", "half", "player",
    }  # fmt: skip


@pytest.mark.parametrize("part", ["whole", "left", "right-corner", "sides"])
def test_a_knife_only_takes_cane_and_mostly_where_it_was_meant(reed: TrueReed, part: str) -> None:
    rng = np.random.default_rng(3)
    deed = Deed("scrape", "tip", part, (Blade.MARKED,), strokes=3)
    off = reed.thick - scrape(reed, deed, Knife(4e-6), rng).reed.thick
    assert off.min() >= 0.0
    assert not off[1].any()
    assert 3e-6 < off.max() < 60e-6
    tip = reed.zones()["tip"]
    assert off[0][tip].sum() > 0.6 * off[0].sum()
    if part == "left":
        assert off[0][:, FRACTION > 0.3].sum() < 0.02 * off[0].sum()


def test_strokes_scatter_about_the_makers_own_size(reed: TrueReed) -> None:
    rng = np.random.default_rng(4)
    deed = Deed("scrape", "heart", "whole", (Blade.PLAIN,), strokes=3)
    most = [
        float((reed.thick - scrape(reed, deed, Knife(5e-6), rng).reed.thick).max())
        for _ in range(60)
    ]
    assert np.median(most) == pytest.approx(3 * 5e-6, rel=0.4)  # the deepest place is a bit rough
    assert np.std(most) > 1e-6
    sizes = [draw_knife(rng).stroke for _ in range(400)]
    assert np.median(sizes) == pytest.approx(3e-6, rel=0.1)


def test_thin_cane_tears_and_sound_cane_hardly_ever(reed: TrueReed) -> None:
    rng = np.random.default_rng(5)
    deed = Deed("scrape", "tip", "whole", BOTH, strokes=3)
    thin = replace(reed, thick=np.maximum(reed.thick - 45e-6, 12e-6))
    torn = [sum(scrape(r, deed, Knife(3e-6), rng).torn for _ in range(80)) for r in (reed, thin)]
    assert torn[0] == 0
    assert torn[1] > 3


def test_a_clip_shortens_and_opens(reed: TrueReed) -> None:
    clipped = clip(reed, 0.2e-3, np.random.default_rng(6)).reed
    assert clipped.length == pytest.approx(reed.length - 0.2e-3, abs=0.15e-3)
    assert clipped.opening > reed.opening
    assert np.all(clipped.thick <= reed.thick)


def test_the_gauge_scatters_and_half_the_points_are_fewer(reed: TrueReed) -> None:
    rng = np.random.default_rng(7)
    full, half = gauge(reed, rng, half=False), gauge(reed, rng, half=True)
    assert len(half.readings) < len(full.readings) / 2
    again = gauge(reed, rng, half=False)
    pairs = zip(full.readings, again.readings, strict=True)
    off = np.array([a.thickness - b.thickness for a, b in pairs])
    assert 6e-6 < off.std() < 60e-6


FELT = dict.fromkeys(TOLERANCES, 0.0)


def test_inside_is_all_within_what_the_player_lets_pass() -> None:
    assert inside(FELT)
    assert not inside(FELT | {"chirp": 1.01})
    assert distance(FELT) == 0.0
    assert distance(FELT | {"heart": 2.0}) > distance(FELT | {"heart": 1.0}) > 0.0


def test_a_player_says_what_is_far_off_and_not_always() -> None:
    rng = np.random.default_rng(8)
    ears = [draw_ear(rng) for _ in range(200)]
    thick = [play(FELT | {"attack": 2.5}, ear, rng) for ear in ears]
    fine = [play(FELT, ear, rng) for ear in ears]
    assert np.mean([p.low_soft_attack == "no" for p in thick]) > 0.95
    assert np.mean([p.low_soft_attack == "no" for p in fine]) < 0.15
    words = np.mean([bool({"late", "no-soft", "tongue"} & p.words) for p in thick])
    assert 0.5 < words < 0.95


def test_rivals_measure_before_they_cut_or_do_nothing() -> None:
    rng = np.random.default_rng(9)
    seen = Seen(LONG, loved=None)  # type: ignore[arg-type]  # rivals must not need it here
    assert Nothing().step(seen, rng).kind == "stop"
    assert FixedOrder().step(seen, rng).kind == "gauge"
    assert MatchStyle().step(seen, rng).kind == "gauge"
    assert RandomScraping().step(seen, rng).kind == "scrape"


# --- results --------------------------------------------------------------------------------------


def line(policy: str, seed: int, **more: Any) -> dict[str, Any]:
    return {
        "policy": policy, "seed": seed, "variant": "usual", "code": "a", "inside": True,
        "inside_at_first": False, "ruined": None, "distance_at_first": 2.0, "distance": 1.0,
        "cuts": 2, "cane_mm3": 0.5, "minutes": 20.0, "nights": 0, "shares": [0.5, 0.0],
        "faults": [["tip-thick", "", "", 2e-5, False]], "curable": True, "named": None,
        "pits": [], **more,
    }  # fmt: skip


def test_the_summary_counts_what_it_says() -> None:
    rows = [
        line("a", 1, named=[["tip-thick", "", "", "fair"]], pits=[["x", 0.5], ["x", 0.8]]),
        line("a", 2, inside=False, ruined="torn", named=[["heart-thick", "", "", "fair"]]),
        line("a", 3, faults=[["tip-thick", "", "", 2e-6, True]],
             named=[["nick", "", "", "cannot_tell"]]),
        line("b", 1, cuts=0, shares=[]),
    ]  # fmt: skip
    found = summarise(rows)
    a = found["a"]
    assert (a["n"], a["success"], a["ruined"]) == (3, pytest.approx(0.6667), 1)
    # the faint fault that nobody names with support counts as right
    assert (a["top1"], a["top3"]) == (pytest.approx(0.6667), pytest.approx(0.6667))
    assert (a["coverage50"], a["coverage80"]) == (0.5, 1.0)
    assert a["convergence"]["per_cut"] == pytest.approx(1 - 0.5**0.5, abs=1e-4)
    assert found["b"]["convergence"]["per_cut"] is None


def test_a_run_goes_on_where_it_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, int]] = []

    def pretend(policy: str, seed: int, variant: str) -> dict[str, Any]:
        asked.append((policy, seed))
        return line(policy, seed, variant=variant)

    monkeypatch.setattr(kept, "run_one", pretend)
    first = kept.run_missing([], policies=["a", "b"], seeds=[1, 2])
    text = "".join(json.dumps(next(first)) + "\n" for _ in range(3)) + '{"policy": "b", "se'
    have = kept.read_lines(text)
    assert [(x["policy"], x["seed"]) for x in have] == [("a", 1), ("b", 1), ("a", 2)]
    assert all(x["code"] == code_digest() for x in have)
    asked.clear()
    rest = list(kept.run_missing(have, policies=["a", "b"], seeds=[1, 2]))
    assert asked == [("b", 2)]
    assert len(rest) == 1
    # results of other code count for nothing
    older = [x | {"code": "older"} for x in have]
    assert len(list(kept.run_missing(older, policies=["a", "b"], seeds=[1, 2]))) == 4


def test_only_seeds_that_every_policy_ran_are_summed_up() -> None:
    rows = [line(p, s) for p in ("a", "b") for s in (1, 2)] + [line("a", 3)]
    rows += [line("a", 9, code="other"), line("a", 4, variant="no sound")]
    done = kept.complete(rows, ["a", "b"], "usual")
    assert sorted((x["policy"], x["seed"]) for x in done) == [
        ("a", 1), ("a", 2), ("b", 1), ("b", 2),
    ]  # fmt: skip


def _known(of: TrueReed, length: float) -> ReedNow:
    along = np.linspace(length, of.style.thread_top, 46)
    return bare_reed(of.style.placed(length), along, np.linspace(-1.0, 1.0, 11))


def test_strokes_in_windows_are_learned_as_they_are(reed: TrueReed) -> None:
    """A window is hardly wider than the gauge's foot, which must not make strokes look lighter.

    What was truly taken is looked up at the standard points themselves.
    """
    rng = np.random.default_rng(11)
    deed = Deed("scrape", "windows", "whole", tuple(Blade), 5)
    points = [p for p in LONG.full if p.zone == "windows"]
    rows = [int(np.argmin(np.abs(reed.along - p.along))) for p in points]
    fraction = [float(LONG.outline.fraction(p.along, p.across)) for p in points]
    columns = [int(np.argmin(np.abs(FRACTION - u))) for u in fraction]
    fine = bare_reed(
        LONG, np.linspace(LONG.length, LONG.thread_top, 60), np.linspace(-1.0, 1.0, 41)
    )
    shape = patch(fine, "windows", Part.WHOLE)
    at = [
        shape[np.argmin(np.abs(fine.along - p.along)), np.argmin(np.abs(fine.fraction - u))]
        for p, u in zip(points, fraction, strict=True)
    ]
    told, true = [], []
    for _ in range(48):
        before, cut = gauge(reed, rng, half=False), scrape(reed, deed, Knife(6e-6), rng).reed
        after = gauge(cut, rng, half=False)
        found = _cane_off(_known(reed, before.length), [deed], before, after, knife=0)
        told.append(np.mean([c.cane / c.strokes for c in found]))
        off = (reed.thick - cut.thick)[:, rows, columns].mean(axis=0)
        true.append(float(off @ at / np.dot(at, at)) / deed.strokes)
    error = float(np.std(np.subtract(told, true))) / np.sqrt(len(told))
    assert error < 0.05 * np.mean(true)
    # a tenth too light is left, from points on the rails just past a window's edge; taken at their
    # points alone, strokes came out more than a quarter too light
    assert np.mean(told) == pytest.approx(np.mean(true), abs=2.0 * error + 0.1 * np.mean(true))


def test_what_was_read_where_it_was_cut_is_read_anew(reed: TrueReed) -> None:
    rng = np.random.default_rng(12)
    gauged = gauge(reed, rng, half=False)
    known = _known(reed, gauged.length)
    shape = np.zeros(known.mean.shape)
    shape[0] = patch(known, "heart", Part.WHOLE)
    act = SimpleNamespace(
        shape=shape, zone="heart", part=Part.WHOLE, blades=(Blade.MARKED,), strokes=3, oblique=False
    )
    planner = Planner()
    planner._reed, planner._readings = known, list(gauged.readings)
    planner._last = (cast("Any", SimpleNamespace(act=act)), USUAL)
    planner._carry(rng)
    left = {r.place for r in planner._readings}
    for r in gauged.readings:
        cut = _read(_laid(known, shape), known, r) >= 0.02
        assert (r.place in left) == (not cut)
        if r.place.blade is Blade.PLAIN:
            assert r.place in left
    assert 0 < len(left) < len(gauged.readings)
