"""The joint posterior: what data move, what they do not, and what is asked about."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from crowlight.blade import Blades, Lip, MapSpread, evaluate, lumped
from crowlight.calibrate import (
    QUANTITIES,
    BladeLine,
    Combination,
    CrowPitch,
    CrowStart,
    ForceTest,
    Measurement,
    Opening,
    PeepPitch,
    Posterior,
    calibrate,
    update,
)
from crowlight.calibrate.air import AIR_UNKNOWNS, first_notes, reeds_at
from crowlight.calibrate.gaussian import peak
from crowlight.crow import ReedParameters, Resonances, draw_from_blades
from crowlight.errors import Cancelled, InputError, OutsideModel


def known(line: BladeLine, bore: Resonances, *data: Measurement, seed: int = 1) -> Posterior:
    return update(line, bore, data, rng=np.random.default_rng(seed), check_lines=False)


def expected_force(line: BladeLine) -> float:
    return float(np.exp(line.logs[-1]))


def width(found: Posterior, name: str) -> float:
    """Width of an interval in the logarithm, posterior over prior."""
    before, after = found.prior[name], found.posterior[name]
    return float(np.log(after.high / after.low) / np.log(before.high / before.low))


def together(found: Posterior) -> list[Combination]:
    return [c for c in found.cannot_separate if c.code == "only_together"]


def unseen(found: Posterior) -> set[str]:
    return {c.names[0] for c in found.cannot_separate if c.code == "unseen"}


def test_without_data_the_prior_stays(line: BladeLine, bore: Resonances) -> None:
    found = known(line, bore)
    assert found.posterior == found.prior
    assert set(found.prior) == set(QUANTITIES)
    assert "no_data" in found.notes
    assert not found.conflicts
    assert not together(found)
    names = {u.name for u in line.reed.unknowns} | set(AIR_UNKNOWNS)
    assert unseen(found) == names


def test_the_prior_is_that_of_the_blade_and_air_models(blades: Blades, line: BladeLine) -> None:
    # the same hand-over by two routes: Kolmogorov-Smirnov on every field that varies
    rng = np.random.default_rng(5)
    count = 4000
    ours = reeds_at(line, np.zeros((count, line.reed.size)), rng.standard_normal((count, 6)))
    theirs = draw_from_blades(lumped(evaluate(blades, maps=False)), rng=rng, size=count)
    for name in ("opening_area", "closing_pressure", "swept_volume", "frequency", "damping"):
        drawn = [getattr(r, name) for r in theirs]
        assert stats.ks_2samp(getattr(ours, name), drawn).pvalue > 1e-3, name
    usual = ReedParameters()
    assert set(ours.channel_length) == {usual.channel_length}


def test_the_reed_closes_anywhere_between_its_two_lines(line: BladeLine) -> None:
    shares = np.array([1e-12, 0.25, 0.5, 0.9, 1.0 - 1e-12])
    air = np.zeros((5, 6))
    air[:, 0] = stats.norm.ppf(shares)
    found = reeds_at(line, np.zeros((5, line.reed.size)), air).closing_pressure
    logs = line.logs
    through = logs[line.column("closing_pressure")] - np.log(0.9)
    straight = logs[line.column("rest_area")] - logs[line.column("compliance")]
    low, high = sorted((through, straight))
    assert high - low > 0.05
    assert np.log(found) == pytest.approx(low + shares * (high - low), abs=1e-9)


def test_beginnings_are_the_same_from_a_neighbour_and_from_scratch(
    line: BladeLine, bore: Resonances
) -> None:
    rng = np.random.default_rng(8)
    reeds = reeds_at(line, np.zeros((60, line.reed.size)), rng.standard_normal((60, 6)))
    fresh = first_notes(reeds, bore, None)
    near = first_notes(reeds, bore, (3500.0, 950.0))
    assert near.frequency == pytest.approx(fresh.frequency, rel=1e-6)
    assert near.pressure == pytest.approx(fresh.pressure, rel=1e-6)
    # a start from which all are lost is no harm
    lost = first_notes(reeds, bore, (3500.0, 9000.0))
    assert lost.frequency == pytest.approx(fresh.frequency, rel=1e-6)


def test_an_opening_teaches_the_opening_and_no_cane(line: BladeLine, bore: Resonances) -> None:
    found = known(line, bore, Opening(0.75e-3, 0.02e-3))
    # normal product in the logarithm: prior 7 %, reading 2.7 %, where it is read 3 %
    weight = 0.07**2 / (0.07**2 + (0.02 / 0.75) ** 2 + 0.03**2)
    value = 0.7e-3 * (0.75 / 0.70) ** weight
    assert found.posterior["rest_height"].value == pytest.approx(value, rel=0.003)
    assert width(found, "rest_height") == pytest.approx(np.sqrt(1 - weight), rel=0.02)
    assert width(found, "cane_across") == pytest.approx(1.0, abs=1e-9)
    assert {"cane stiffness along", "damping", "tie preload"} <= unseen(found)


def test_a_force_sees_cane_only_together_with_its_own_error(
    line: BladeLine, bore: Resonances
) -> None:
    found = known(line, bore, ForceTest(1.15 * expected_force(line), 0.02))
    (one,) = together(found)
    assert {"model error: force", "cane stiffness across"} <= set(one.names)
    assert one.shares[0] > 0 > one.shares[1] or min(one.shares) > 0
    assert sum(abs(s) for s in one.shares) <= 1.0 + 1e-9
    assert 0.6 < width(found, "cane_across") < 0.95
    assert found.posterior["cane_across"].value > 1.03 * found.prior["cane_across"].value
    assert width(found, "rest_height") == pytest.approx(1.0, abs=0.01)


def test_repeating_a_test_does_not_wear_the_model_error_away(
    line: BladeLine, bore: Resonances
) -> None:
    test = ForceTest(1.1 * expected_force(line), 0.02)
    once, often = known(line, bore, test), known(line, bore, *[test] * 100)
    assert width(often, "cane_across") < width(once, "cane_across")
    # even without any noise the model error of 15 % would leave this much of the prior
    cane = float(np.sum(line.slopes[-1] ** 2))
    across = line.slopes[-1, 1] ** 2
    floor = np.sqrt(1 - across / (cane + ForceTest.model_error**2))
    assert width(often, "cane_across") == pytest.approx(floor, rel=0.02)


def test_pitch_and_pressure_teach_the_reed_the_air_feels(line: BladeLine, bore: Resonances) -> None:
    data = (CrowPitch(1046.5, 10.0), PeepPitch(1040.0, 20.0), CrowStart(3800.0, 150.0))
    found = known(line, bore, *data)
    assert found.posterior["felt_frequency"].value > found.prior["felt_frequency"].value
    for name in ("felt_closing_pressure", "felt_frequency"):
        assert width(found, name) < 1.0
    assert found.quality.effective_share > 0.1
    assert not found.conflicts
    # the peep says less than the crow
    crow, peep = (known(line, bore, kind(1046.5, 10.0)) for kind in (CrowPitch, PeepPitch))
    assert width(crow, "stiffness") < width(peep, "stiffness") < 1.0


def test_the_lower_octave_is_asked_about(line: BladeLine, bore: Resonances) -> None:
    expected = known(line, bore, CrowPitch(1000.0, 10.0)).model.onset(
        np.zeros(line.reed.size + len(AIR_UNKNOWNS) + 5)
    )
    assert expected is not None
    found = known(line, bore, CrowPitch(0.52 * expected[1], 8.0))
    (asked,) = found.conflicts
    assert (asked.code, asked.about) == ("octave", (0,))
    assert "lower note of an octave crow?" in asked.question
    assert found.chance < 1e-6


@pytest.mark.parametrize(("factor", "much"), [(2.2, "more"), (0.4, "less")])
def test_an_unlikely_force_is_asked_about(
    line: BladeLine, bore: Resonances, factor: float, much: str
) -> None:
    found = known(line, bore, ForceTest(factor * expected_force(line), 0.02))
    (asked,) = found.conflicts
    assert asked.code == "unexpected"
    assert f"much {much} than" in asked.question
    assert np.sign(asked.surprise) == np.sign(factor - 1)


def test_an_opening_unlike_the_one_entered_is_asked_about(
    line: BladeLine, bore: Resonances
) -> None:
    (asked,) = known(line, bore, Opening(1.1e-3, 0.03e-3)).conflicts
    assert asked.question.startswith("the opening is much more than entered with this reed; ")


def test_data_that_contradict_each_other_are_asked_about(line: BladeLine, bore: Resonances) -> None:
    force = expected_force(line)
    found = known(
        line,
        bore,
        Opening(0.71e-3, 0.05e-3),
        ForceTest(1.35 * force, 0.01, depth_spread=2e-6),
        ForceTest(0.80 * force, 0.01, depth_spread=2e-6),
    )
    (asked,) = found.conflicts
    assert (asked.code, asked.about) == ("disagree", (1, 2))
    assert asked.question.startswith("the force test does not fit the other measurements")
    assert asked.question.endswith("?")


def test_usual_data_raise_no_question(line: BladeLine, bore: Resonances) -> None:
    data = (Opening(0.74e-3, 0.05e-3), ForceTest(1.1 * expected_force(line), 0.03))
    found = known(line, bore, *data)
    assert not found.conflicts
    assert found.chance > 0.2


def test_draws_fit_the_posterior_and_both_models(line: BladeLine, bore: Resonances) -> None:
    found = known(line, bore, ForceTest(1.2 * expected_force(line), 0.02))
    drawn = found.draws(400, np.random.default_rng(2))
    across = np.array([d.blades.cane.across for d in drawn])
    ours = found.posterior["cane_across"]
    assert np.median(across) == pytest.approx(ours.value, rel=0.03)
    assert np.mean((across > ours.low) & (across < ours.high)) == pytest.approx(0.8, abs=0.08)
    one = drawn[0]
    real = lumped(evaluate(one.blades, maps=False))
    assert one.reed.opening_area == pytest.approx(real.rest_area, rel=0.5)
    assert isinstance(one.reed, ReedParameters)
    again = found.draws(3, np.random.default_rng(2))
    assert [d.reed for d in again] != [d.reed for d in found.draws(3, np.random.default_rng(3))]
    with pytest.raises(InputError, match="at least 1"):
        found.draws(0, np.random.default_rng(2))


def test_the_same_chance_gives_the_same_answer(line: BladeLine, bore: Resonances) -> None:
    data = (ForceTest(1.2 * expected_force(line), 0.02), CrowPitch(980.0, 10.0))
    first, second, other = (known(line, bore, *data, seed=s) for s in (4, 4, 5))
    assert first.posterior == second.posterior
    assert first.posterior != other.posterior


def test_full_route_checks_its_lines(blades: Blades) -> None:
    seen: list[float] = []
    rng = np.random.default_rng(1)
    found = calibrate(blades, [ForceTest(1.6, 0.02)], rng=rng, report=seen.append)
    assert found.quality.solves == 1
    assert 0.0 < found.quality.blade_error < 0.03
    assert seen == sorted(seen)
    assert 0.0 < seen[0] <= seen[-1] <= 1.0
    assert found.posterior["closing_pressure"].value > found.prior["closing_pressure"].value


def test_lines_nobody_could_check_are_noted(
    line: BladeLine, bore: Resonances, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_answer(*_: object) -> None:
        raise OutsideModel("closed")

    monkeypatch.setattr("crowlight.calibrate.joint.solved", no_answer)
    data = [Opening(0.75e-3, 0.05e-3)]
    found = update(line, bore, data, rng=np.random.default_rng(1))
    assert "blade_lines" in found.notes
    assert np.isnan(found.quality.blade_error)
    assert "blade_lines" not in known(line, bore, *data).notes


def test_lines_that_miss_are_drawn_anew(
    line: BladeLine, bore: Resonances, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("crowlight.calibrate.joint._GOOD_LINES", 1e-4)
    data = (ForceTest(1.7 * expected_force(line), 0.02), Opening(0.85e-3, 0.02e-3))
    once = known(line, bore, *data)
    again = update(line, bore, data, rng=np.random.default_rng(1))
    monkeypatch.undo()
    kept = update(line, bore, data, rng=np.random.default_rng(1))
    assert (kept.quality.solves, again.quality.solves) == (1, 2)
    assert 0.0 < again.quality.blade_error < 0.3 * kept.quality.blade_error
    assert again.posterior["stiffness"].value == pytest.approx(
        once.posterior["stiffness"].value, rel=0.03
    )


def test_doubtful_maps_widen_and_stay(blades: Blades) -> None:
    rng = np.random.default_rng(2)
    spread = MapSpread(8e-6 * rng.standard_normal((blades.marked.size, 30)))
    sure, unsure = (
        calibrate(blades, [], rng=np.random.default_rng(1), marked=m) for m in (None, spread)
    )
    for name in ("closing_pressure", "stiffness"):
        wide, narrow = unsure.prior[name], sure.prior[name]
        assert wide.high / wide.low > narrow.high / narrow.low
    assert not np.array_equal(unsure.draws(1, rng)[0].blades.marked.values, blades.marked.values)


def test_two_different_blades_with_doubtful_maps(blades: Blades) -> None:
    rng = np.random.default_rng(4)
    reed = replace(blades, plain=blades.marked.changed(1e-5))
    marked, plain = (
        MapSpread(size * rng.standard_normal((blades.marked.size, 20))) for size in (1e-6, 8e-6)
    )
    found = calibrate(reed, [ForceTest(1.2, 0.03)], rng=rng, marked=marked, plain=plain)
    assert found.quality.blade_error < 0.03
    drawn = [d.blades for d in found.draws(30, rng)]
    # maps keep all their spread, though only few directions of it matter to what was measured
    for side, size in (("marked", 1e-6), ("plain", 8e-6)):
        changes = [getattr(b, side).values - getattr(reed, side).values for b in drawn]
        assert np.std(changes) == pytest.approx(np.sqrt(20) * size, rel=0.1)


def test_no_preload_is_noted(blades: Blades) -> None:
    loose = replace(blades, interference=0.0)
    found = calibrate(loose, [], rng=np.random.default_rng(1))
    assert "no_preload" in found.notes
    assert found.posterior["preload"].high == 0.0


def test_a_lip_or_a_map_too_many_is_refused(blades: Blades) -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="without lip"):
        calibrate(replace(blades, lip=Lip(centre=7e-3, force=0.5)), [], rng=rng)
    spread = MapSpread(np.ones((blades.marked.size, 1)))
    with pytest.raises(InputError, match="as `marked` only"):
        calibrate(blades, [], rng=rng, plain=spread)


def test_it_can_be_stopped(blades: Blades) -> None:
    def stop(done: float) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        calibrate(blades, [], rng=np.random.default_rng(1), report=stop)


def test_hardly_any_reed_among_the_draws_is_said(line: BladeLine, bore: Resonances) -> None:
    found = known(line, bore)
    wild = replace(found, sample=np.full_like(found.sample, 60.0))
    with pytest.raises(OutsideModel, match="of 40 draws are reeds"):
        wild.draws(2, np.random.default_rng(1))


def test_a_reed_that_cannot_sound_has_no_pitch(line: BladeLine, bore: Resonances) -> None:
    logs = line.logs.copy()
    # a narrow slit between blades of iron
    logs[line.column("rest_area")] -= 5.0
    logs[line.column("compliance")] -= 9.0
    logs[line.column("closing_pressure")] += 4.0
    shut = replace(line, logs=logs)
    reed = reeds_at(shut, line.centre[None], np.zeros((1, 6)))
    assert np.isnan(first_notes(reed, bore, None).pressure[0])
    with pytest.raises(OutsideModel, match="does not sound"):
        known(shut, bore, CrowPitch(1000.0, 10.0))
    assert known(shut, bore, Opening(0.7e-3, 0.05e-3)).posterior["rest_height"].value > 0


def test_what_was_not_prepared_is_refused(line: BladeLine, bore: Resonances) -> None:
    with pytest.raises(InputError, match="not solved"):
        known(line, bore, ForceTest(1.0, 0.03, depth=0.12e-3))
    with pytest.raises(InputError, match="between 0 and 1"):
        update(line, bore, [], rng=np.random.default_rng(1), level=80)


def test_a_slow_climb_arrives() -> None:
    """A datum eight deviations off on a bent line, against a general minimiser."""

    def bent(t: float) -> float:
        return t + 0.2 * t * t

    found = peak(
        lambda t: np.array([bent(t[0])]),
        lambda t: np.array([[1.0 + 0.4 * t[0]]]),
        np.array([-2.0]),
        np.array([0.5]),
        np.zeros(1),
    )
    least = optimize.minimize_scalar(lambda t: t * t + ((-2.0 - bent(t)) / 0.5) ** 2, tol=1e-10)
    assert found.mode[0] == pytest.approx(least.x, abs=1e-3)
