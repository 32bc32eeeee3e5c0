"""Three classes: against statsmodels' OrderedModel, and against how they were made."""

import numpy as np
import pytest
from scipy import optimize
from statsmodels.miscmodels.ordinal_model import OrderedModel

from crowlight.errors import InputError
from crowlight.listen import common_practice, features, fit_classes, learn_classes
from crowlight.listen.classes import _loss


def labelled(seed=0, reeds=30, takes=4, noise=1.0):
    rng = np.random.default_rng(seed)
    reed = np.repeat(np.arange(reeds), takes)
    badness = np.repeat(rng.normal(0, 1.5, reeds), takes)
    x = np.array([-15.0, -22.0, -20.0]) + np.array([6.0, 5.0, 8.0]) * (
        badness[:, None] + rng.normal(0, 0.7, (reeds * takes, 3))
    )
    heard = badness + rng.logistic(0, noise, reeds * takes) * 0.5
    return x, np.digitize(heard, [-0.7, 0.9]), reed


def test_without_penalty_it_is_the_reference_librarys_model():
    # reference: statsmodels 0.15 OrderedModel(distr="logit"), same likelihood
    x, y, _ = labelled()
    z = (x - x.mean(axis=0)) / x.std(axis=0)
    reference = OrderedModel(y, z, distr="logit").fit(method="bfgs", disp=False, gtol=1e-8)
    ours = fit_classes(x, y, penalty=0.0)
    assert ours.weight == pytest.approx(reference.params[:3], abs=1e-4)
    first, gap = reference.params[3:]
    assert ours.threshold == pytest.approx([first, first + np.exp(gap)], abs=1e-4)
    assert ours.probability(x) == pytest.approx(reference.predict(), abs=1e-5)


@pytest.mark.parametrize("penalty", [0.0, 2.0])
def test_gradient_of_the_loss(penalty):
    x, y, _ = labelled()
    z = (x - x.mean(axis=0)) / x.std(axis=0)
    at = np.array([0.3, -0.5, 0.8, -0.6, 0.2])
    found = optimize.approx_fprime(at, lambda v: _loss(v, z, y, penalty)[0], 1e-6)
    assert _loss(at, z, y, penalty)[1] == pytest.approx(found, abs=1e-3)


def test_penalty_draws_the_weights_in_and_saves_separable_labels():
    x = np.array(
        [
            [-30.0, -40, -50],
            [-28, -38, -50],
            [-15, -20, -20],
            [-14, -21, -20],
            [5, -5, 0],
            [4, -5, 1],
        ]
    )
    y = np.array([0, 0, 1, 1, 2, 2])
    soft, hard = (np.abs(fit_classes(x, y, penalty=p).weight).max() for p in (5.0, 0.5))
    assert soft < hard < 10.0
    assert np.argmax(fit_classes(x, y, penalty=0.5).probability(x), axis=1).tolist() == y.tolist()


def test_probabilities_are_ordered_and_add_up():
    found = common_practice().probability([[-35.0, -45.0, -55.0], [-15, -20, -18], [0, -8, 0]])
    assert found.sum(axis=1) == pytest.approx(1.0)
    assert np.argmax(found, axis=1).tolist() == [0, 1, 2]


def test_features_stay_within_their_limits():
    assert np.all(np.isfinite(features(0.0, 0.0, -np.inf)))
    assert features(0.5, 0.1, -20.0) == pytest.approx([0.0, -20.0, -20.0])


def test_learning_reports_the_error_on_reeds_not_heard():
    x, y, reed = labelled(noise=0.3)
    found = learn_classes(x, y, reed.tolist())
    assert found.enough
    assert found.model.basis == "your labels"
    assert (found.reeds, found.takes) == (30, 120)
    assert found.error is not None
    assert found.error_low is not None
    assert found.error_high is not None
    assert found.error_low < found.error < found.error_high
    # fresh reeds of the same maker: the interval said what to expect
    new_x, new_y, _ = labelled(seed=7, noise=0.3, reeds=200)
    truth = np.mean(np.argmax(found.model.probability(new_x), axis=1) != new_y)
    assert found.error_low <= truth <= found.error_high


def test_labels_that_mean_nothing_show_as_error():
    x, y, reed = labelled()
    shuffled = np.random.default_rng(3).permutation(y)
    found = learn_classes(x, shuffled, reed.tolist())
    assert found.error is not None
    assert found.error > 0.45  # three classes, the commonest has about 40 %


def test_leaving_out_takes_instead_of_reeds_would_flatter():
    # a feature that only names the reed: useless on a reed not heard
    rng = np.random.default_rng(5)
    reed = np.repeat(np.arange(12), 6)
    x = np.repeat(rng.normal(0, 10, (12, 3)), 6, axis=0) + rng.normal(0, 0.01, (72, 3))
    y = np.repeat(np.tile([0, 1, 2], 4), 6)
    by_reed = learn_classes(x, y, reed.tolist(), penalty=0.01).error
    by_take = learn_classes(x, y, list(range(72)), penalty=0.01).error
    assert by_reed is not None
    assert by_take is not None
    assert by_reed > by_take


def test_too_few_labels_fall_back_to_common_practice():
    x, y, reed = labelled(reeds=5)
    found = learn_classes(x, y, reed.tolist())
    assert not found.enough
    assert found.error is None
    assert found.model.basis == "common practice"
    assert learn_classes([], [], []).takes == 0


@pytest.mark.parametrize(
    ("x", "y", "match"),
    [
        ([[1.0, 2, 3]] * 4, [0, 0, 1, 1], "missing or unknown: rattling"),
        ([[1.0, 2, 3]] * 4, [0, 1, 2, 7], "missing or unknown"),
        ([[1.0, 2, 3]] * 4, [0, 1, 2], "must match"),
        ([[1.0, np.nan, 3]] * 3, [0, 1, 2], "finite"),
    ],
)
def test_labels_that_cannot_be_fitted_are_refused(x, y, match):
    with pytest.raises(InputError, match=match):
        fit_classes(x, y)


@pytest.mark.parametrize("most", [0, 2])
def test_many_labels_of_one_class_do_not_squeeze_out_another(most):
    """Of 304 takes 300 are of one class: the others keep a place of their own."""
    rng = np.random.default_rng(4)
    few = [j for j in range(3) if j != most]
    y = np.array([most] * 300 + few * 2)
    x = rng.normal(size=(304, 3)) + 4.0 * y[:, None]
    model = fit_classes(x, y)
    assert model.threshold[0] < model.threshold[1]
    between = model.probability(np.linspace(-8.0, 16.0, 400)[:, None] * np.ones(3))
    assert between[:, 1].max() > 0.3
