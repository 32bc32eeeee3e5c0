"""Computed results in files that may be deleted: the port `crowlight.bench.ports.Results`."""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from pathlib import Path

from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.files import written_whole

__all__ = ["FileResults"]

_DIGEST_BYTES = 32


class FileResults:
    """Results in a folder of bounded size; the one not used for longest goes first.

    Every file begins with the SHA-256 of the rest, so that a damaged one is never believed.

    Parameters
    ----------
    folder : Path
        Made with the first result.
    limit : int
        Most bytes to keep; > 0.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    """

    def __init__(
        self, folder: Path, *, limit: int = 500_000_000, failpoint: Failpoint = pass_by
    ) -> None:
        self.folder = Path(folder)
        self.limit = limit
        self._failpoint = failpoint
        self._size: int | None = None

    def get(self, key: str) -> bytes | None:
        """Return the result kept under `key`, or None."""
        path = self._path(key)
        try:
            content = path.read_bytes()
        except OSError:
            return None
        digest, value = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
        if hashlib.sha256(value).digest() != digest:
            with suppress(OSError):
                path.unlink()
            return None
        with suppress(OSError):
            os.utime(path)  # used now
        return value

    def put(self, key: str, value: bytes) -> None:
        """Keep a result; failing to is not an error."""
        size = len(value) + _DIGEST_BYTES
        if size > self.limit:
            return
        path = self._path(key)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with written_whole(
                path, name="results", failpoint=self._failpoint, durable=False
            ) as file:
                file.write(hashlib.sha256(value).digest())
                file.write(value)
            self._make_room(size)
        except OSError:
            return

    def clear(self) -> None:
        """Delete every result."""
        for path in self._files():
            with suppress(OSError):
                path.unlink()
        self._size = None

    def _path(self, key: str) -> Path:
        name = hashlib.sha256(key.encode()).hexdigest()
        return self.folder / name[:2] / name

    def _files(self) -> list[Path]:
        return [path for path in self.folder.glob("??/*") if path.is_file()]

    def _make_room(self, added: int) -> None:
        """Delete the least recently used down to nine tenths of the limit, once it is passed.

        The size is counted at the first call and after that only added up; other processes' files
        are seen at the next count.
        """
        if self._size is not None:
            self._size += added
            if self._size <= self.limit:
                return
        found: list[tuple[float, int, Path]] = []
        for path in self._files():
            with suppress(OSError):
                facts = path.stat()
                found.append((facts.st_mtime, facts.st_size, path))
        self._size = sum(size for _, size, _ in found)
        if self._size <= self.limit:
            return
        for _, size, path in sorted(found):
            if self._size <= 0.9 * self.limit:
                return
            with suppress(OSError):
                path.unlink()
                self._size -= size
