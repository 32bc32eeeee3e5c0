"""The limits within which reeds of a style lie."""

import numpy as np

from crowlight.invented.reeds import draw_reed
from crowlight.reed import Blade
from crowlight.reed.styles import style

LONG = style("long")
ALONG = np.linspace(LONG.thread_top + 3e-3, LONG.length - 0.3e-3, 40)


def test_band_holds_the_mean_and_stays_among_thicknesses_that_occur() -> None:
    low, high = LONG.band(ALONG, 0.0)
    mean = LONG.thickness(ALONG, 0.0)
    assert np.all(low >= 0)
    assert np.all(low < mean)
    assert np.all(mean < high)
    # A band of two standard deviations would reach 0.8 mm where lines may shift; cane does not.
    assert high.max() < 0.66e-3


def test_a_narrower_share_is_a_narrower_band() -> None:
    wide, narrow = LONG.band(ALONG, 0.0), LONG.band(ALONG, 0.0, level=0.5)
    assert np.all(wide[0] <= narrow[0])
    assert np.all(narrow[1] <= wide[1])


def test_most_invented_reeds_of_the_style_lie_in_it() -> None:
    # Their forms are not the style's, so the share is not 0.95; but most of most reeds lies inside.
    inside = []
    for seed in range(20):
        reed = draw_reed(np.random.default_rng(seed), even=True)
        along = ALONG + (reed.style.length - LONG.length)
        low, high = reed.style.band(along, 0.0)
        found = reed.thickness(Blade.MARKED, along, 0.0)
        inside.append(np.mean((found >= low) & (found <= high)))
    assert np.mean(inside) > 0.8
