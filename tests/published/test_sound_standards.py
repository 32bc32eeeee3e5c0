"""Tunings and played notes against standards and closed forms; `crowlight verify` runs the same."""

import pytest

from crowlight.checks import Check, sound


@pytest.mark.parametrize("check", list(sound.cases()), ids=lambda check: check.name)
def test_notes(check: Check) -> None:
    assert check.ok, f"{check.value} is not within {check.tolerance} of {check.expected}"
