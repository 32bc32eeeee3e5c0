"""What the desk does with people, their places and batches, on SQLite and on PostgreSQL."""

from __future__ import annotations

from uuid import uuid4

import pytest

from crowlight.bench.people import People
from crowlight.bench.ports import NewReed
from crowlight.errors import Conflict, NotFound
from crowlight.store import SqlRecords


@pytest.fixture
def people(records: SqlRecords) -> People:
    return People(records=records)


def test_people_are_named_as_one_types(people: People) -> None:
    zoe = people.add_maker(" Zoë ", hand="left")
    assert (zoe.name, zoe.hand) == ("Zoë", "left")
    for key in ("zoe", "Zoë", zoe.uuid, str(zoe.uuid)):
        assert people.find(key) == people.maker(key) == zoe
    with pytest.raises(NotFound, match="no player is called 'Zoë'"):
        people.player("Zoë")
    with pytest.raises(NotFound, match=r"no person is called 'zo'; did you mean 'Zoë'\?"):
        people.find("zo")
    people.add_maker("Zoe B", uuid=zoe.uuid)
    assert [p.name for p in people.all()] == ["Zoe B"]


def test_two_of_one_name_are_told_apart(people: People) -> None:
    first, second = people.add_player("Bo"), people.add_player("Bo")
    with pytest.raises(Conflict, match=rf"'Bo' may be each of .*{first.uuid}"):
        people.erase("Bo")
    people.erase(second.uuid)
    assert people.all() == (first,)


def test_who_makes_and_plays_is_one_person(people: People) -> None:
    maker = people.add_maker("Ann")
    player = people.add_player("Ann", uuid=maker.uuid)
    assert people.maker("Ann") == maker
    assert people.player("Ann") == player
    people.erase("Ann")
    assert people.all() == ()


def test_places_and_batches(people: People) -> None:
    people.add_maker("Ann")
    bo = people.add_player("Bo")
    quay = people.add_place("ann", "Quay", altitude=6.0)
    people.add_place(bo.uuid, "Hill", altitude=1600.0, humidity=0.3)
    assert people.places("Ann") == (quay,) == (people.place("quay"),)
    assert [p.name for p in people.places()] == ["Hill", "Quay"]
    assert people.add_place("Ann", "Quay", altitude=7.0, uuid=quay.uuid).altitude == 7.0
    people.remove_place("Hill")
    assert people.places("Bo") == ()
    march = people.add_batch("March", maker="Ann")
    assert people.batches() == (march,) == (people.batch("march"),)
    with pytest.raises(NotFound, match="no batch is called 'xyz'; look it up in the list of 1 bat"):
        people.batch("xyz")
    people.remove_batch("March")
    with pytest.raises(NotFound, match="no batches are kept yet"):
        people.batch("March")


def test_what_is_not_said_of_a_reed_stays(records: SqlRecords, people: People) -> None:
    ann, bo = people.add_maker("Ann"), people.add_player("Bo")
    march = people.add_batch("March")
    records.add_reed(NewReed(uuid=uuid4(), name="R 1"))
    people.assign("R 1", maker="Ann", batch="March")
    kept = people.assign("R 1", player=bo.uuid)
    assert (kept.maker, kept.player, kept.batch) == (ann.uuid, bo.uuid, march.uuid)
    kept = people.assign("R 1", maker=None)
    assert (kept.maker, kept.player, kept.batch) == (None, bo.uuid, march.uuid)
    with pytest.raises(NotFound, match="no maker is called 'Bo'"):
        people.assign("R 1", player=None, maker="Bo")
    assert records.reed("R 1").player == bo.uuid
