"""Files written by a command: whole, or not at all."""

import errno
from pathlib import Path

import pytest

from crowlight.cli.reading import write_text
from crowlight.errors import CannotWrite


def test_a_full_disk_leaves_no_part_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(CannotWrite, match="No space left"):
        write_text(tmp_path / "x.html", "x")
    assert list(tmp_path.iterdir()) == []
