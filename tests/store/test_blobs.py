"""Sounds and pictures by their content."""

from __future__ import annotations

import errno
import hashlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crowlight.errors import CannotWrite, NotFound, RecordsError
from crowlight.store import FileBlobs

# FIPS 180-4, example of SHA-256 for the message "abc" (NIST, "SHA256.pdf" of the Cryptographic
# Standards and Guidelines examples).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def blobs(tmp_path: Path) -> FileBlobs:
    return FileBlobs(tmp_path / "blobs")


def files(blobs: FileBlobs) -> list[Path]:
    return [p for p in blobs.folder.rglob("*") if p.is_file()]


def test_the_name_is_the_sha_256_of_the_content(blobs: FileBlobs) -> None:
    assert blobs.put(b"abc") == ABC
    assert blobs.get(ABC) == b"abc"
    assert [p.name for p in files(blobs)] == [ABC]


@given(data=st.binary(max_size=2000))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_goes_in_comes_out(blobs: FileBlobs, data: bytes) -> None:
    assert blobs.get(blobs.put(data)) == data


def test_keeping_twice_is_harmless(blobs: FileBlobs) -> None:
    blobs.put(b"abc")
    before = files(blobs)[0].stat().st_mtime_ns
    assert blobs.put(b"abc") == ABC
    assert len(files(blobs)) == 1
    assert files(blobs)[0].stat().st_mtime_ns == before


def test_all_that_is_kept(blobs: FileBlobs) -> None:
    assert list(blobs.digests()) == []
    kept = {blobs.put(bytes([i])) for i in range(20)}
    (blobs.folder / "notes.txt").write_text("not ours")
    (blobs.folder / ABC[:2]).mkdir(exist_ok=True)
    (blobs.folder / ABC[:2] / f".{ABC}.0123.part").write_bytes(b"half")
    assert list(blobs.digests()) == sorted(kept)


@pytest.mark.parametrize("change", [b"", b"ab", b"abx", b"abcd"])
def test_damage_is_noticed_and_mended(blobs: FileBlobs, change: bytes) -> None:
    blobs.put(b"abc")
    files(blobs)[0].write_bytes(change)
    with pytest.raises(NotFound, match="is damaged: its content changed since it was kept"):
        blobs.get(ABC)
    blobs.put(b"abc")
    assert blobs.get(ABC) == b"abc"


def test_what_is_not_there(blobs: FileBlobs) -> None:
    with pytest.raises(NotFound, match="no sound or picture ba7816bf8f01… is kept"):
        blobs.get(ABC)


@pytest.mark.parametrize(
    "name", ["", "../../etc/passwd", "ab" * 31 + "/.", ABC.upper(), ABC + "\n"]
)
def test_a_digest_that_is_none(blobs: FileBlobs, name: str) -> None:
    with pytest.raises(NotFound, match="is not a digest"):
        blobs.get(name)


def test_a_file_that_cannot_be_read(blobs: FileBlobs) -> None:
    (blobs.folder / ABC[:2] / ABC).mkdir(parents=True)
    with pytest.raises(RecordsError, match="cannot be read"):
        blobs.get(ABC)


def test_a_full_disk(blobs: FileBlobs, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_number: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    blobs.put(b"before")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match=r"could not be written .No space left on device."):
        blobs.put(b"abc")
    monkeypatch.undo()
    assert [p.read_bytes() for p in files(blobs)] == [b"before"]


def test_a_read_only_folder(ordinary_user: Callable[[], AbstractContextManager[None]]) -> None:
    with tempfile.TemporaryDirectory(prefix="crow-") as name:
        blobs = FileBlobs(Path(name) / "blobs")
        blobs.put(b"before")
        Path(name).chmod(0o755)
        for folder in (blobs.folder, *(p for p in blobs.folder.rglob("*") if p.is_dir())):
            folder.chmod(0o555)
        with ordinary_user(), pytest.raises(CannotWrite, match="Permission denied"):
            blobs.put(b"abc")
        with ordinary_user():
            assert blobs.get(hashlib.sha256(b"before").hexdigest()) == b"before"
        for folder in (blobs.folder, *(p for p in blobs.folder.rglob("*") if p.is_dir())):
            folder.chmod(0o755)


DYING = """
import os, sys
from pathlib import Path
from crowlight.store import FileBlobs

folder, moment = sys.argv[1:]
FileBlobs(Path(folder), failpoint=lambda point: point == moment and os._exit(41)).put(b"abc")
"""


@pytest.mark.parametrize(
    ("moment", "kept"), [("blobs:before-rename", []), ("blobs:after-rename", [ABC])]
)
def test_the_process_ends_while_keeping(blobs: FileBlobs, moment: str, kept: list[str]) -> None:
    done = subprocess.run([sys.executable, "-c", DYING, str(blobs.folder), moment])
    assert done.returncode == 41
    assert list(blobs.digests()) == kept
    blobs.put(b"abc")
    assert blobs.get(ABC) == b"abc"
