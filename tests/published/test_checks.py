"""Every published case, once as a test each; `crowlight verify` runs the same list."""

import math
from dataclasses import replace

import pytest

from crowlight.checks import Check, measurement


def _id(check: Check) -> str:
    return check.name


@pytest.mark.parametrize("check", list(measurement.cases()), ids=_id)
def test_uncertainty_and_decisions(check: Check) -> None:
    assert check.ok, f"{check.value} is not within {check.tolerance} of {check.expected}"


def test_a_case_that_is_off_is_not_ok() -> None:
    good = Check("x", 1.0, 1.0, 0.1, "1", "closed form")
    assert good.ok
    assert not replace(good, value=1.2).ok
    assert not replace(good, value=math.nan).ok
