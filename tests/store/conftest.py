"""Both databases for one suite: a SQLite file, and a PostgreSQL server of our own on a socket."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import psycopg
import pytest
from tests.filled_records import fill

from crowlight.store import FileBlobs, SqlRecords, open_records
from crowlight.store.schema import metadata

APT = "apt-get install --yes postgresql"


class TickingClock:
    """A clock that goes on by a second whenever it is looked at."""

    def __init__(self) -> None:
        self.time = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)

    def now(self) -> datetime:
        self.time += timedelta(seconds=1)
        return self.time


@pytest.fixture
def clock() -> TickingClock:
    return TickingClock()


def _binaries() -> Path:
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    on_path = shutil.which("initdb")
    for place in [*places, *([Path(on_path).parent] if on_path else [])]:
        if (place / "initdb").exists():
            return place
    pytest.fail(f"PostgreSQL is not installed, and these tests need it: {APT}", pytrace=False)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """Address of a throw-away server, without a database name; it listens to no network."""
    binaries = _binaries()
    folder = Path(tempfile.mkdtemp(prefix="crow-pg-", dir="/tmp"))
    # initdb refuses to be run by root.
    user = "nobody" if os.geteuid() == 0 else None
    if user:
        shutil.chown(folder, user)

    def run(*command: str) -> None:
        errors = folder / "errors"  # a pipe would stay open as long as the server runs
        with errors.open("w") as out:
            done = subprocess.run(
                [str(binaries / command[0]), *command[1:]],
                user=user,
                cwd=folder,
                stdout=subprocess.DEVNULL,
                stderr=out,
            )
        assert done.returncode == 0, errors.read_text()

    data = str(folder / "data")
    try:
        run("initdb", "-D", data, "-U", "maker", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
        settings = f"-k {folder} -c listen_addresses='' -F"
        run("pg_ctl", "-D", data, "-w", "-l", str(folder / "log"), "-o", settings, "start")
        try:
            yield f"postgresql://maker@/{{name}}?host={folder}"
        finally:
            run("pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)


_numbers = count()


@contextmanager
def _new_database(server: str) -> Iterator[str]:
    name = f"crow{next(_numbers)}"
    with psycopg.connect(server.format(name="postgres"), autocommit=True) as control:
        control.execute(f"CREATE DATABASE {name} TEMPLATE template0")
        try:
            yield server.format(name=name)
        finally:
            control.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def new_database(postgresql_server: str) -> Iterator[Callable[[], str]]:
    """Return what makes a PostgreSQL database with nothing in it and returns its address."""
    with ExitStack() as stack:
        yield lambda: stack.enter_context(_new_database(postgresql_server))


@pytest.fixture
def postgresql(new_database: Callable[[], str]) -> str:
    """Address of a PostgreSQL database with nothing in it."""
    return new_database()


@pytest.fixture(scope="session")
def migrated(postgresql_server: str) -> Iterator[str]:
    """Address of a PostgreSQL database that has our tables; emptied for each test."""
    with _new_database(postgresql_server) as address:
        open_records(address, TickingClock()).close()
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Place of a database of either kind without records."""
    if request.param == "sqlite":
        return str(tmp_path / "reeds.sqlite")
    address = request.getfixturevalue("migrated")
    with psycopg.connect(address, autocommit=True) as control:
        control.execute(f"TRUNCATE {', '.join(metadata.tables)} RESTART IDENTITY")
    return address


@pytest.fixture
def records(where: str, clock: TickingClock) -> Iterator[SqlRecords]:
    """Open a database of either kind without records."""
    with open_records(where, clock) as opened:
        yield opened


@pytest.fixture
def sqlite_records(tmp_path: Path, clock: TickingClock) -> Iterator[SqlRecords]:
    """Open an empty SQLite file."""
    with open_records(tmp_path / "reeds.sqlite", clock) as opened:
        yield opened


@pytest.fixture
def ordinary_user() -> Callable[[], object]:
    """Return a context in which the process may not write where others may not.

    Root may write anywhere; it becomes "nobody" inside.
    """

    @contextmanager
    def become() -> Iterator[None]:
        if os.geteuid() != 0:
            yield
            return
        os.seteuid(65534)
        try:
            yield
        finally:
            os.seteuid(0)

    return become


@pytest.fixture
def blobs(tmp_path: Path) -> FileBlobs:
    return FileBlobs(tmp_path / "blobs")


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    folder = tmp_path / "backups"
    folder.mkdir()
    return folder / "all.zip"


@pytest.fixture
def kept(records: SqlRecords, where: str, blobs: FileBlobs) -> tuple[SqlRecords, str]:
    """Open records with something in them; with their address."""
    fill(records, blobs)
    return records, where


@pytest.fixture
def empty(where: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a second database of the same kind, with nothing in it."""
    if "://" in where:
        return request.getfixturevalue("postgresql")
    return str(tmp_path / "second" / "reeds.sqlite")
