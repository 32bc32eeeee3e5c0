"""Results that can be computed again."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from crowlight.store import FileResults


@pytest.fixture
def results(tmp_path: Path) -> FileResults:
    return FileResults(tmp_path / "computed", limit=10_000)


def files(results: FileResults) -> list[Path]:
    return [p for p in results.folder.rglob("*") if p.is_file()]


def size(results: FileResults) -> int:
    return sum(p.stat().st_size for p in files(results))


def age(results: FileResults) -> None:
    """Make everything kept so far a minute older."""
    for path in files(results):
        facts = path.stat()
        os.utime(path, (facts.st_atime - 60, facts.st_mtime - 60))


def test_what_was_kept_comes_back(results: FileResults) -> None:
    assert results.get("map:1") is None
    results.put("map:1", b"one")
    results.put("map:2", b"")
    results.put("map/../\x00", b"odd")
    assert results.get("map:1") == b"one"
    assert results.get("map:2") == b""
    assert results.get("map/../\x00") == b"odd"
    results.put("map:1", b"uno")
    assert results.get("map:1") == b"uno"


def test_it_may_be_deleted_at_any_time(results: FileResults) -> None:
    results.put("a", b"1")
    shutil.rmtree(results.folder)
    assert results.get("a") is None
    results.put("a", b"1")
    results.clear()
    assert results.get("a") is None
    assert files(results) == []


@pytest.mark.parametrize("damage", [b"", b"x", b"\x00" * 40])
def test_damage_is_never_believed(results: FileResults, damage: bytes) -> None:
    results.put("a", b"value")
    files(results)[0].write_bytes(damage)
    assert results.get("a") is None
    assert files(results) == []


def test_one_changed_bit_is_noticed(results: FileResults) -> None:
    results.put("a", b"value")
    path = files(results)[0]
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)
    assert results.get("a") is None


def test_the_size_is_bounded_and_the_unused_goes_first(results: FileResults) -> None:
    for number in range(9):
        age(results)
        results.put(str(number), bytes(1000))
    assert size(results) == 9 * 1032
    assert results.get("0") is not None  # used just now
    age(results)
    results.get("0")
    results.put("9", bytes(1000))
    assert size(results) <= 10_000
    assert results.get("1") is None
    assert results.get("0") is not None
    assert results.get("9") is not None


def test_the_bound_holds_over_many(results: FileResults) -> None:
    for number in range(200):
        results.put(str(number), bytes(number * 10))
        assert size(results) <= 10_000
    assert results.get("199") == bytes(1990)


def test_what_is_too_large_is_not_kept(results: FileResults) -> None:
    results.put("small", b"1")
    results.put("large", bytes(10_001))
    assert results.get("large") is None
    assert results.get("small") == b"1"


def test_failing_to_keep_is_no_error(results: FileResults, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    results.put("a", b"1")
    assert results.get("a") is None
    assert files(results) == []


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    results = FileResults(tmp_path / "file" / "computed")
    results.put("a", b"1")
    assert results.get("a") is None
