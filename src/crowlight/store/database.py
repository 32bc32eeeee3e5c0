"""A database of either kind: opening it, migrating it, and its transactions.

SQLite runs with a write-ahead log, foreign keys, a wait for locks, and ``BEGIN IMMEDIATE`` for
every transaction that writes, so that it never finds half-way that another has written first.
PostgreSQL reads in a snapshot, and writers of one reed queue for its row.
"""

from __future__ import annotations

import os
import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from functools import partial
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from sqlalchemy import (
    URL,
    Connection,
    Engine,
    create_engine,
    event,
    inspect,
    make_url,
    text,
)
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import NullPool

from crowlight.errors import CannotWrite, InputError, MissingExtra, NewerDatabase, RecordsError
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.faults import Locked, damaged, translated
from crowlight.store.schema import HEAD

__all__ = ["APPLICATION_ID", "Database", "looked_at", "migrate", "sqlite_state"]

#: Marks a SQLite file as ours (bytes 68 to 71 of its header): "Crow".
APPLICATION_ID = 0x43726F77

_SQLITE_HEAD = b"SQLite format 3\x00"

#: Seconds to wait for another writer.
WAIT = 5.0

_WRITES = "crowlight_writes"
_T = TypeVar("_T")
_MIGRATIONS = Path(__file__).parent / "migrations"
#: An advisory lock of PostgreSQL, so that one process migrates at a time; the number is arbitrary.
_MIGRATION_LOCK = APPLICATION_ID


#: Alembic keeps what it is working on in a module, so that one thread migrates at a time.
_one_migration = Lock()


def migrate(connection: Connection, revision: str = "head") -> None:
    """Bring the database behind `connection` up to `revision`."""
    # Half as slow again to import as SQLAlchemy, and seldom needed.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    with _one_migration:
        command.upgrade(config, revision)


def _known_revisions() -> set[str]:
    return {path.name.split("_")[0] for path in (_MIGRATIONS / "versions").glob("[0-9]*.py")}


def refuse_newer(revision: str | None, where: str) -> None:
    """Raise `NewerDatabase` for a revision this version does not have."""
    if revision is not None and revision != HEAD and revision not in _known_revisions():
        msg = (
            f"{where} was made by a later crowlight (database revision {revision}, this version "
            f"knows up to {HEAD}); nothing was changed: install that version to open it"
        )
        raise NewerDatabase(msg)


def sqlite_state(path: Path) -> str | None:
    """Look at a SQLite file without changing a byte of it.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str or None
        Its revision; None if there is no file, or nothing in it yet.

    Raises
    ------
    RecordsError
        It is not a SQLite file, is damaged, or belongs to another program.
    """
    try:
        if not path.exists() or path.stat().st_size == 0:
            return None
        with path.open("rb") as file:
            head = file.read(len(_SQLITE_HEAD))
    except IsADirectoryError as error:
        msg = f"{path} is a folder; name the database file in it"
        raise RecordsError(msg) from error
    except OSError as error:
        msg = f"{path} cannot be read ({error.strerror}); allow reading the file and its folder"
        raise RecordsError(msg) from error
    # SQLite itself takes a file of a few bytes for an empty database, and writes over it.
    if head != _SQLITE_HEAD:
        raise damaged(path)
    return looked_at(path, partial(_revision, path))


def _revision(path: Path, raw: sqlite3.Connection) -> str | None:
    owner = raw.execute("PRAGMA application_id").fetchone()[0]
    tables = {r[0] for r in raw.execute("SELECT name FROM sqlite_master")}
    if not tables:
        return None
    if owner != APPLICATION_ID or "alembic_version" not in tables:
        msg = f"{path} is a database of another program; choose another file"
        raise RecordsError(msg)
    row = raw.execute("SELECT version_num FROM alembic_version").fetchone()
    return row[0] if row else None


def looked_at(path: Path, use: Callable[[sqlite3.Connection], _T]) -> _T:
    """Return what `use` finds in a SQLite file, which is not changed.

    Raises
    ------
    RecordsError
        Damaged, or cannot be read.
    """
    with translated(str(path), writing=False):
        try:
            with closing(sqlite3.connect(_looking_only(path), uri=True)) as raw:
                return use(raw)
        except sqlite3.DatabaseError:
            # Perhaps it was written to meanwhile: look again, this time minding locks.
            with closing(sqlite3.connect(_read_only(path), uri=True)) as raw:
                return use(raw)


def _read_only(path: Path) -> str:
    """Return the address that opens a SQLite file for reading alone."""
    return f"{path.resolve().as_uri()}?mode=ro"


def _looking_only(path: Path) -> str:
    """Return the address that opens a SQLite file without leaving anything beside it."""
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        return _read_only(path)  # what is in the log counts
    return f"{path.resolve().as_uri()}?immutable=1"


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


class Database:
    """An opened database at the latest revision.

    Parameters
    ----------
    where : str or Path
        A SQLite file, or an address ``postgresql://user@host/name``.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    wait : float
        Seconds to wait for another writer.

    Raises
    ------
    NewerDatabase
        It was made by a later version; not a byte is changed.
    CannotWrite
        It is not there and cannot be made, or must be migrated and cannot be written.
    RecordsError
        Not a database, damaged, or out of reach.
    """

    def __init__(
        self, where: str | Path, *, failpoint: Failpoint = pass_by, wait: float = WAIT
    ) -> None:
        self.failpoint = failpoint
        self._wait = wait
        self.path: Path | None = None
        revision: str | None = None
        if isinstance(where, str) and "://" in where:
            url = _address(where)
            self.name = url.render_as_string(hide_password=True)
            self.engine = self._postgresql(url)
        else:
            self.path = Path(where)
            self.name = str(self.path)
            revision = sqlite_state(self.path)
            refuse_newer(revision, self.name)
            self.engine = self._sqlite(self.path)
        try:
            if self.path is None:
                self._prepare_postgresql()
            else:
                self._prepare_sqlite(self.path, revision)
        except BaseException:
            self.engine.dispose()
            raise

    # --- transactions -----------------------------------------------------------------------------

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Open a transaction that sees one moment and writes nothing."""
        options: dict[str, Any] = {}
        if self.path is None:
            options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        with (
            translated(self.name, writing=False),
            self.engine.connect().execution_options(**options) as connection,
        ):
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Open a transaction that is committed at the end, or leaves no trace."""
        with (
            translated(self.name, writing=True),
            self.engine.connect().execution_options(**{_WRITES: True}) as connection,
            connection.begin() as transaction,
        ):
            yield connection
            self.failpoint("records:before-commit")
            transaction.commit()
            self.failpoint("records:after-commit")

    def tidy(self) -> None:
        """On SQLite, bring the log into the file and empty it, if no one is in the way."""
        if self.path is not None:
            with translated(self.name, writing=True), closing(self.engine.raw_connection()) as raw:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Give back every connection; SQLite then tidies its log into the file."""
        self.engine.dispose()

    # --- SQLite -----------------------------------------------------------------------------------

    def _sqlite(self, path: Path) -> Engine:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            msg = f"the folder {path.parent} cannot be made ({error.strerror}); choose another"
            raise CannotWrite(msg) from error
        if path.exists() and not _may_write(path.parent):
            # A log cannot be made here: read the file as it lies, afresh for each transaction.
            # Writing then says why it cannot.
            engine = create_engine(
                "sqlite+pysqlite://",
                creator=lambda: sqlite3.connect(
                    _looking_only(path), uri=True, check_same_thread=False
                ),
                poolclass=NullPool,
            )
        else:
            engine = create_engine(
                URL.create("sqlite+pysqlite", database=str(path)),
                connect_args={"timeout": self._wait},
            )

        @event.listens_for(engine, "connect")
        def on_connect(raw: sqlite3.Connection, _record: object) -> None:
            raw.isolation_level = None  # the transactions are ours to begin
            raw.execute("PRAGMA foreign_keys = ON")
            raw.execute("PRAGMA synchronous = FULL")  # a commit survives a power cut
            raw.execute("PRAGMA secure_delete = ON")  # an erased name is gone from the file

        @event.listens_for(engine, "begin")
        def on_begin(connection: Connection) -> None:
            writes = connection.get_execution_options().get(_WRITES, False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

        return engine

    def _prepare_sqlite(self, path: Path, revision: str | None) -> None:
        """Bring the file up to date; others may be at the same thing at the same moment."""
        stop = time.monotonic() + self._wait
        while revision != HEAD:
            try:
                with translated(self.name, writing=True):
                    if revision is None:
                        with closing(self.engine.raw_connection()) as raw:
                            # The one statement that does not wait for a lock by itself.
                            raw.cursor().execute("PRAGMA journal_mode = WAL")
                            raw.cursor().execute(f"PRAGMA application_id = {APPLICATION_ID}")
                    self._migrate()
                return
            except Locked:
                if time.monotonic() > stop:
                    raise
                time.sleep(0.02)
                revision = sqlite_state(path)

    def _migrate(self) -> None:
        with self.engine.connect().execution_options(**{_WRITES: True}) as connection:
            migrate(connection)

    # --- PostgreSQL -------------------------------------------------------------------------------

    def _postgresql(self, url: URL) -> Engine:
        given = url.query.get("options", "")
        ours = f"-c lock_timeout={int(self._wait * 1000)} -c timezone=UTC"
        try:
            return create_engine(
                url,
                pool_pre_ping=True,
                connect_args={
                    "options": f"{given if isinstance(given, str) else ' '.join(given)} {ours}",
                    "connect_timeout": 10,
                },
            )
        except ModuleNotFoundError as error:
            msg = "PostgreSQL needs an extra part: pip install 'crowlight[postgres]'"
            raise MissingExtra(msg) from error

    def _prepare_postgresql(self) -> None:
        with translated(self.name, writing=True), self.engine.connect() as guard:
            revision = postgresql_state(guard, self.name)
            if revision == HEAD:
                return
            guard.execute(text("SELECT pg_advisory_lock(:n)"), {"n": _MIGRATION_LOCK})
            try:
                guard.rollback()
                self._migrate()
            finally:
                with suppress(DBAPIError):
                    guard.rollback()
                    guard.execute(text("SELECT pg_advisory_unlock(:n)"), {"n": _MIGRATION_LOCK})
                    guard.commit()


def postgresql_state(connection: Connection, where: str) -> str | None:
    """Return the revision of a PostgreSQL database, None if it is empty.

    Raises
    ------
    NewerDatabase
        It was made by a later version.
    RecordsError
        There are tables in it, but not ours.
    """
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return None
    if "alembic_version" not in tables:
        msg = f"{where} holds tables of another program; make a database of its own for crowlight"
        raise RecordsError(msg)
    revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    refuse_newer(revision, where)
    return revision


def _address(where: str) -> URL:
    try:
        url = make_url(where)
    except (ArgumentError, ValueError) as error:
        shown = re.sub(r"//.*@", "//…@", where)  # a password may stand there
        msg = f"{shown!r} is not an address; write postgresql://user@host/name or a file name"
        raise InputError(msg) from error
    if url.get_backend_name() != "postgresql":
        msg = (
            f"{url.drivername!r} is not a kind of database crowlight uses; write "
            f"postgresql://user@host/name or a file name"
        )
        raise InputError(msg)
    return url.set(drivername="postgresql+psycopg")
