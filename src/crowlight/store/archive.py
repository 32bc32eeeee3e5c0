"""The one file of a backup: a zip archive whose manifest gives the SHA-256 of every part.

::

    manifest.json              what the archive holds, with sizes and digests
    database/reeds.sqlite      a whole SQLite database, or
    database/<table>.copy      the rows of each table, in PostgreSQL's COPY text format
    blobs/<digest>             sounds and pictures

Nothing of an archive is used before all of it was checked.
"""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Literal, Self

from crowlight.errors import RecordsError

__all__ = ["SQLITE_PART", "Archive", "ArchiveWriter", "Manifest", "opened"]

FORMAT = "crowlight backup"
VERSION = 1
SQLITE_PART = "database/reeds.sqlite"
_PARTS = re.compile(r"database/reeds\.sqlite|database/[a-z_]+\.copy|blobs/[0-9a-f]{64}")
_PIECE = 1 << 20

Kind = Literal["sqlite", "postgresql"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What an archive holds.

    Parameters
    ----------
    kind : {"sqlite", "postgresql"}
        What its database was.
    revision : str
        Revision of its database.
    made_at : str
        When it was made, ISO 8601 with zone.
    columns : dict
        For PostgreSQL, the columns of each table in the order of the rows.
    parts : dict
        Size and SHA-256 of each part by name.
    """

    kind: Kind
    revision: str
    made_at: str
    columns: dict[str, list[str]]
    parts: dict[str, tuple[int, str]]


class ArchiveWriter:
    """Writes parts into an archive and their digests into its manifest."""

    def __init__(self, file: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(file, "w", allowZip64=True)
        self._parts: dict[str, tuple[int, str]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(OSError, ValueError):
            self._zip.close()

    def add(self, name: str, pieces: Iterable[bytes], *, compress: bool) -> None:
        """Add one part."""
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED if compress else zipfile.ZIP_STORED
        digest, size = hashlib.sha256(), 0
        with self._zip.open(info, "w", force_zip64=True) as part:
            for piece in pieces:
                digest.update(piece)
                size += len(piece)
                part.write(piece)
        self._parts[name] = size, digest.hexdigest()

    def finish(
        self, *, kind: Kind, revision: str, made_at: str, columns: dict[str, list[str]]
    ) -> None:
        """Write the manifest and end the archive."""
        manifest = {
            "format": FORMAT,
            "version": VERSION,
            "made_at": made_at,
            "database": {"kind": kind, "revision": revision, "columns": columns},
            "parts": {
                name: {"bytes": size, "sha256": digest}
                for name, (size, digest) in self._parts.items()
            },
        }
        self._zip.writestr("manifest.json", json.dumps(manifest, indent=1))
        self._zip.close()


class Archive:
    """An archive in which every part was found to be what the manifest says."""

    def __init__(self, file: zipfile.ZipFile, manifest: Manifest) -> None:
        self._zip = file
        self.manifest = manifest

    def pieces(self, name: str) -> Iterator[bytes]:
        """Yield the content of a part."""
        with self._zip.open(name) as part:
            while piece := part.read(_PIECE):
                yield piece

    def blobs(self) -> list[str]:
        """Return the digests of the sounds and pictures."""
        return [n.removeprefix("blobs/") for n in self.manifest.parts if n.startswith("blobs/")]


@contextmanager
def opened(path: Path, report: Callable[[float], None]) -> Iterator[Archive]:
    """Open an archive and check all of it.

    Parameters
    ----------
    path : Path
        The file.
    report : callable
        Called with the fraction checked.

    Raises
    ------
    RecordsError
        Not there, not a backup, made by a later version, or damaged.
    """
    try:
        file = zipfile.ZipFile(path)
    except OSError as error:
        msg = f"the backup {path} cannot be read ({error.strerror or error})"
        raise RecordsError(msg) from error
    except zipfile.BadZipFile as error:
        raise _damaged(path, "it is not a complete archive") from error
    with file:
        archive = Archive(file, _manifest(file, path))
        _check(archive, file, path, report)
        yield archive


def _damaged(path: Path, why: str) -> RecordsError:
    return RecordsError(
        f"the backup {path} is damaged or not ours: {why}; nothing was changed, use another backup"
    )


def _manifest(file: zipfile.ZipFile, path: Path) -> Manifest:
    try:
        given: dict[str, Any] = json.loads(file.read("manifest.json"))
        if given["format"] != FORMAT:
            raise _damaged(path, f"its format is {given['format']!r}")
        if given["version"] > VERSION:
            msg = f"the backup {path} was made by a later crowlight; restore it with that version"
            raise RecordsError(msg)
        database = given["database"]
        manifest = Manifest(
            kind=database["kind"],
            revision=str(database["revision"]),
            made_at=str(given["made_at"]),
            columns={str(t): [str(c) for c in cs] for t, cs in database["columns"].items()},
            parts={
                str(name): (int(part["bytes"]), str(part["sha256"]))
                for name, part in given["parts"].items()
            },
        )
    except (
        KeyError,
        TypeError,
        ValueError,
        AttributeError,
        EOFError,
        zlib.error,
        zipfile.BadZipFile,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise _damaged(path, "its manifest cannot be read") from error
    names = re.compile(r"[a-z_]+")
    words = [*manifest.columns, *(c for columns in manifest.columns.values() for c in columns)]
    if manifest.kind == "sqlite":
        tables = {SQLITE_PART}
    elif manifest.kind == "postgresql":
        tables = {f"database/{table}.copy" for table in manifest.columns}
    else:
        raise _damaged(path, f"its database is of the unknown kind {manifest.kind!r}")
    held = {name for name in manifest.parts if name.startswith("database/")}
    if held != tables or not all(names.fullmatch(word) for word in words):
        raise _damaged(path, "its manifest contradicts itself")
    return manifest


def _check(
    archive: Archive, file: zipfile.ZipFile, path: Path, report: Callable[[float], None]
) -> None:
    parts = archive.manifest.parts
    held = [info.filename for info in file.infolist() if info.filename != "manifest.json"]
    if len(held) != len(parts) or set(held) != set(parts):
        raise _damaged(path, "it does not hold what its manifest says")
    total, done = sum(size for size, _ in parts.values()) or 1, 0
    for name, (size, expected) in parts.items():
        if not _PARTS.fullmatch(name) or file.getinfo(name).file_size != size:
            raise _damaged(path, f"the part {name!r} is not as its manifest says")
        digest = hashlib.sha256()
        try:
            for piece in archive.pieces(name):
                digest.update(piece)
                done += len(piece)
                report(min(1.0, done / total))
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as e:
            raise _damaged(path, f"the part {name!r} cannot be read") from e
        except OSError as e:
            msg = f"the backup {path} cannot be read ({e.strerror or e})"
            raise RecordsError(msg) from e
        if digest.hexdigest() != expected:
            raise _damaged(path, f"the part {name!r} has changed since it was made")
        if name.startswith("blobs/") and name != f"blobs/{expected}":
            raise _damaged(path, f"the part {name!r} is not what its name says")
