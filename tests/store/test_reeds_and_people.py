"""Reeds, their list, and people: what `Records` promises, on SQLite and on PostgreSQL."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest

from crowlight.bench.kinds import (
    Described,
    Lengths,
    Note,
    Opening,
    Payload,
    ReadingsTaken,
    Verdict,
)
from crowlight.bench.ports import (
    Batch,
    Maker,
    NewEntry,
    NewReed,
    PersonPlace,
    Player,
    Reed,
    ReedQuery,
)
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.store import SqlRecords

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def new_reed(records: SqlRecords, name: str = "R 1", **more: object) -> Reed:
    return records.add_reed(NewReed(uuid=uuid4(), name=name, **more))


def said(payload: Payload | str = "good", **more: object) -> NewEntry:
    payload = Note(text=payload) if isinstance(payload, str) else payload
    return NewEntry(**{"uuid": uuid4(), "payload": payload, "happened_at": NOON} | more)


def some_readings(number: int = 3) -> tuple[Reading, ...]:
    return tuple(
        Reading(
            Place(Blade.PLAIN if i % 2 else Blade.MARKED, 0.0601 + i * 1e-7, -0.00123),
            0.46e-3 + i * 1e-8,
            seating=i,
            repeat=i % 2,
            state=CaneState.WET,
            minutes_wet=None if i % 3 else 2.5,
        )
        for i in range(number)
    )


# --- reeds ----------------------------------------------------------------------------------------


def test_a_reed_is_found_by_uuid_and_name(records: SqlRecords) -> None:
    reed = new_reed(records, "Möwe 3")
    assert records.reed("Möwe 3") == reed
    assert records.reed(" Mo\u0308we 3 ") == reed  # the same name, as some keyboards type it
    assert records.reed(reed.uuid) == reed
    assert records.reed(str(reed.uuid)) == reed


def test_a_name_that_looks_like_a_uuid(records: SqlRecords) -> None:
    name = str(uuid4())
    reed = new_reed(records, name)
    assert records.reed(name) == reed
    assert records.reed(UUID(int=reed.uuid.int)) == reed


def test_close_names_are_offered(records: SqlRecords) -> None:
    with pytest.raises(NotFound, match="no reeds are kept yet"):
        records.reed("tern 12")
    for name in ("Tern 12", "Tern 13", "Gull"):
        new_reed(records, name)
    with pytest.raises(NotFound, match=r"'tern 1'; did you mean 'Tern 1[23]' or 'Tern 1[23]'\?"):
        records.reed("tern 1")
    with pytest.raises(NotFound, match="look it up in the list of 3 reeds"):
        records.reed("xyzzy")


def test_adding_a_reed_again_changes_nothing(records: SqlRecords) -> None:
    new = NewReed(uuid=uuid4(), name="R 1")
    first = records.add_reed(new)
    records.append(first.uuid, [said()])
    assert records.add_reed(new) == replace(first, seq=1)
    assert records.reeds(ReedQuery()).total == 1


def test_a_name_is_given_once(records: SqlRecords) -> None:
    reed = new_reed(records, "R 1")
    with pytest.raises(Conflict, match="another reed has the name 'R 1'"):
        new_reed(records, "R 1")
    with pytest.raises(Conflict, match="kept already under the name 'R 1', not 'R 2'"):
        records.add_reed(NewReed(uuid=reed.uuid, name="R 2"))


@pytest.mark.parametrize(
    ("name", "message"),
    [("  ", "is empty"), ("x" * 201, "201 characters"), ("a\nb", r"U\+000A"), ("\x00", r"U\+0000")],
)
def test_a_name_nobody_could_type(records: SqlRecords, name: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        new_reed(records, name)
    assert records.reeds(ReedQuery()).total == 0


def test_a_reed_of_nobody_kept(records: SqlRecords) -> None:
    with pytest.raises(NotFound, match=r"no person .* is kept"):
        new_reed(records, maker=uuid4())
    with pytest.raises(NotFound, match=r"no batch .* is kept"):
        new_reed(records, batch=uuid4())


# --- the list -------------------------------------------------------------------------------------


def test_the_list_shows_the_latest(records: SqlRecords) -> None:
    maker, player = Maker(uuid=uuid4(), name="Ann"), Player(uuid=uuid4(), name="Bo")
    batch = Batch(uuid=uuid4(), name="March", maker=maker.uuid)
    records.add_person(maker)
    records.add_person(player)
    records.add_batch(batch)
    reed = new_reed(records, maker=maker.uuid, player=player.uuid, batch=batch.uuid, invented=True)
    later = NOON + timedelta(hours=1)
    records.append(
        reed.uuid,
        [
            said(Verdict(grade=4), happened_at=later),
            said(Verdict(grade=2)),
            said(Described(thread_colour="red", cork_number="7", style="long")),
            said(Lengths(overall=0.0702)),
            said(Opening(height=0.6e-3)),
            said(ReadingsTaken(), readings=some_readings(4)),
        ],
    )
    (row,) = records.reeds(ReedQuery()).rows
    assert (row.uuid, row.name, row.invented) == (reed.uuid, "R 1", True)
    assert (row.maker, row.player, row.batch) == ("Ann", "Bo", "March")
    assert (row.thread_colour, row.cork_number, row.style) == ("red", "7", "long")
    assert (row.seq, row.readings, row.length, row.opening) == (6, 4, 0.0702, 0.6e-3)
    assert (row.grade, row.last_kind, row.last_at) == (4, "verdict", later)


def test_search_finds_every_word_anywhere(records: SqlRecords) -> None:
    maker = Maker(uuid=uuid4(), name="Zoë Ångström")
    records.add_person(maker)
    reed = new_reed(records, "Tern 12", maker=maker.uuid)
    new_reed(records, "Tern 13")
    records.append(reed.uuid, [said(Described(thread_colour="Grün", style="long scrape 100%_"))])
    for words in ("angstrom", "ZOË tern", "grun LONG", "100%_", "12 zoe", " "):
        found = [row.name for row in records.reeds(ReedQuery(text=words)).rows]
        assert "Tern 12" in found, words
    for words in ("zoe 13", "%", "_", "tern' OR 1=1 --", "\\"):
        found = [row.name for row in records.reeds(ReedQuery(text=words)).rows]
        assert "Tern 13" not in found, words


def test_the_list_is_sorted_as_a_person_would(records: SqlRecords) -> None:
    for name in ("R 10", "r 9", "R 1", "Å 1"):
        new_reed(records, name)
    up = records.reeds(ReedQuery(sort="name", descending=False)).rows
    assert [row.name for row in up] == ["Å 1", "R 1", "r 9", "R 10"]
    down = records.reeds(ReedQuery(sort="name", descending=True)).rows
    assert [row.name for row in down] == ["R 10", "r 9", "R 1", "Å 1"]


@pytest.mark.parametrize("sort", ["last", "grade", "length"])
def test_what_is_not_known_comes_last(records: SqlRecords, sort: str) -> None:
    for number, name in enumerate(("A", "B", "C")):
        reed = new_reed(records, name)
        if name != "B":
            at = NOON + timedelta(days=number)
            things = Verdict(grade=number + 1), Lengths(overall=0.07 + number * 1e-3)
            records.append(reed.uuid, [said(thing, happened_at=at) for thing in things])
    for descending, order in ((True, ["C", "A", "B"]), (False, ["A", "C", "B"])):
        rows = records.reeds(ReedQuery(sort=sort, descending=descending)).rows
        assert [row.name for row in rows] == order


def test_pages_of_the_list(records: SqlRecords) -> None:
    batch = Batch(uuid=uuid4(), name="odd")
    records.add_batch(batch)
    for number in range(7):
        new_reed(records, f"R {number}", batch=batch.uuid if number % 2 else None)
    query = ReedQuery(sort="name", descending=False, limit=3)
    pages = [records.reeds(replace(query, offset=offset)) for offset in (0, 3, 6, 9)]
    assert [[row.name[-1] for row in page.rows] for page in pages] == [
        ["0", "1", "2"],
        ["3", "4", "5"],
        ["6"],
        [],
    ]
    assert {page.total for page in pages} == {7}
    odd = records.reeds(replace(query, batch="odd", limit=2))
    assert ([row.name for row in odd.rows], odd.total) == (["R 1", "R 3"], 3)


def test_a_search_nobody_types(records: SqlRecords) -> None:
    with pytest.raises(InputError, match="the search has 201 characters, more than 200"):
        records.reeds(ReedQuery(text="x" * 201))
    new_reed(records)
    assert records.reeds(ReedQuery(text="x " * 100)).total == 0
    assert len(records.reeds(ReedQuery(limit=10**30)).rows) == 1
    assert records.reeds(ReedQuery(offset=10**30, limit=-1)).rows == ()
    assert records.entries(records.reed("R 1").uuid, up_to=10**30) == ()


def test_an_unknown_order(records: SqlRecords) -> None:
    with pytest.raises(InputError, match="cannot be sorted by 'colour'"):
        records.reeds(ReedQuery(sort="colour"))


# --- people ---------------------------------------------------------------------------------------


def test_people_places_and_batches_come_back(records: SqlRecords) -> None:
    maker = Maker(uuid=uuid4(), name="Bea", hand="left")
    player = Player(uuid=uuid4(), name="ann", contact="ann@example.org\nQuay 1", uses_knife=False)
    place = PersonPlace(
        uuid=uuid4(), person=player.uuid, name="High Town", altitude=1650.0, humidity=0.25
    )
    batch = Batch(uuid=uuid4(), name="March", maker=maker.uuid)
    for _ in range(2):  # adding again changes nothing
        records.add_person(maker)
        records.add_person(player)
        records.add_place(place)
        records.add_batch(batch)
    assert records.people() == (player, maker)
    assert records.places() == records.places(player.uuid) == (place,)
    assert records.places(uuid4()) == ()
    assert records.batches() == (batch,)


def test_one_person_may_make_and_play(records: SqlRecords) -> None:
    both = uuid4()
    records.add_person(Maker(uuid=both, name="Ann"))
    records.add_person(Player(uuid=both, name="Ann"))
    assert len(records.people()) == 2
    records.erase_person(both)
    assert records.people() == ()


def test_a_new_name_is_seen_in_the_list(records: SqlRecords) -> None:
    maker, batch = Maker(uuid=uuid4(), name="Old Name"), Batch(uuid=uuid4(), name="Old Batch")
    records.add_person(maker)
    records.add_batch(batch)
    new_reed(records, maker=maker.uuid, batch=batch.uuid)
    records.add_person(replace(maker, name="New Name"))
    records.add_batch(replace(batch, name="New Batch"))
    assert records.reeds(ReedQuery(text="old")).total == 0
    (row,) = records.reeds(ReedQuery(text="new name batch", batch="New Batch")).rows
    assert (row.maker, row.batch) == ("New Name", "New Batch")


def test_erasing_a_person_leaves_the_reeds(records: SqlRecords) -> None:
    player = Player(uuid=uuid4(), name="Petronella Quill", contact="petronella@example.org")
    records.add_person(player)
    records.add_place(PersonPlace(uuid=uuid4(), person=player.uuid, name="Quillhaven"))
    reed = new_reed(records, player=player.uuid)
    records.append(reed.uuid, [said("sings", by=player.uuid)])
    before = records.entries(reed.uuid)
    records.erase_person(player.uuid)
    assert records.people() == ()
    assert records.places() == ()
    assert records.reeds(ReedQuery(text="petronella")).total == 0
    (row,) = records.reeds(ReedQuery()).rows
    assert (row.player, row.seq) == ("", 1)
    assert records.entries(reed.uuid) == before
    left = repr(list(records.everything())).casefold()
    assert "petronella" not in left
    assert "quill" not in left
    # What was sent before is still recognised, and the work goes on.
    assert records.append(reed.uuid, [said("x", by=player.uuid)]).added == 1
    with pytest.raises(NotFound, match="no person"):
        records.erase_person(uuid4())


def test_a_place_needs_its_person(records: SqlRecords) -> None:
    with pytest.raises(NotFound, match="add the person before the place 'Quay'"):
        records.add_place(PersonPlace(uuid=uuid4(), person=uuid4(), name="Quay"))
    erased = Maker(uuid=uuid4(), name="Ann")
    records.add_person(erased)
    records.erase_person(erased.uuid)
    with pytest.raises(NotFound, match="add the person before the place 'Quay'"):
        records.add_place(PersonPlace(uuid=uuid4(), person=erased.uuid, name="Quay"))


def test_a_maker_has_places_too(records: SqlRecords) -> None:
    maker = Maker(uuid=uuid4(), name="Ann")
    place = PersonPlace(uuid=uuid4(), person=maker.uuid, name="Workshop", altitude=6.0)
    records.add_person(maker)
    records.add_place(place)
    assert records.places(maker.uuid) == (place,)
    assert [row for name, row in records.everything() if name == "place"] == [
        {
            "uuid": str(place.uuid),
            "person": str(maker.uuid),
            "name": "Workshop",
            "altitude": 6.0,
            "temperature": None,
            "humidity": None,
        }
    ]
    records.erase_person(maker.uuid)
    assert records.places() == ()


def test_a_place_is_found_by_uuid_and_name(records: SqlRecords) -> None:
    with pytest.raises(NotFound, match="no place is called 'Quay': no places are kept yet"):
        records.place("Quay")
    ann, bo = Maker(uuid=uuid4(), name="Ann"), Player(uuid=uuid4(), name="Bo")
    records.add_person(ann)
    records.add_person(bo)
    quay = PersonPlace(uuid=uuid4(), person=ann.uuid, name="Möwe Quay")
    hill = PersonPlace(uuid=uuid4(), person=bo.uuid, name="Hill")
    records.add_place(quay)
    records.add_place(hill)
    for key in ("Möwe Quay", " mowe quay ", quay.uuid, str(quay.uuid)):
        assert records.place(key) == quay
    with pytest.raises(NotFound, match=r"'mowe key'; did you mean 'Möwe Quay'\?"):
        records.place("mowe key")
    with pytest.raises(NotFound, match="look it up in the list of 2 places"):
        records.place("xyzzy")
    records.add_place(replace(hill, uuid=uuid4(), name="möwe quay"))
    assert records.place("Möwe Quay") == quay  # as it is written comes before as it sounds
    with pytest.raises(Conflict, match=r"2 places are called 'MÖWE QUAY'.* of (Ann|Bo), .* of"):
        records.place("MÖWE QUAY")


def test_a_place_is_removed(records: SqlRecords) -> None:
    ann = Maker(uuid=uuid4(), name="Ann")
    records.add_person(ann)
    place = PersonPlace(uuid=uuid4(), person=ann.uuid, name="Quay")
    records.add_place(place)
    records.remove_place(place.uuid)
    assert records.places() == ()
    with pytest.raises(NotFound, match=r"no place .* is kept"):
        records.remove_place(place.uuid)


@pytest.mark.parametrize(
    ("air", "message"),
    [
        (
            {"altitude": 16_500.0},
            "altitude of the place 'Quay' = 16500 m must be from -500 to 9000",
        ),
        ({"temperature": 21.0}, "temperature of the place 'Quay' = 21 K"),
        ({"humidity": 45.0}, "humidity of the place 'Quay' = 45 must be from 0 to 1"),
        ({"altitude": float("nan")}, "altitude of the place 'Quay' = nan m"),
    ],
)
def test_air_nobody_plays_in(records: SqlRecords, air: dict[str, float], message: str) -> None:
    player = Player(uuid=uuid4(), name="Ann")
    records.add_person(player)
    with pytest.raises(InputError, match=message):
        records.add_place(PersonPlace(uuid=uuid4(), person=player.uuid, name="Quay", **air))


def test_a_place_keeps_its_person(records: SqlRecords) -> None:
    players = [Player(uuid=uuid4(), name=name) for name in ("Ann", "Bo")]
    place = PersonPlace(uuid=uuid4(), person=players[0].uuid, name="Quay")
    for player in players:
        records.add_person(player)
    records.add_place(place)
    with pytest.raises(Conflict, match="belongs to another person"):
        records.add_place(replace(place, person=players[1].uuid))


# --- everything -----------------------------------------------------------------------------------


def test_everything_is_plain_and_whole(records: SqlRecords) -> None:
    maker = Maker(uuid=uuid4(), name="Ann")
    records.add_person(maker)
    reed = new_reed(records, maker=maker.uuid)
    taken = said(ReadingsTaken(), readings=some_readings(2), by=maker.uuid)
    records.append(reed.uuid, [taken, said("no", replaces=taken.uuid)])
    found = list(records.everything())
    assert [name for name, _ in found] == ["maker", "reed", "entry", "entry", "reading", "reading"]
    assert found[1][1]["maker"] == str(maker.uuid)
    assert found[2][1] | {"recorded_at": None} == {
        "uuid": str(taken.uuid),
        "reed": str(reed.uuid),
        "seq": 1,
        "kind": "readings",
        "version": 2,
        "happened_at": "2026-02-03T12:00:00+00:00",
        "recorded_at": None,
        "by": str(maker.uuid),
        "replaces": None,
        "payload": taken.payload.model_dump(mode="json"),
    }
    assert found[3][1]["replaces"] == str(taken.uuid)
    assert found[4][1]["entry"] == str(taken.uuid)
    assert found[5][1]["thickness"] == taken.readings[1].thickness
    plain = str | int | float | bool | dict | None
    assert all(isinstance(value, plain) for _, row in found for value in row.values())


# --- whose a reed is ------------------------------------------------------------------------------


def test_a_reed_changes_hands(records: SqlRecords) -> None:
    ann, bo = Maker(uuid=uuid4(), name="Ann"), Player(uuid=uuid4(), name="Bo")
    march = Batch(uuid=uuid4(), name="March")
    records.add_person(ann)
    records.add_person(bo)
    records.add_batch(march)
    reed = new_reed(records)
    records.append(reed.uuid, [said()])
    theirs = {"maker": ann.uuid, "player": bo.uuid, "batch": march.uuid}
    done = records.assign(reed.uuid, **theirs)
    assert done == records.reed("R 1") == replace(reed, seq=1, **theirs)
    (row,) = records.reeds(ReedQuery(text="ann bo march", batch="March")).rows
    assert (row.maker, row.player, row.batch) == ("Ann", "Bo", "March")
    records.assign(reed.uuid, maker=ann.uuid, player=None, batch=None)
    assert records.reeds(ReedQuery(text="bo")).total == 0
    assert records.reeds(ReedQuery(text="ann")).total == 1
    assert records.rebuild_summaries() == 0


def test_a_reed_is_given_to_nobody_unknown(records: SqlRecords) -> None:
    reed = new_reed(records)
    nobody: dict[str, UUID | None] = {"maker": None, "player": None, "batch": None}
    with pytest.raises(NotFound, match=r"no person .* is kept"):
        records.assign(reed.uuid, **nobody | {"player": uuid4()})
    with pytest.raises(NotFound, match=r"no batch .* is kept"):
        records.assign(reed.uuid, **nobody | {"batch": uuid4()})
    with pytest.raises(NotFound, match=r"no reed .* is kept"):
        records.assign(uuid4(), **nobody)
    assert records.reed("R 1") == reed


def test_a_batch_is_forgotten_and_its_reeds_are_not(records: SqlRecords) -> None:
    march = Batch(uuid=uuid4(), name="March")
    records.add_batch(march)
    reed = new_reed(records, batch=march.uuid)
    records.remove_batch(march.uuid)
    assert records.batches() == ()
    assert records.reed("R 1") == replace(reed, batch=None)
    assert records.reeds(ReedQuery(text="march")).total == 0
    assert records.rebuild_summaries() == 0
    with pytest.raises(NotFound, match=r"no batch .* is kept"):
        records.remove_batch(march.uuid)
