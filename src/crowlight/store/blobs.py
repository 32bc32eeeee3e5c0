"""Sounds and pictures as files named by their content: the port `crowlight.bench.ports.Blobs`."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

from crowlight.errors import NotFound, RecordsError
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.faults import cannot_write
from crowlight.store.files import written_whole

__all__ = ["FileBlobs"]

_DIGEST = re.compile(r"[0-9a-f]{64}")


class FileBlobs:
    """Content kept in a folder under its SHA-256.

    Parameters
    ----------
    folder : Path
        Made with the first thing kept.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    """

    def __init__(self, folder: Path, *, failpoint: Failpoint = pass_by) -> None:
        self.folder = Path(folder)
        self._failpoint = failpoint

    def put(self, data: bytes) -> str:
        """Keep `data`; return its digest. Keeping it again is harmless, and mends a damaged file.

        Raises
        ------
        CannotWrite
            Disk full, folder read-only; what was there is untouched.
        """
        digest = hashlib.sha256(data).hexdigest()
        path = self._path(digest)
        try:
            if path.is_file() and path.read_bytes() == data:
                return digest
            path.parent.mkdir(parents=True, exist_ok=True)
            with written_whole(path, name="blobs", failpoint=self._failpoint) as file:
                file.write(data)
        except OSError as error:
            raise cannot_write(path, error) from error
        return digest

    def get(self, digest: str) -> bytes:
        """Return what has this digest.

        Raises
        ------
        NotFound
            If it is not there or its content no longer matches.
        RecordsError
            If it cannot be read.
        """
        path = self._path(digest)
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            msg = f"no sound or picture {digest[:12]}… is kept in {self.folder}; restore a backup"
            raise NotFound(msg) from None
        except OSError as error:
            msg = f"{path} cannot be read ({error.strerror}); check the disk and its permissions"
            raise RecordsError(msg) from error
        if hashlib.sha256(data).hexdigest() != digest:
            msg = f"{path} is damaged: its content changed since it was kept; restore a backup"
            raise NotFound(msg)
        return data

    def digests(self) -> Iterator[str]:
        """Yield the digests of all that is kept, in order."""
        if not self.folder.is_dir():
            return
        for shelf in sorted(self.folder.iterdir()):
            if shelf.is_dir() and len(shelf.name) == 2:
                names = sorted(path.name for path in shelf.iterdir())
                yield from (name for name in names if _DIGEST.fullmatch(name))

    def _path(self, digest: str) -> Path:
        if not _DIGEST.fullmatch(digest):
            msg = f"{digest[:80]!r} is not a digest: 64 characters 0 to 9 and a to f are"
            raise NotFound(msg)
        return self.folder / digest[:2] / digest
