"""Evidence against worked examples of statistics texts."""

import pytest

from crowlight.checks import bayes
from crowlight.checks.case import Check


@pytest.mark.parametrize("case", list(bayes.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"
