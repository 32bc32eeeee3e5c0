"""Writing where it is hindered, how SQLite is set, and the end of the process."""

from __future__ import annotations

import hashlib
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, event, make_url, text

from crowlight.bench.kinds import Note, ReadingsTaken
from crowlight.bench.ports import Clock, Maker, NewEntry, NewReed, Reed, ReedQuery
from crowlight.errors import CannotWrite, RecordsError
from crowlight.reed import Blade, Place, Reading
from crowlight.store import SqlRecords, open_records
from crowlight.store.database import migrate
from crowlight.store.schema import metadata

Become = Callable[[], AbstractContextManager[None]]


def said(words: str = "good", readings: int = 0) -> NewEntry:
    return NewEntry(
        uuid=uuid4(),
        payload=ReadingsTaken() if readings else Note(text=words),
        happened_at=datetime(2026, 2, 3, tzinfo=UTC),
        readings=(Reading(Place(Blade.PLAIN, 0.065, 0.0), 0.5e-3),) * readings,
    )


def new_reed(records: SqlRecords) -> Reed:
    return records.add_reed(NewReed(uuid=uuid4(), name=f"R {uuid4()}"))


def everything_in(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


@contextmanager
def connected(where: str) -> Iterator[Connection]:
    """Connect plainly, behind the back of the store."""
    url = make_url(where if "://" in where else f"sqlite:///{where}")
    if url.get_backend_name() == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    engine = create_engine(url)
    with engine.connect() as connection:
        yield connection
        connection.commit()
    engine.dispose()


# --- nowhere to write -----------------------------------------------------------------------------


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Return a folder that ordinary users may look into."""
    with tempfile.TemporaryDirectory(prefix="crow-") as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)
        Path(folder).chmod(0o755)


def test_a_read_only_folder_can_be_read(
    open_folder: Path, clock: Clock, ordinary_user: Become
) -> None:
    path = open_folder / "reeds.sqlite"
    with open_records(path, clock) as records:
        reed = new_reed(records)
        records.append(reed.uuid, [said("one")])
    open_folder.chmod(0o555)
    path.chmod(0o444)
    before = everything_in(open_folder)
    with ordinary_user(), open_records(path, clock) as records:
        assert records.reed(reed.name).seq == 1
        assert records.entries(reed.uuid)[0].payload == Note(text="one")
        with pytest.raises(CannotWrite, match=r"nothing was written to .*: it may only be read"):
            records.append(reed.uuid, [said("two")])
        with pytest.raises(CannotWrite, match="it may only be read"):
            records.add_person(Maker(uuid=uuid4(), name="Ann"))
    assert everything_in(open_folder) == before


def test_a_read_only_file_in_a_folder_that_is_not(
    open_folder: Path, clock: Clock, ordinary_user: Become
) -> None:
    path = open_folder / "reeds.sqlite"
    with open_records(path, clock) as records:
        reed = new_reed(records)
    open_folder.chmod(0o777)
    path.chmod(0o444)
    with (
        ordinary_user(),
        open_records(path, clock) as records,
        pytest.raises(CannotWrite, match="it may only be read"),
    ):
        records.append(reed.uuid, [said()])


def test_a_new_database_in_a_read_only_folder(
    open_folder: Path, clock: Clock, ordinary_user: Become
) -> None:
    open_folder.chmod(0o555)
    with ordinary_user():
        with pytest.raises(CannotWrite, match="it cannot be opened: allow writing to the folder"):
            open_records(open_folder / "reeds.sqlite", clock)
        with pytest.raises(
            CannotWrite, match=r"cannot be made .Permission denied.; choose another"
        ):
            open_records(open_folder / "records" / "reeds.sqlite", clock)
    assert everything_in(open_folder) == {}


def test_a_folder_nobody_may_enter(open_folder: Path, clock: Clock, ordinary_user: Become) -> None:
    open_folder.chmod(0o000)
    with ordinary_user(), pytest.raises(RecordsError, match="Permission denied"):
        open_records(open_folder / "reeds.sqlite", clock)


def test_a_full_disk(sqlite_records: SqlRecords) -> None:
    records = sqlite_records
    reed = new_reed(records)
    records.append(reed.uuid, [said("before")])

    def no_more_pages(raw: sqlite3.Connection, *_: object) -> None:
        raw.execute("PRAGMA max_page_count = 1")  # the present size is the least SQLite takes

    event.listen(records.database.engine, "checkout", no_more_pages)
    with pytest.raises(CannotWrite, match=r"nothing was written to .*: the disk is full: make"):
        records.append(reed.uuid, [said("lost?"), said(readings=3000)])
    event.remove(records.database.engine, "checkout", no_more_pages)
    records.database.engine.dispose()
    assert [e.payload for e in records.entries(reed.uuid)] == [Note(text="before")]
    assert records.append(reed.uuid, [said(readings=3000)]).entries[0].seq == 2


def test_a_full_server(postgresql: str, clock: Clock) -> None:
    """The server's own error for a full disk, raised on purpose."""
    with open_records(postgresql, clock) as records:
        reed = new_reed(records)
        with psycopg.connect(postgresql) as raw:
            raw.execute(
                "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RAISE EXCEPTION 'full' USING ERRCODE = 'disk_full'; END $$"
            )
            raw.execute(
                "CREATE TRIGGER full_disk BEFORE INSERT ON reading "
                "FOR EACH ROW EXECUTE FUNCTION full_disk()"
            )
        with pytest.raises(CannotWrite, match="the server's disk is full: make room"):
            records.append(reed.uuid, [said("lost?"), said(readings=3)])
        assert records.entries(reed.uuid) == ()


def test_a_locked_database(where: str, clock: Clock) -> None:
    with open_records(where, clock, wait=0.1) as records:
        reed = new_reed(records)
        with connected(where) as other:
            if records.database.path:
                other.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                other.execute(text("SELECT * FROM reed FOR UPDATE"))
            with pytest.raises(CannotWrite, match="another program is writing to it: try again"):
                records.append(reed.uuid, [said()])
            assert records.entries(reed.uuid) == ()  # reading goes on
            other.rollback()
        assert records.append(reed.uuid, [said()]).added == 1


# --- SQLite as we want it -------------------------------------------------------------------------


def test_the_settings_of_sqlite(sqlite_records: SqlRecords) -> None:
    with sqlite_records.database.read() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "foreign_keys", "busy_timeout", "secure_delete")
        }
        found["synchronous"] = connection.exec_driver_sql("PRAGMA synchronous").scalar()
    assert found == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "busy_timeout": 5000,
        "secure_delete": 1,
        "synchronous": 2,
    }


def test_a_writer_begins_by_taking_the_lock(sqlite_records: SqlRecords) -> None:
    """Otherwise a reader that turns writer can be told, half-way, that it came too late."""
    sent: list[str] = []
    event.listen(
        sqlite_records.database.engine,
        "before_cursor_execute",
        lambda _c, _cursor, statement, *_: sent.append(statement),
    )
    reed = new_reed(sqlite_records)
    assert sent[0] == "BEGIN IMMEDIATE"
    sent.clear()
    sqlite_records.entries(reed.uuid)
    assert sent[0] == "BEGIN"


def test_the_list_is_read_in_the_order_of_an_index(sqlite_records: SqlRecords) -> None:
    sent: list[tuple[str, Any]] = []
    event.listen(
        sqlite_records.database.engine,
        "before_cursor_execute",
        lambda _c, _cursor, statement, parameters, *_: sent.append((statement, parameters)),
    )
    sqlite_records.reeds(ReedQuery())
    statement, parameters = next(s for s in sent if "ORDER BY" in s[0])
    with sqlite_records.database.read() as connection:
        plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters).all()
    assert any("USING INDEX ix_reed_summary_last_at" in row.detail for row in plan)


def test_an_erased_name_is_gone_from_the_disk(tmp_path: Path, clock: Clock) -> None:
    with open_records(tmp_path / "reeds.sqlite", clock) as records:
        maker = Maker(uuid=uuid4(), name="Petronella Quill")
        records.add_person(maker)
        records.add_reed(NewReed(uuid=uuid4(), name="R 1", maker=maker.uuid))

        def on_disk() -> bytes:
            return b"".join(p.read_bytes() for p in tmp_path.iterdir()).lower()

        assert b"petronella" in on_disk()
        records.erase_person(maker.uuid)
        assert b"petronella" not in on_disk()
        assert b"quill" not in on_disk()


def test_no_log_is_left_after_closing(tmp_path: Path, clock: Clock) -> None:
    with open_records(tmp_path / "reeds.sqlite", clock) as records:
        new_reed(records)
    assert [p.name for p in tmp_path.iterdir()] == ["reeds.sqlite"]


# --- the end of the process -----------------------------------------------------------------------

DYING = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID
from crowlight.bench.kinds import Note
from crowlight.bench.ports import NewEntry
from crowlight.store import open_records

class Clock:
    def now(self):
        return datetime.now(UTC)

where, reed, moment = sys.argv[1:]

def die(point):
    if point == moment:
        os._exit(41)

with open_records(where, Clock(), failpoint=die) as records:
    note = NewEntry(uuid=UUID(int=1), payload=Note(text="x"), happened_at=datetime.now(UTC))
    records.append(UUID(reed), [note])
"""


@pytest.mark.parametrize(
    ("moment", "kept"), [("records:before-commit", 0), ("records:after-commit", 1)]
)
def test_the_process_ends_at_a_commit(where: str, clock: Clock, moment: str, kept: int) -> None:
    with open_records(where, clock) as records:
        reed = new_reed(records)
    done = subprocess.run([sys.executable, "-c", DYING, where, str(reed.uuid), moment])
    assert done.returncode == 41
    with open_records(where, clock) as records:
        assert len(records.entries(reed.uuid)) == kept
        assert records.rebuild_summaries() == 0


def test_migrating_to_where_it_is_changes_nothing(records: SqlRecords) -> None:
    with records.database.engine.connect() as connection:
        migrate(connection)
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


LIMITED = """
import resource, sys
from pathlib import Path
from crowlight.errors import RecordsError
from crowlight.store.database import Database

resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
try:
    with Database(Path(sys.argv[1])).read() as connection:
        connection.exec_driver_sql("SELECT * FROM reed")
except RecordsError as error:
    print(error)
"""


def test_reading_with_no_room_for_the_file_it_needs(tmp_path: Path, clock: Clock) -> None:
    where = tmp_path / "reeds.sqlite"
    with open_records(where, clock) as records:
        new_reed(records)
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(where)], capture_output=True, text=True, check=True
    )
    assert "cannot be read: the small file it needs beside it cannot be written" in done.stdout
    assert "send" not in done.stdout  # nothing was sent
