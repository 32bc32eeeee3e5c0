"""Every place of every blade lies in a zone, however the style is laid on a reed."""

from hypothesis import given
from hypothesis import strategies as st

from crowlight.reed.styles import STYLE_CODES, style

fractions = st.floats(-1.0, 1.0)
shares = st.floats(0.0, 1.0)


@given(st.sampled_from(STYLE_CODES), st.floats(-2.0, 2.0), st.floats(-1.5, 1.5), shares, fractions)
def test_every_place_has_a_zone(code, longer_mm, shift_mm, share, fraction):
    nominal = style(code)
    laid = nominal.placed(nominal.length + longer_mm * 1e-3).moved(shift_mm * 1e-3)
    along = min(laid.thread_top + share * (laid.length - laid.thread_top), laid.length)
    half = float(laid.outline.half_width(along))
    across = max(-half, min(half, fraction * half))
    zone = laid.zone_of(along, across)
    mirrored = laid.zone_of(along, -across)
    assert zone.name == mirrored.name


@given(st.sampled_from(STYLE_CODES), shares, fractions)
def test_mean_profile_is_even_and_thinner_at_the_tip(code, share, fraction):
    nominal = style(code)
    values, _ = nominal.vector()
    along = nominal.thread_top + share * (nominal.length - nominal.thread_top)
    left, right = nominal.mean(values, along, [-fraction, fraction])
    assert left == right
    assert 0.02e-3 < left < 0.8e-3
    assert nominal.mean(values, nominal.length, fraction) < nominal.mean(
        values, nominal.thread_top, fraction
    )


@given(st.sampled_from(STYLE_CODES), st.floats(-1.9, 1.9))
def test_laying_a_style_on_a_length_and_back_changes_nothing(code, longer_mm):
    nominal = style(code)
    back = nominal.placed(nominal.length + longer_mm * 1e-3).placed(nominal.length)
    for a, b in zip(nominal.full, back.full, strict=True):
        assert abs(a.along - b.along) < 1e-12
