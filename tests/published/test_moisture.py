"""Cane moisture against the handbook of wood."""

import pytest

from crowlight.checks import moisture
from crowlight.checks.case import Check


@pytest.mark.parametrize("case", list(moisture.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"
