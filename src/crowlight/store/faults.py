"""What a database says when something is wrong, in our words."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, OperationalError, SQLAlchemyError

from crowlight.errors import CannotWrite, Conflict, RecordsError

__all__ = ["Damaged", "Locked", "cannot_write", "damaged", "translated"]

_IN_USE = "another program is writing to it: try again in a moment"
#: Result codes of SQLite (https://sqlite.org/rescode.html) and SQLSTATE classes of PostgreSQL
#: (its manual, appendix A), with what they mean to a user.
_SQLITE = {
    sqlite3.SQLITE_READONLY: "it may only be read: allow writing to the file and its folder",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened: allow writing to the folder it is in",
    sqlite3.SQLITE_PERM: "it may not be written: allow writing to the file and its folder",
    sqlite3.SQLITE_FULL: "the disk is full: make room and try again",
    sqlite3.SQLITE_IOERR: "the disk reports an error: check it and try again",
    sqlite3.SQLITE_BUSY: _IN_USE,
    sqlite3.SQLITE_LOCKED: _IN_USE,
}
#: Result codes of SQLite of writing: even to read it needs a small file beside the database.
_WRITING = {
    sqlite3.SQLITE_IOERR_WRITE,
    sqlite3.SQLITE_IOERR_TRUNCATE,
    sqlite3.SQLITE_IOERR_SHMOPEN,
    sqlite3.SQLITE_IOERR_SHMSIZE,
    sqlite3.SQLITE_IOERR_SHMMAP,
}
_BESIDE = (
    "the small file it needs beside it cannot be written: make room on its disk, allow files of "
    "1 MB, and try again"
)
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_POSTGRESQL = {
    "53100": "the server's disk is full: make room and try again",
    "53200": "the server is out of memory: try again later",
    "53300": "the server has too many connections: try again in a moment",
    "25006": "the server accepts no writing at present: try again later",
    "42501": "this user may not write to it: ask whoever runs the server",
    "55P03": _IN_USE,
    "57014": "the server stopped the work: try again later",
    "40001": "another program wrote at the same moment: try again",
    "40P01": "another program wrote at the same moment: try again",
}


def _extended(error: BaseException) -> int | None:
    original = error.orig if isinstance(error, DBAPIError) else error
    return getattr(original, "sqlite_errorcode", None)


def _code(error: BaseException) -> int | str | None:
    original = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(original, sqlite3.Error):
        extended = _extended(error)
        return None if extended is None else extended & 0xFF
    return getattr(original, "sqlstate", None)


def _drivers_errors() -> tuple[type[Exception], ...]:
    """Return what is translated; psycopg is not imported for it by those who do not use it."""
    psycopg = sys.modules.get("psycopg")
    return (SQLAlchemyError, sqlite3.Error, *([psycopg.Error] if psycopg else []))


@contextmanager
def translated(where: str, *, writing: bool) -> Iterator[None]:
    """Turn what the database raises inside into errors of `crowlight.errors`.

    Parameters
    ----------
    where : str
        Name of the database, for the message.
    writing : bool
        Whether something was being written.

    Raises
    ------
    CannotWrite
        Disk full, read-only, locked.
    Conflict
        A row that has to be unique is there already.
    RecordsError
        Damaged, not a database, out of reach.
    """
    try:
        yield
    except _drivers_errors() as error:
        raise _translate(error, where, writing=writing) from error


def _translate(error: Exception, where: str, *, writing: bool) -> RecordsError:
    code = _code(error)
    if code in _DAMAGED:
        return damaged(where)
    if _extended(error) in _WRITING and not writing:
        return _hindered(where, _BESIDE, writing=False)
    if isinstance(code, int) and code in _SQLITE:
        return _hindered(where, _SQLITE[code], writing=writing)
    if isinstance(code, str) and code in _POSTGRESQL:
        return _hindered(where, _POSTGRESQL[code], writing=writing)
    if code == sqlite3.SQLITE_CONSTRAINT or (isinstance(code, str) and code.startswith("23")):
        original = error.orig if isinstance(error, DBAPIError) else error
        return Conflict(f"nothing was written to {where}, the record says: {_first_line(original)}")
    if isinstance(error, OperationalError) and not isinstance(code, int):
        return RecordsError(
            f"{where} cannot be reached ({_first_line(error.orig)}); check the address, and that "
            f"the server runs"
        )
    return RecordsError(f"{where} cannot be used: {_first_line(error)}")


class Damaged(RecordsError):
    """A database that cannot be made sense of."""


def damaged(where: object) -> Damaged:
    """Return the error for such a database."""
    return Damaged(
        f"{where} is damaged or not a database; restore a backup, or choose another file"
    )


class Locked(CannotWrite):
    """Another program is writing; trying again may help."""


def _hindered(where: str, why: str, *, writing: bool) -> RecordsError:
    if writing and why == _IN_USE:
        return Locked(f"nothing was written to {where}: {why}")
    if writing:
        return CannotWrite(f"nothing was written to {where}: {why}")
    return RecordsError(f"{where} cannot be read: {why}")


def _first_line(error: object) -> str:
    return (str(error).strip() or type(error).__name__).splitlines()[0]


def cannot_write(where: object, error: OSError) -> CannotWrite:
    """Return the error for a file that could not be written."""
    return CannotWrite(
        f"{where} could not be written ({error.strerror or error}); allow writing there or make "
        f"room, and try again: what was there is untouched"
    )
