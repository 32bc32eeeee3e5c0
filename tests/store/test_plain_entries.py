"""Entries as plain values, in order of happening, on SQLite and on PostgreSQL."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

from crowlight.bench.kinds import Note, Verdict, Withdrawn
from crowlight.bench.ports import NewEntry, NewReed
from crowlight.store import SqlRecords

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def test_plain_entries_come_in_order_and_say_what_they_replace(records: SqlRecords) -> None:
    kept = [records.add_reed(NewReed(uuid=uuid4(), name=name)) for name in ("b", "a")]
    late, early, back = (uuid4() for _ in range(3))
    records.append(
        kept[0].uuid,
        [
            NewEntry(
                uuid=late, payload=Verdict(grade=3), happened_at=NOON + timedelta(microseconds=1)
            ),
            NewEntry(uuid=uuid4(), payload=Note(text="not asked for"), happened_at=NOON),
        ],
    )
    records.append(
        kept[1].uuid,
        [NewEntry(uuid=early, payload=Verdict(words="<b>é</b>", grade=5), happened_at=NOON)],
    )
    records.append(
        kept[0].uuid,
        [
            NewEntry(
                uuid=back, payload=Withdrawn(), happened_at=NOON + timedelta(days=1), replaces=late
            )
        ],
    )
    found = records.plain_entries({"verdict", "withdrawn"})
    assert [(e.kind, e.payload.get("grade")) for e in found] == [
        ("verdict", 5),
        ("verdict", 3),
        ("withdrawn", None),
    ]
    assert found[0].payload["words"] == "<b>é</b>"
    assert found[2].replaces == found[1].uuid
    assert found[0].replaces is None
    assert found[2].reed == found[1].reed != found[0].reed
    assert list(records.plain_entries(set())) == []
