"""Linear light against published sRGB values."""

import numpy as np
import pytest

from crowlight.look import linear, luminance


def test_the_curve_meets_published_values():
    """IEC 61966-2-1:1999: light of 0.18 is coded 0.4613561 (manual of colour 0.3.9, oetf_sRGB)."""
    assert float(linear(0.4613561)) == pytest.approx(0.18, abs=5e-8)
    assert linear([0.0, 1.0]).tolist() == pytest.approx([0.0, 1.0], abs=1e-12)


def test_the_two_pieces_of_the_curve_meet():
    """The standard joins its line and its curve at 0.04045, which is 0.0031308 of light."""
    assert float(linear(0.04045)) == pytest.approx(0.0031308, abs=5e-8)
    assert float(linear(0.04045 + 1e-9)) == pytest.approx(float(linear(0.04045)), abs=1e-7)
    assert (np.diff(linear(np.arange(256) / 255)) > 0).all()


def test_luminance_has_the_weights_of_the_standard():
    """ITU-R BT.709-6, 3.2: 0.2126, 0.7152, 0.0722; white is 1."""
    assert luminance(np.eye(3)).tolist() == [0.2126, 0.7152, 0.0722]
    assert float(luminance(np.ones(3))) == pytest.approx(1.0, abs=1e-12)
