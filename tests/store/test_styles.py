"""Makers' own styles: what `Records` promises, on SQLite and on PostgreSQL."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from uuid import uuid4

import pytest

from crowlight.bench.ports import Maker, OwnStyle
from crowlight.errors import Conflict, NotFound
from crowlight.store import SqlRecords

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def own(name: str = "mine", **more: object) -> OwnStyle:
    return OwnStyle(**{"uuid": uuid4(), "name": name, "text": "{}", "created_at": NOON} | more)


def test_styles_come_back_by_name(records: SqlRecords) -> None:
    ann = Maker(uuid=uuid4(), name="Ann")
    records.add_person(ann)
    made = [own("b"), own("A", maker=ann.uuid, text='{"ß": 1}\n')]
    for style in (*made, *made):  # adding again changes nothing
        records.add_style(style)
    assert records.styles() == (made[1], made[0])


def test_a_style_is_never_changed(records: SqlRecords) -> None:
    kept = own()
    records.add_style(kept)
    with pytest.raises(Conflict, match="another style has the name 'mine'"):
        records.add_style(own(" mine "))
    with pytest.raises(Conflict, match="the style 'mine' is kept already with other content"):
        records.add_style(replace(kept, text="[]"))
    with pytest.raises(NotFound, match=r"no person .* is kept"):
        records.add_style(own("other", maker=uuid4()))
    assert records.styles() == (kept,)


def test_a_style_outlives_its_makers_name(records: SqlRecords) -> None:
    ann = Maker(uuid=uuid4(), name="Ann")
    records.add_person(ann)
    kept = own(maker=ann.uuid)
    records.add_style(kept)
    records.erase_person(ann.uuid)
    assert records.styles() == (kept,)
    (row,) = [row for table, row in records.everything() if table == "style"]
    assert row == {
        "uuid": str(kept.uuid),
        "name": "mine",
        "maker": str(ann.uuid),
        "text": "{}",
        "created_at": "2026-02-03T12:00:00+00:00",
    }
