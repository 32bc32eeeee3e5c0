"""Everything kept, in one file that can be checked and restored."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import select

from crowlight.bench.kinds import Recording
from crowlight.errors import Conflict, RecordsError
from crowlight.store.archive import SQLITE_PART, Archive, ArchiveWriter, opened
from crowlight.store.blobs import FileBlobs
from crowlight.store.database import Database, refuse_newer
from crowlight.store.dump import copy_rows, load_tables
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.faults import cannot_write
from crowlight.store.files import written_whole
from crowlight.store.records import SqlRecords
from crowlight.store.schema import HEAD, entry, metadata
from crowlight.store.snapshot import (
    Condition,
    checked_copy,
    condition_of,
    copy_sqlite,
    replace_sqlite,
)

__all__ = ["BackedUp", "Restored", "restore_backup", "write_backup"]

#: Called with the fraction done, 0 to 1.
Report = Callable[[float], None]


def _silent(_fraction: float) -> None:
    pass


@dataclass(frozen=True, slots=True, kw_only=True)
class BackedUp:
    """What a backup holds.

    Parameters
    ----------
    path : Path
        The file.
    size : int
        Its size in bytes.
    blobs : int
        Number of sounds and pictures in it.
    damaged : tuple of str
        Digests of sounds and pictures that were found damaged and left out.
    absent : tuple of str
        Digests of sounds that an entry names and that are not there at all.
    """

    path: Path
    size: int
    blobs: int
    damaged: tuple[str, ...]
    absent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What a restoration did.

    Parameters
    ----------
    made_at : str
        When the backup was made.
    blobs : int
        Number of sounds and pictures in it.
    set_aside : Path or None
        Where the database that was there before is kept; SQLite only.
    """

    made_at: str
    blobs: int
    set_aside: Path | None


def write_backup(
    records: SqlRecords,
    blobs: FileBlobs,
    target: Path,
    *,
    report: Report = _silent,
    failpoint: Failpoint = pass_by,
) -> BackedUp:
    """Write everything kept into one file.

    The records are those of one moment, even while others write. Sounds and pictures are kept
    before the entries that name them, so every one such an entry names is there.

    Parameters
    ----------
    records : SqlRecords
        The records.
    blobs : FileBlobs
        The sounds and pictures.
    target : Path
        The file; must not be there yet.
    report : callable, optional
        Called with the fraction done.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.

    Raises
    ------
    Conflict
        If there is a file of that name.
    CannotWrite
        If it cannot be written; nothing is left behind.
    """
    target = Path(target)
    if target.exists():
        msg = f"{target} is there already; choose another name for the backup"
        raise Conflict(msg)
    columns = {table.name: [c.name for c in table.c] for table in metadata.sorted_tables}
    sqlite = records.database.path is not None
    try:
        with (
            TemporaryDirectory(prefix=".crowlight-", dir=target.parent) as folder,
            written_whole(target, name="backup", failpoint=failpoint) as file,
            ArchiveWriter(file) as writer,
        ):
            if sqlite:
                copy = Path(folder) / "copy"
                copy_sqlite(records.database, copy)
                writer.add(SQLITE_PART, _pieces(copy), compress=True)
            else:
                with records.database.read() as connection:
                    for table, names in columns.items():
                        rows = copy_rows(connection, table, names)
                        writer.add(f"database/{table}.copy", rows, compress=True)
            report(0.5)
            named = _named(records)
            count, damaged = _add_blobs(writer, blobs, report)
            writer.finish(
                kind="sqlite" if sqlite else "postgresql",
                revision=HEAD,
                made_at=records.clock.now().isoformat(),
                columns={} if sqlite else columns,
            )
        size = target.stat().st_size
    except OSError as error:
        raise cannot_write(target, error) from error
    report(1.0)
    absent = tuple(sorted(named - set(blobs.digests())))
    return BackedUp(path=target, size=size, blobs=count, damaged=damaged, absent=absent)


def _named(records: SqlRecords) -> set[str]:
    """Return the digests that entries name."""
    payloads = select(entry.c.payload).where(entry.c.kind == Recording.kind)
    with records.database.read() as connection:
        found = connection.execute(payloads).scalars().all()
    digests = (payload.get(name) for payload in found for name in ("digest", "original"))
    return {digest for digest in digests if digest}


def _pieces(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            yield piece


def _add_blobs(
    writer: ArchiveWriter, blobs: FileBlobs, report: Report
) -> tuple[int, tuple[str, ...]]:
    """Add every sound and picture; one that is damaged does not keep the others out."""
    digests = list(blobs.digests())
    damaged: list[str] = []
    for number, digest in enumerate(digests, start=1):
        try:
            data = blobs.get(digest)
        except RecordsError:
            damaged.append(digest)
            continue
        writer.add(f"blobs/{digest}", [data], compress=False)
        report(0.5 + 0.5 * number / len(digests))
    return len(digests) - len(damaged), tuple(damaged)


def restore_backup(
    archive: Path,
    where: str | Path,
    blobs: FileBlobs,
    *,
    overwrite: bool = False,
    report: Report = _silent,
    failpoint: Failpoint = pass_by,
) -> Restored:
    """Put back what a backup holds, after checking all of it.

    Names of people who were erased since the backup was made come back with it: erase them again.

    Parameters
    ----------
    archive : Path
        The backup.
    where : str or Path
        The SQLite file or PostgreSQL address to restore into; of the kind the backup was made of.
    blobs : FileBlobs
        Where sounds and pictures are kept; what is there stays there.
    overwrite : bool
        Whether to replace records that are there. A SQLite database that is replaced is kept
        beside the new one, under the name in `Restored.set_aside`.
    report : callable, optional
        Called with the fraction done.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.

    Raises
    ------
    Conflict
        There are records already, and `overwrite` was not asked for.
    NewerDatabase
        The backup, or what is there, was made by a later version.
    RecordsError
        The backup is damaged, not ours, or of the other kind of database.
    CannotWrite
        Disk full, read-only, locked; the records are as they were.
    """
    archive = Path(archive)
    postgresql = isinstance(where, str) and "://" in where
    with opened(archive, lambda fraction: report(0.5 * fraction)) as checked:
        manifest = checked.manifest
        refuse_newer(manifest.revision, f"the backup {archive}")
        if (manifest.kind == "postgresql") != postgresql:
            need = "a PostgreSQL address" if postgresql is False else "a file"
            msg = f"the backup {archive} is of a {manifest.kind} database; restore it into {need}"
            raise RecordsError(msg)
        failpoint("restore:checked")
        aside = None
        if postgresql:
            _restore_postgresql(checked, str(where), blobs, overwrite, failpoint)
        else:
            aside = _restore_sqlite(checked, Path(where), blobs, overwrite, failpoint)
        report(1.0)
        return Restored(made_at=manifest.made_at, blobs=len(checked.blobs()), set_aside=aside)


def _refuse_data(where: str | Path) -> Conflict:
    return Conflict(
        f"{where} holds records already; nothing was changed: restore to another place, or say "
        f"that they are to be replaced"
    )


def _restore_sqlite(
    checked: Archive, path: Path, blobs: FileBlobs, overwrite: bool, failpoint: Failpoint
) -> Path | None:
    condition = condition_of(path)
    if condition != "empty" and not overwrite:
        raise _refuse_data(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(prefix=".crowlight-", dir=path.parent) as folder:
            copy = Path(folder) / path.name
            with copy.open("wb") as file:
                file.writelines(checked.pieces(SQLITE_PART))
            checked_copy(copy)
            _restore_blobs(checked, blobs)
            aside = _set_aside(path, condition, Path(folder) / "aside")
            failpoint("restore:before-database")
            replace_sqlite(copy, path)
            failpoint("restore:after-database")
    except OSError as error:
        raise cannot_write(path, error) from error
    return aside


def _set_aside(path: Path, condition: Condition, copy: Path) -> Path | None:
    """Keep what is about to be replaced: a copy of sound records, a damaged file itself."""
    if condition == "empty":
        return None
    number = 1
    while (aside := path.with_name(f"{path.name}.before-restore-{number}")).exists():
        number += 1
    if condition == "data":
        with closing(Database(path)) as database:
            copy_sqlite(database, copy)
        copy.rename(aside)
        return aside
    for end in ("-shm", "-wal", ""):
        part = path.with_name(path.name + end)
        if part.exists():
            part.rename(aside.with_name(aside.name + end))
    return aside


def _restore_postgresql(
    checked: Archive, where: str, blobs: FileBlobs, overwrite: bool, failpoint: Failpoint
) -> None:
    with closing(Database(where)) as database:
        with database.read() as connection:
            holds = any(
                connection.execute(select(metadata.tables[table]).limit(1)).first()
                for table in ("person", "batch", "reed")
            )
        if holds and not overwrite:
            raise _refuse_data(database.name)
        _restore_blobs(checked, blobs)
        tables = {
            table: (columns, checked.pieces(f"database/{table}.copy"))
            for table, columns in checked.manifest.columns.items()
        }
        failpoint("restore:before-database")
        with database.write() as connection:
            load_tables(connection, checked.manifest.revision, tables)
        failpoint("restore:after-database")


def _restore_blobs(checked: Archive, blobs: FileBlobs) -> None:
    for digest in checked.blobs():
        blobs.put(b"".join(checked.pieces(f"blobs/{digest}")))
