"""Run the command line in this process."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from crowlight.cli import main


@dataclass(frozen=True)
class Ran:
    """What a command did."""

    status: int
    out: str
    err: str


@pytest.fixture
def crowlight(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ran]:
    """Return a function that runs `crowlight` on records of this test alone."""
    monkeypatch.setenv("CROWLIGHT_FOLDER", str(tmp_path / "records"))

    def run(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["crowlight", *map(str, arguments)])
        status = 0
        try:
            main()
        except SystemExit as stop:
            status = int(stop.code or 0)
        said = capsys.readouterr()
        return Ran(status, said.out, said.err)

    return run
