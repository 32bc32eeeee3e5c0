"""How each person wants the pages, what lies on the bench, and coming from the first tables."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import Connection, create_engine, inspect, text

from crowlight.bench.kinds import Note, ReadingsTaken
from crowlight.bench.ports import (
    Clock,
    Maker,
    NewEntry,
    NewReed,
    Player,
    Sitting,
    SittingReed,
)
from crowlight.errors import NotFound
from crowlight.reed import Blade, Place, Reading
from crowlight.store import SqlRecords, database, open_records
from crowlight.store.schema import HEAD, sitting

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def a_reed(records: SqlRecords, name: str = "R 1") -> SittingReed:
    kept = records.add_reed(NewReed(uuid=uuid4(), name=name))
    return SittingReed(reed=kept.uuid, joined=kept.seq)


# --- settings -------------------------------------------------------------------------------------


def test_settings_are_kept_per_person_and_replaced_as_a_whole(records: SqlRecords) -> None:
    ann, bo = Maker(uuid=uuid4(), name="Ann"), Player(uuid=uuid4(), name="Bo")
    for person in (ann, bo):
        records.add_person(person)
    assert records.setting(ann.uuid) == {}
    records.put_setting(ann.uuid, {"theme": "dark", "hand": "left"})
    records.put_setting(bo.uuid, {"theme": "light"})
    records.put_setting(ann.uuid, {"theme": "dark"})
    assert records.setting(ann.uuid) == {"theme": "dark"}
    assert records.setting(bo.uuid) == {"theme": "light"}
    rows = [row for table, row in records.everything() if table == "setting"]
    assert [(row["person"], row["chosen"]) for row in rows] == [
        (str(ann.uuid), {"theme": "dark"}),
        (str(bo.uuid), {"theme": "light"}),
    ]


def test_settings_go_with_the_person_and_nobody_has_any(records: SqlRecords) -> None:
    ann = Maker(uuid=uuid4(), name="Ann")
    records.add_person(ann)
    records.put_setting(ann.uuid, {"theme": "dark"})
    records.erase_person(ann.uuid)
    assert records.setting(ann.uuid) == {}
    for nobody in (ann.uuid, uuid4()):
        with pytest.raises(NotFound, match=r"no person .* is kept"):
            records.put_setting(nobody, {"theme": "dark"})


# --- sittings -------------------------------------------------------------------------------------


def test_a_sitting_goes_on_where_it_was_left(records: SqlRecords) -> None:
    one, two = a_reed(records, "R 1"), a_reed(records, "R 2")
    assert records.open_sitting() is None
    new = Sitting(uuid=uuid4(), started_at=NOON, shown=two.reed, reeds=(two, one))
    assert records.begin_sitting(new) == new
    assert records.open_sitting() == new
    passed = replace(one, passed={"look": 3})
    records.change_sitting(new.uuid, lambda s: replace(s, shown=one.reed, reeds=(two, passed)))
    assert records.begin_sitting(new).reeds == (two, passed)  # sent twice: nothing changes
    assert records.open_sitting() == replace(new, shown=one.reed, reeds=(two, passed))
    records.change_sitting(new.uuid, lambda s: replace(s, ended_at=NOON))
    assert records.open_sitting() is None
    (row,) = [row for table, row in records.everything() if table == "sitting"]
    assert row["shown"] == str(one.reed)
    reeds = [row for table, row in records.everything() if table == "sitting_reed"]
    assert [(r["reed"], r["passed"]) for r in reeds] == [
        (str(two.reed), {}),
        (str(one.reed), {"look": 3}),
    ]


def test_beginning_another_ends_the_open_one(records: SqlRecords) -> None:
    reed = a_reed(records)
    first, second = (Sitting(uuid=uuid4(), started_at=NOON, reeds=(reed,)) for _ in range(2))
    records.begin_sitting(first)
    records.begin_sitting(second)
    assert records.open_sitting() == second
    with records.database.read() as connection:
        ended = connection.execute(
            text("SELECT count(*) FROM sitting WHERE ended_at IS NOT NULL")
        ).scalar()
    assert ended == 1


def test_what_is_not_kept_is_refused_and_leaves_the_sitting(records: SqlRecords) -> None:
    new = Sitting(uuid=uuid4(), started_at=NOON, reeds=(a_reed(records),))
    with pytest.raises(NotFound, match=r"no reed .* is kept"):
        records.begin_sitting(replace(new, reeds=(SittingReed(reed=uuid4()),)))
    assert records.open_sitting() is None
    records.begin_sitting(new)
    with pytest.raises(NotFound, match=r"no reed .* is kept"):
        records.change_sitting(new.uuid, lambda s: replace(s, reeds=(SittingReed(reed=uuid4()),)))
    with pytest.raises(NotFound, match=r"no sitting .* is kept"):
        records.change_sitting(uuid4(), lambda s: s)
    assert records.open_sitting() == new


# --- from the first tables ------------------------------------------------------------------------


@pytest.fixture(params=["sqlite", "postgresql"])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Place of a database as the first tables were, still empty."""
    where = str(tmp_path / "old.sqlite")
    if request.param == "postgresql":
        where = request.getfixturevalue("postgresql")
        with connected(where.replace("postgresql:", "postgresql+psycopg:")) as connection:
            database.migrate(connection, "0001")
    else:
        with connected(f"sqlite:///{where}") as connection:
            connection.execute(text(f"PRAGMA application_id = {database.APPLICATION_ID}"))
            connection.commit()
            database.migrate(connection, "0001")
    return where


class connected:
    """A connection that is given back with its engine."""

    def __init__(self, address: str) -> None:
        self._engine = create_engine(address)

    def __enter__(self) -> Connection:
        self._connection = self._engine.connect()
        return self._connection

    def __exit__(self, *_: object) -> None:
        self._connection.commit()
        self._connection.close()
        self._engine.dispose()


def test_records_of_the_first_tables_are_brought_forward_whole(
    old: str, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # written by this program while it takes the first tables for the latest
    monkeypatch.setattr(database, "HEAD", "0001")
    with open_records(old, clock) as records:
        assert not inspect(records.database.engine).has_table("sitting")
        ann = Maker(uuid=uuid4(), name="Ann", hand="left")
        records.add_person(ann)
        kept = records.add_reed(NewReed(uuid=uuid4(), name="R 1", maker=ann.uuid))
        readings = tuple(
            Reading(Place(Blade.MARKED, 0.06 + n * 1e-3, 0.0), 0.4e-3 + n * 1e-5) for n in range(5)
        )
        written = records.append(
            kept.uuid,
            [
                NewEntry(
                    uuid=uuid4(), payload=ReadingsTaken(), happened_at=NOON, readings=readings
                ),
                NewEntry(uuid=uuid4(), payload=Note(text="soft"), happened_at=NOON, by=ann.uuid),
            ],
        )
        before = records.reed(kept.uuid), records.entries(kept.uuid), records.people()
    monkeypatch.setattr(database, "HEAD", HEAD)
    with open_records(old, clock) as records:
        assert (records.reed(kept.uuid), records.entries(kept.uuid), records.people()) == before
        assert records.entries(kept.uuid) == written.entries
        assert records.rebuild_summaries() == 0
        # what is new works on what is old
        records.put_setting(ann.uuid, {"hand": "left"})
        records.begin_sitting(
            Sitting(uuid=uuid4(), started_at=NOON, reeds=(SittingReed(reed=kept.uuid, joined=2),))
        )
        # and entries are still only ever appended
        with (
            pytest.raises(Exception, match="append-only"),
            records.database.engine.begin() as connection,
        ):
            connection.execute(text("DELETE FROM entry"))
    with open_records(old, clock) as records:
        assert records.setting(ann.uuid) == {"hand": "left"}
        (reed,) = records.open_sitting().reeds  # pyright: ignore[reportOptionalMemberAccess]  # begun
        assert reed.reed == kept.uuid
        with closing(records.database.engine.connect()) as connection:
            assert len(connection.execute(sitting.select()).all()) == 1
