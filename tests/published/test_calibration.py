"""The update of a reed against closed forms and worked examples of textbooks."""

import pytest

from crowlight.checks import calibration
from crowlight.checks.case import Check


@pytest.mark.parametrize("case", list(calibration.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"
