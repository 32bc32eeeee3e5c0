"""Robust distances: strange reeds are found however many units and whoever else is strange."""

import numpy as np
import pytest
from sklearn.covariance import MinCovDet

from crowlight.batch.outliers import robust_distances
from crowlight.checks.batches import data
from crowlight.errors import InputError


def test_a_third_of_strange_reeds_cannot_hide() -> None:
    rng = np.random.default_rng(1)
    reeds = rng.normal(size=(30, 2))
    reeds[:10] = rng.normal((8.0, -8.0), 0.3, size=(10, 2))
    assert set(robust_distances(reeds, rng=rng).outlying) == set(range(10))


def test_units_do_not_matter() -> None:
    reeds = np.random.default_rng(2).normal(size=(24, 2))
    reeds[3] = 9.0, 0.0
    mixed = reeds @ np.array([[1e-3, 2e-4], [0.0, 50.0]]) + [0.45, 7.0]
    one = robust_distances(reeds, rng=np.random.default_rng(3))
    other = robust_distances(mixed, rng=np.random.default_rng(3))
    assert one.outlying == other.outlying == (3,)
    assert one.distance == pytest.approx(other.distance, rel=1e-6)


def test_ordinary_reeds_are_named_as_seldom_as_stated() -> None:
    rng = np.random.default_rng(4)
    named = [len(robust_distances(rng.normal(size=(12, 2)), rng=rng).outlying) for _ in range(20)]
    # 1 % of 240 reeds; three standard deviations of a Poisson count of 2.4
    assert sum(named) <= 2.4 + 3 * np.sqrt(2.4)


def test_the_half_is_at_least_as_close_as_that_of_a_general_library() -> None:
    rows = np.array(data()["strange"]["rows"])
    from crowlight.batch.outliers import closest_half

    half = closest_half((rows / rows.std(axis=0))[None], np.random.default_rng(5), 500)[0]
    theirs = MinCovDet(support_fraction=39 / 75, random_state=0).fit(rows).raw_support_
    ours = np.linalg.det(np.cov(rows[half], rowvar=False))
    assert len(half) == 39
    assert ours <= np.linalg.det(np.cov(rows[theirs], rowvar=False)) * (1 + 1e-9)


def test_too_few_reeds_are_refused() -> None:
    rng = np.random.default_rng(6)
    with pytest.raises(InputError, match="5 reeds or more for each"):
        robust_distances(rng.normal(size=(8, 2)), rng=rng)
    with pytest.raises(InputError, match="the same on all reeds"):
        robust_distances(np.ones((8, 1)), rng=rng)
    column = rng.normal(size=20)
    with pytest.raises(InputError, match="determine each other"):
        robust_distances(np.column_stack([column, 2.0 * column]), rng=rng)


@pytest.mark.parametrize("far", [1e3, 1e6])
def test_a_reed_very_far_off_does_not_make_the_others_look_alike(far: float) -> None:
    """Such as a reading typed without its decimal point, in three quantities."""
    rng = np.random.default_rng(7)
    reeds = rng.normal(size=(20, 3))
    reeds[4] = far
    assert robust_distances(reeds, rng=rng).outlying[0] == 4
