"""Whole SQLite databases: copying one as of one moment, and putting one in another's place."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Literal

from crowlight.errors import CannotWrite, RecordsError
from crowlight.store.database import WAIT, Database, looked_at, refuse_newer, sqlite_state
from crowlight.store.faults import Damaged, translated

__all__ = ["Condition", "checked_copy", "condition_of", "copy_sqlite", "replace_sqlite"]

Condition = Literal["empty", "data", "damaged"]

#: Tables of the user's own doing; a new database has no row in them.
_OWN = ("person", "batch", "reed")


def condition_of(path: Path) -> Condition:
    """Tell whether a file holds records, without changing it.

    Raises
    ------
    NewerDatabase
        It was made by a later version.
    RecordsError
        It belongs to another program.
    """
    try:
        revision = sqlite_state(path)
        if revision is None:
            return "empty"
        refuse_newer(revision, str(path))
        return "data" if looked_at(path, _holds_something) else "empty"
    except Damaged:
        return "damaged"


def _holds_something(raw: sqlite3.Connection) -> bool:
    found = [f"EXISTS (SELECT 1 FROM {table})" for table in _OWN]  # noqa: S608 - own names
    return bool(raw.execute(f"SELECT {' OR '.join(found)}").fetchone()[0])


def copy_sqlite(database: Database, target: Path) -> None:
    """Copy a database as of one moment into a new file, while others may write."""
    with (
        translated(database.name, writing=False),
        closing(database.engine.raw_connection()) as pooled,
        closing(sqlite3.connect(target)) as copy,
    ):
        source = pooled.driver_connection
        assert isinstance(source, sqlite3.Connection)  # noqa: S101 - for the type checker
        source.backup(copy, progress=_patience(database.name))
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, no log beside it


def checked_copy(path: Path) -> None:
    """Check a copied database thoroughly and bring it to the latest revision.

    Raises
    ------
    NewerDatabase
        It was made by a later version.
    RecordsError
        It is damaged or not ours.
    """
    try:
        revision = sqlite_state(path)
    except Damaged as error:
        msg = "the database in the backup is damaged; nothing was changed, use another backup"
        raise RecordsError(msg) from error
    if revision is None:
        msg = "the database in the backup holds no tables of ours; use another backup"
        raise RecordsError(msg)
    with translated(str(path), writing=False), closing(sqlite3.connect(path)) as raw:
        found = raw.execute("PRAGMA integrity_check").fetchone()[0]
        if found != "ok" or raw.execute("PRAGMA foreign_key_check").fetchone():
            msg = (
                f"the database in the backup is damaged ({found}); nothing was changed, use another"
            )
            raise RecordsError(msg)
    Database(path).close()


def replace_sqlite(source: Path, target: Path) -> None:
    """Put the content of `source` in the place of that of `target`, in one transaction.

    Programs that have `target` open see the new content from their next transaction on.

    Raises
    ------
    CannotWrite
        Disk full, read-only, locked; `target` is as it was.
    """
    with (
        translated(str(target), writing=True),
        closing(sqlite3.connect(source)) as new,
        closing(sqlite3.connect(target, timeout=WAIT)) as old,
    ):
        # First of all: with a log, a copy that is cut short leaves the file as it was.
        old.execute("PRAGMA journal_mode = WAL")
        new.backup(old, progress=_patience(str(target)))
        old.execute("PRAGMA journal_mode = WAL")


def _patience(where: str) -> Callable[[int, int, int], None]:
    """Return what ends a copy that waits for a lock too long; SQLite's own wait has no end."""
    stop = time.monotonic() + WAIT
    last = -1

    def check(status: int, remaining: int, _total: int) -> None:
        nonlocal stop, last
        if status not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) or remaining != last:
            stop, last = time.monotonic() + WAIT, remaining
        elif time.monotonic() > stop:
            msg = f"{where} is in use by another program: close it there, or try again in a moment"
            raise CannotWrite(msg)

    return check
