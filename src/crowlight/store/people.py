"""People, their places, and batches: ordinary rows, so that they can be changed and erased."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import Connection, Select, Table, delete, exists, insert, or_, select, update

from crowlight.bench.kinds import clean_text
from crowlight.bench.names import folded, no_such
from crowlight.bench.ports import Batch, Maker, Person, PersonPlace, Player
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.store.schema import batch, maker, person, place, player, reed, setting
from crowlight.store.summary import lock, refresh

__all__ = [
    "add_batch",
    "add_person",
    "add_place",
    "all_batches",
    "all_people",
    "all_places",
    "batch_id",
    "checked_name",
    "erase_person",
    "find_place",
    "named",
    "person_id",
    "remove_batch",
    "remove_place",
]


def checked_name(name: str, of: str) -> str:
    """Return a name fit to be kept: one line, not empty, at most 200 characters."""
    cleaned = clean_text(name, lines=False)
    if not cleaned:
        msg = f"the name of a {of} is empty; type one"
        raise InputError(msg)
    if len(cleaned) > 200:
        msg = f"the name of a {of} has {len(cleaned)} characters, more than 200; shorten it"
        raise InputError(msg)
    return cleaned


# On PostgreSQL who changes a person or batch, and who adds a reed of theirs, wait for one another:
# otherwise the new reed could be listed under the old name. FOR NO KEY UPDATE and FOR SHARE do
# that, and let entries of the person be written meanwhile.


def person_id(connection: Connection, uuid: UUID | None, *, change: bool = False) -> int | None:
    """Return the number of a person, erased or not, who is to be referred to or changed."""
    if uuid is None:
        return None
    chosen = select(person.c.id).where(person.c.uuid == uuid)
    found = connection.execute(_held(chosen, change)).scalar()
    if found is None:
        msg = f"no person {uuid} is kept; add the maker or player first"
        raise NotFound(msg)
    return found


def _held(chosen: Select[Any], change: bool) -> Select[Any]:
    return chosen.with_for_update(key_share=change, read=not change)


def batch_id(connection: Connection, uuid: UUID | None, *, change: bool = False) -> int | None:
    """Return the number of a batch that is to be referred to or changed."""
    if uuid is None:
        return None
    chosen = select(batch.c.id).where(batch.c.uuid == uuid)
    found = connection.execute(_held(chosen, change)).scalar()
    if found is None:
        msg = f"no batch {uuid} is kept; add the batch first"
        raise NotFound(msg)
    return found


def _put(connection: Connection, table: Table, key: str, row: dict[str, Any]) -> None:
    """Update the row with this key, or insert it."""
    column = table.c[key]
    done = connection.execute(update(table).where(column == row[key]).values(row))
    if not done.rowcount:
        connection.execute(insert(table).values(row))


def add_person(connection: Connection, new: Person) -> None:
    """Add or update a maker or a player."""
    chosen = select(person.c.id).where(person.c.uuid == new.uuid)
    found = connection.execute(_held(chosen, True)).scalar()
    if found is None:
        found = connection.execute(
            insert(person).values(uuid=new.uuid).returning(person.c.id)
        ).scalar_one()
    match new:
        case Maker():
            if new.hand not in ("left", "right", ""):
                msg = f"hand = {new.hand!r} must be left, right or empty"
                raise InputError(msg)
            name = checked_name(new.name, "maker")
            _put(connection, maker, "person", {"person": found, "name": name, "hand": new.hand})
        case Player():
            row = {
                "person": found,
                "name": checked_name(new.name, "player"),
                "contact": clean_text(new.contact),
                "uses_knife": new.uses_knife,
            }
            _put(connection, player, "person", row)
    _refresh_reeds(connection, or_(reed.c.maker == found, reed.c.player == found))


def _refresh_reeds(connection: Connection, condition: Any) -> None:
    chosen = select(reed.c.id).where(condition).order_by(reed.c.id)
    for reed_id in connection.execute(chosen).scalars().all():
        lock(connection, reed_id)
        refresh(connection, reed_id)


def all_people(connection: Connection) -> tuple[Person, ...]:
    """Return all makers and players by name."""
    makers = connection.execute(
        select(person.c.uuid, maker).join(person, person.c.id == maker.c.person)
    )
    players = connection.execute(
        select(person.c.uuid, player).join(person, person.c.id == player.c.person)
    )
    found: list[Person] = [Maker(uuid=r.uuid, name=r.name, hand=r.hand) for r in makers]
    found += [
        Player(uuid=r.uuid, name=r.name, contact=r.contact, uses_knife=r.uses_knife)
        for r in players
    ]
    return tuple(sorted(found, key=lambda p: (p.name.casefold(), p.name, str(p.uuid))))


def erase_person(connection: Connection, uuid: UUID) -> None:
    """Delete the rows that name a person; entries keep referring to a bare number."""
    found = person_id(connection, uuid, change=True)
    connection.execute(delete(place).where(place.c.person == found))
    connection.execute(delete(setting).where(setting.c.person == found))
    connection.execute(delete(player).where(player.c.person == found))
    connection.execute(delete(maker).where(maker.c.person == found))
    _refresh_reeds(connection, or_(reed.c.maker == found, reed.c.player == found))


def _check_air(new: PersonPlace) -> None:
    """Refuse air that nobody plays in, in the units it was most likely typed in."""
    kept = (new.altitude, new.temperature, new.humidity)
    limits = (-500, 9000, "altitude", "m"), (243, 328, "temperature", "K"), (0, 1, "humidity", "")
    for value, (low, high, name, unit) in zip(kept, limits, strict=True):
        if value is not None and not low <= value <= high:
            msg = (
                f"{name} of the place {new.name!r} = {value:g} {unit} must be from {low} to {high} "
                f"{unit}; check the number and its unit"
            )
            raise InputError(" ".join(msg.split()))


def add_place(connection: Connection, new: PersonPlace) -> None:
    """Add or update a place of a maker or a player who was not erased."""
    _check_air(new)
    # held until the end, so that no erasing comes between the look and the writing
    owner = connection.execute(_held(named(new.person), True)).scalar()
    if owner is None:
        msg = f"no person {new.person} is kept; add the person before the place {new.name!r}"
        raise NotFound(msg)
    kept = connection.execute(select(place.c.person).where(place.c.uuid == new.uuid)).scalar()
    if kept not in (None, owner):
        msg = f"the place {new.name!r} belongs to another person; give it a new uuid"
        raise Conflict(msg)
    row = {
        "uuid": new.uuid,
        "person": owner,
        "name": checked_name(new.name, "place"),
        "altitude": new.altitude,
        "temperature": new.temperature,
        "humidity": new.humidity,
    }
    _put(connection, place, "uuid", row)


def named(uuid: UUID) -> Select[Any]:
    """Select the number of a person who has a name: one who was not erased."""
    names = exists().where(maker.c.person == person.c.id) | exists().where(
        player.c.person == person.c.id
    )
    return select(person.c.id).where(person.c.uuid == uuid, names)


def remove_place(connection: Connection, uuid: UUID) -> None:
    """Delete a place."""
    if not connection.execute(delete(place).where(place.c.uuid == uuid)).rowcount:
        msg = f"no place {uuid} is kept; look it up in the list of places"
        raise NotFound(msg)


def find_place(connection: Connection, key: str | UUID) -> PersonPlace:
    """Return a place by uuid or by name, capitals and accents apart."""
    places = all_places(connection, None)
    for found in places:
        if key == found.uuid or key == str(found.uuid):
            return found
    wanted = clean_text(str(key), lines=False)
    same = [p for p in places if p.name == wanted] or [
        p for p in places if folded(p.name) == folded(wanted)
    ]
    if not same:
        raise NotFound(no_such("place", wanted, [p.name for p in places]))
    if len(same) > 1:
        names = {p.uuid: p.name for p in all_people(connection)}
        owners = ", ".join(f"{p.uuid} of {names.get(p.person, 'somebody')}" for p in same)
        msg = f"{len(same)} places are called {wanted!r}; name one by its number: {owners}"
        raise Conflict(msg)
    return same[0]


def all_places(connection: Connection, of: UUID | None) -> tuple[PersonPlace, ...]:
    """Return the places, of one person or all, by name."""
    rows = select(place, person.c.uuid.label("owner")).join(person, person.c.id == place.c.person)
    if of is not None:
        rows = rows.where(person.c.uuid == of)
    return tuple(
        PersonPlace(
            uuid=row.uuid,
            person=row.owner,
            name=row.name,
            altitude=row.altitude,
            temperature=row.temperature,
            humidity=row.humidity,
        )
        for row in sorted(connection.execute(rows), key=lambda r: (r.name.casefold(), str(r.uuid)))
    )


def add_batch(connection: Connection, new: Batch) -> None:
    """Add or update a batch."""
    connection.execute(_held(select(batch.c.id).where(batch.c.uuid == new.uuid), True))
    row = {
        "uuid": new.uuid,
        "name": checked_name(new.name, "batch"),
        "maker": person_id(connection, new.maker),
    }
    _put(connection, batch, "uuid", row)
    _refresh_reeds(connection, reed.c.batch == batch_id(connection, new.uuid))


def all_batches(connection: Connection) -> tuple[Batch, ...]:
    """Return all batches by name."""
    rows = connection.execute(
        select(batch.c.uuid, batch.c.name, person.c.uuid.label("by")).outerjoin(
            person, person.c.id == batch.c.maker
        )
    )
    found = [Batch(uuid=row.uuid, name=row.name, maker=row.by) for row in rows]
    return tuple(sorted(found, key=lambda b: (b.name.casefold(), b.name, str(b.uuid))))


def remove_batch(connection: Connection, uuid: UUID) -> None:
    """Delete a batch; its reeds are of no batch from now on."""
    found = batch_id(connection, uuid, change=True)
    chosen = select(reed.c.id).where(reed.c.batch == found).order_by(reed.c.id)
    reeds = connection.execute(chosen).scalars().all()
    for reed_id in reeds:
        lock(connection, reed_id)
    connection.execute(update(reed).where(reed.c.batch == found).values(batch=None))
    connection.execute(delete(batch).where(batch.c.id == found))
    for reed_id in reeds:
        refresh(connection, reed_id)
