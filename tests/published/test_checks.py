"""Every published case, once as a test each; `crowlight verify` runs the same list."""

import inspect
import math
from dataclasses import replace
from pathlib import Path

import pytest

from crowlight import checks
from crowlight.checks import Check, measurement


def _id(check: Check) -> str:
    return check.name


@pytest.mark.parametrize("check", list(measurement.cases()), ids=_id)
def test_uncertainty_and_decisions(check: Check) -> None:
    assert check.ok, f"{check.value} is not within {check.tolerance} of {check.expected}"


def test_no_topic_is_left_out_of_verify() -> None:
    folder = Path(checks.__file__).parent
    topics = {p.stem for p in folder.glob("*.py") if "\ndef cases(" in p.read_text("utf-8")}
    source = inspect.getsource(checks.all_cases)
    assert {t for t in topics if f"        {t},\n" not in source} == set()


def test_a_case_that_is_off_is_not_ok() -> None:
    good = Check("x", 1.0, 1.0, 0.1, "1", "closed form")
    assert good.ok
    assert not replace(good, value=1.2).ok
    assert not replace(good, value=math.nan).ok
