"""What must hold for any reed whatever."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from crowlight.judge import Differences, Pairing, paired_differences
from crowlight.reed import Blade, Place, Reading

places = st.builds(
    Place,
    st.sampled_from(Blade),
    st.integers(100, 138).map(lambda n: n * 0.5e-3),
    st.integers(-5, 5).map(lambda n: n * 0.5e-3),
)
readings = st.lists(
    st.builds(
        Reading,
        places,
        st.integers(30, 700).map(lambda n: n * 1e-6),
        st.sampled_from(["dial", "digital", "micrometer"]),
        st.integers(0, 3),
    ),
    min_size=1,
    max_size=30,
)


def _rows(found: Differences) -> list[tuple]:
    return [
        (c.pairing, c.blade, c.side, round(c.along, 9), round(c.across, 9), c.decision.outcome)
        for c in found.comparisons
    ]


@given(readings, st.randoms(use_true_random=False))
def test_order_of_readings_does_not_matter(taken: list[Reading], random) -> None:
    shuffled = list(taken)
    random.shuffle(shuffled)
    assert _rows(paired_differences(taken)) == _rows(paired_differences(shuffled))


@given(readings)
def test_mirrored_reed_has_mirrored_differences(taken: list[Reading]) -> None:
    mirrored = [replace(r, place=r.place.mirrored()) for r in taken]
    straight = {
        (c.blade, round(c.along, 9), round(c.across, 9)): c.decision
        for c in paired_differences(taken).comparisons
        if c.pairing is Pairing.LEFT_RIGHT
    }
    other = {
        (c.blade, round(c.along, 9), round(c.across, 9)): c.decision
        for c in paired_differences(mirrored).comparisons
        if c.pairing is Pairing.LEFT_RIGHT
    }
    assert straight.keys() == other.keys()
    for key, decision in straight.items():
        assert other[key].outcome == decision.outcome
        if decision.outcome != "not_measured":
            assert abs(other[key].value + decision.value) < 1e-12


@given(readings)
def test_interval_holds_the_value_and_outcome_follows(taken: list[Reading]) -> None:
    for c in paired_differences(taken).comparisons:
        d = c.decision
        if d.outcome == "not_measured":
            continue
        assert d.low <= d.value <= d.high
        assert (d.outcome == "differs") == (d.low > d.tolerance or d.high < -d.tolerance)
