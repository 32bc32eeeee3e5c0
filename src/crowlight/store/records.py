"""Reeds, people and entries in a database: the port `crowlight.bench.ports.Records`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Self
from uuid import UUID

from sqlalchemy import ColumnElement, Connection, Select, func, insert, or_, select, update

from crowlight.bench.kinds import clean_text
from crowlight.bench.names import folded, no_such
from crowlight.bench.ports import (
    Appended,
    Batch,
    Clock,
    Entry,
    NewEntry,
    NewReed,
    OwnStyle,
    Page,
    Person,
    PersonPlace,
    Reed,
    ReedQuery,
)
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.store import people, styles
from crowlight.store.append import append
from crowlight.store.database import WAIT, Database
from crowlight.store.everything import everything
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.rows import entries_of, load_entries
from crowlight.store.schema import batch, entry, person, reed, reed_summary
from crowlight.store.summary import lock, refresh, summary_of, summary_row

__all__ = ["SqlRecords", "open_records"]

#: More than there can be of anything; a database takes no larger number.
_MANY = 2**31 - 1


class SqlRecords:
    """Reeds, people and entries in SQLite or PostgreSQL.

    Made by `open_records`. Methods may be called from several threads; each is one transaction.

    Parameters
    ----------
    database : Database
        Where they are kept.
    clock : Clock
        Tells when something was recorded.
    """

    def __init__(self, database: Database, clock: Clock) -> None:
        self.database = database
        self.clock = clock

    def close(self) -> None:
        """Give back the connections."""
        self.database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- people, places, batches ------------------------------------------------------------------

    def add_person(self, person: Person) -> None:
        """Add or update a maker or a player."""
        with self.database.write() as connection:
            people.add_person(connection, person)

    def people(self) -> tuple[Person, ...]:
        """Return all makers and players by name."""
        with self.database.read() as connection:
            return people.all_people(connection)

    def erase_person(self, uuid: UUID) -> None:
        """Remove name, contact and places of a person; what they made or played stays.

        On SQLite the name is overwritten in the file as well. Words about a person that somebody
        typed into a note, and earlier backups, are not touched.
        """
        with self.database.write() as connection:
            people.erase_person(connection, uuid)
        self.database.tidy()

    def add_place(self, place: PersonPlace) -> None:
        """Add or update a place of a person."""
        with self.database.write() as connection:
            people.add_place(connection, place)

    def place(self, key: str | UUID) -> PersonPlace:
        """Return a place by uuid or name; capitals and accents do not matter.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        Conflict
            If several people have a place of this name.
        """
        with self.database.read() as connection:
            return people.find_place(connection, key)

    def places(self, person: UUID | None = None) -> tuple[PersonPlace, ...]:
        """Return the places, of one person or all."""
        with self.database.read() as connection:
            return people.all_places(connection, person)

    def remove_place(self, uuid: UUID) -> None:
        """Forget a place.

        Raises
        ------
        NotFound
            If there is none.
        """
        with self.database.write() as connection:
            people.remove_place(connection, uuid)
        self.database.tidy()

    def add_batch(self, batch: Batch) -> None:
        """Add or update a batch."""
        with self.database.write() as connection:
            people.add_batch(connection, batch)

    def batches(self) -> tuple[Batch, ...]:
        """Return all batches by name."""
        with self.database.read() as connection:
            return people.all_batches(connection)

    def remove_batch(self, uuid: UUID) -> None:
        """Forget a batch; its reeds stay and are of no batch.

        Raises
        ------
        NotFound
            If there is none.
        """
        with self.database.write() as connection:
            people.remove_batch(connection, uuid)

    # --- reeds ------------------------------------------------------------------------------------

    def add_reed(self, reed: NewReed) -> Reed:
        """Add a reed; adding the same uuid and name again changes nothing.

        Raises
        ------
        Conflict
            If another reed has this name, or this reed has another.
        NotFound
            If its maker, player or batch is not kept.
        """
        with self.database.write() as connection:
            return _add_reed(connection, reed, self.clock)

    def reed(self, key: str | UUID) -> Reed:
        """Return a reed by uuid or name.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        """
        with self.database.read() as connection:
            return _find_reed(connection, key)

    def assign(
        self, reed: UUID, *, maker: UUID | None, player: UUID | None, batch: UUID | None
    ) -> Reed:
        """Say whose a reed is from now on; None for nobody's or no batch.

        Raises
        ------
        NotFound
            If the reed, the maker, the player or the batch is not kept.
        """
        with self.database.write() as connection:
            return _assign(connection, reed, maker, player, batch)

    def latest_reeds(self, maker: UUID, count: int) -> tuple[Reed, ...]:
        """Return the reeds of a maker that were added last, the latest first."""
        owner = select(person.c.id).where(person.c.uuid == maker).scalar_subquery()
        rows = _reed_rows().where(reed.c.maker == owner).order_by(reed.c.id.desc())
        with self.database.read() as connection:
            found = connection.execute(rows.limit(min(max(0, count), _MANY)))
            return tuple(Reed(**row._mapping) for row in found)

    def reeds(self, query: ReedQuery) -> Page:
        """List reeds: every word of `query.text` is looked for, in any of the searched texts."""
        conditions = _conditions(query)
        rows = (
            select(reed.c.uuid, reed.c.name, reed.c.invented, reed_summary)
            .join(reed_summary, reed_summary.c.reed == reed.c.id)
            .where(*conditions)
            .order_by(*_order(query))
            .limit(min(max(0, query.limit), _MANY))
            .offset(min(max(0, query.offset), _MANY))
        )
        count = select(func.count()).select_from(reed_summary).where(*conditions)
        with self.database.read() as connection:
            return Page(
                rows=tuple(summary_of(row) for row in connection.execute(rows)),
                total=connection.execute(count).scalar_one(),
            )

    # --- entries ----------------------------------------------------------------------------------

    def entries(self, reed: UUID, *, up_to: int | None = None) -> tuple[Entry, ...]:
        """Return a reed's entries in order, all or up to number `up_to`.

        Raises
        ------
        NotFound
            If there is no such reed.
        """
        with self.database.read() as connection:
            kept = _reed_id(connection, reed)
            conditions: list[ColumnElement[bool]] = [entry.c.reed == kept]
            if up_to is not None:
                conditions.append(entry.c.seq <= min(up_to, _MANY))
            return tuple(load_entries(connection, entries_of(*conditions)))

    def append(
        self, reed: UUID, entries: Sequence[NewEntry], *, expected_seq: int | None = None
    ) -> Appended:
        """Write entries down, all or none, and bring the summary up to date with them.

        Entries whose uuid is already kept for this reed are left as they are. When all of them
        are, nothing is written and `expected_seq` does not matter: the answer to the first sending
        was lost on the way, and is given again.

        Raises
        ------
        Conflict
            If `expected_seq` is given and is not the reed's latest number (another window wrote
            first), if a uuid belongs to another reed or other content, or if what is to be
            replaced is of another reed or replaced already.
        NotFound
            If the reed, the author, or an entry that is to be replaced, is not there.
        InputError
            A time without zone, a reading that cannot be right.
        CannotWrite
            Disk full, read-only, locked; nothing was written.
        """
        with self.database.write() as connection:
            return append(
                connection, reed, entries, expected_seq=expected_seq, now=self.clock.now()
            )

    # --- styles -----------------------------------------------------------------------------------

    def add_style(self, style: OwnStyle) -> None:
        """Keep a maker's own style; keeping the same again changes nothing.

        Raises
        ------
        Conflict
            If another style has this name, or this one other content.
        NotFound
            If its maker is not kept.
        """
        with self.database.write() as connection:
            styles.add_style(connection, style)

    def styles(self) -> tuple[OwnStyle, ...]:
        """Return the makers' own styles by name."""
        with self.database.read() as connection:
            return styles.all_styles(connection)

    def everything(self) -> Iterator[tuple[str, Mapping[str, Any]]]:
        """Yield every kept row as (table name, plain values), for export."""
        with self.database.read() as connection:
            yield from everything(connection)

    # --- upkeep -----------------------------------------------------------------------------------

    def rebuild_summaries(self) -> int:
        """Work every summary out again; return how many were not what they should have been."""
        wrong = 0
        with self.database.write() as connection:
            for reed_id in (
                connection.execute(select(reed.c.id).order_by(reed.c.id)).scalars().all()
            ):
                lock(connection, reed_id)
                kept = connection.execute(
                    select(reed_summary).where(reed_summary.c.reed == reed_id)
                ).mappings()
                if dict(kept.first() or {}) != summary_row(connection, reed_id):
                    wrong += 1
                    refresh(connection, reed_id)
        return wrong


def open_records(
    where: str | Path, clock: Clock, *, failpoint: Failpoint = pass_by, wait: float = WAIT
) -> SqlRecords:
    """Open the records, making or migrating the database if need be.

    Parameters
    ----------
    where : str or Path
        A SQLite file, which is made with its folder if it is not there, or an address
        ``postgresql://user@host/name``.
    clock : Clock
        Tells when something was recorded.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    wait : float
        Seconds to wait for another writer before `CannotWrite`.

    Returns
    -------
    SqlRecords
        To be closed after use; also a context manager.

    Raises
    ------
    NewerDatabase
        Made by a later crowlight; not a byte is changed.
    CannotWrite
        It must be made or migrated, and cannot be written.
    RecordsError
        Not a database, damaged, or out of reach.
    """
    return SqlRecords(Database(where, failpoint=failpoint, wait=wait), clock)


# --- reeds ----------------------------------------------------------------------------------------

_MAKER, _PLAYER = person.alias("reed_maker"), person.alias("reed_player")


def _reed_rows() -> Select[*tuple[Any, ...]]:
    return (
        select(
            reed.c.uuid,
            reed.c.name,
            _MAKER.c.uuid.label("maker"),
            _PLAYER.c.uuid.label("player"),
            batch.c.uuid.label("batch"),
            reed.c.invented,
            reed.c.created_at,
            reed_summary.c.seq,
        )
        .join(reed_summary, reed_summary.c.reed == reed.c.id)
        .outerjoin(_MAKER, _MAKER.c.id == reed.c.maker)
        .outerjoin(_PLAYER, _PLAYER.c.id == reed.c.player)
        .outerjoin(batch, batch.c.id == reed.c.batch)
    )


def _add_reed(connection: Connection, new: NewReed, clock: Clock) -> Reed:
    name = people.checked_name(new.name, "reed")
    same = or_(reed.c.uuid == new.uuid, reed.c.name == name)
    for row in connection.execute(_reed_rows().where(same)):
        if row.uuid == new.uuid and row.name == name:
            return Reed(**row._mapping)
        if row.uuid == new.uuid:
            msg = f"this reed is kept already under the name {row.name!r}, not {name!r}"
            raise Conflict(msg)
        msg = f"another reed has the name {name!r}; choose a different name"
        raise Conflict(msg)
    row = {
        "uuid": new.uuid,
        "name": name,
        "maker": people.person_id(connection, new.maker),
        "player": people.person_id(connection, new.player),
        "batch": people.batch_id(connection, new.batch),
        "invented": new.invented,
        "created_at": clock.now(),
    }
    reed_id = connection.execute(insert(reed).values(row).returning(reed.c.id)).scalar_one()
    refresh(connection, reed_id)
    return Reed(**connection.execute(_reed_rows().where(reed.c.id == reed_id)).one()._mapping)


def _assign(
    connection: Connection,
    uuid: UUID,
    maker: UUID | None,
    player: UUID | None,
    of: UUID | None,
) -> Reed:
    # people and batch first, as everywhere: who waits for a reed must not hold what others wait for
    new = {
        "maker": people.person_id(connection, maker),
        "player": people.person_id(connection, player),
        "batch": people.batch_id(connection, of),
    }
    reed_id = _reed_id(connection, uuid)
    lock(connection, reed_id)
    connection.execute(update(reed).where(reed.c.id == reed_id).values(new))
    refresh(connection, reed_id)
    return Reed(**connection.execute(_reed_rows().where(reed.c.id == reed_id)).one()._mapping)


def _find_reed(connection: Connection, key: str | UUID) -> Reed:
    wanted: list[ColumnElement[bool]] = []
    if isinstance(key, str):
        wanted.append(reed.c.name == clean_text(key, lines=False))
        with suppress(ValueError):
            key = UUID(key)
    if isinstance(key, UUID):
        wanted.insert(0, reed.c.uuid == key)
    for condition in wanted:
        row = connection.execute(_reed_rows().where(condition)).one_or_none()
        if row is not None:
            return Reed(**row._mapping)
    names = connection.execute(select(reed.c.name)).scalars().all()
    raise NotFound(no_such("reed", str(key), names))


def _reed_id(connection: Connection, uuid: UUID) -> int:
    kept = connection.execute(select(reed.c.id).where(reed.c.uuid == uuid)).scalar()
    if kept is None:
        msg = f"no reed {uuid} is kept; look it up in the list of reeds"
        raise NotFound(msg)
    return kept


def _conditions(query: ReedQuery) -> list[ColumnElement[bool]]:
    if len(query.text) > 200:
        msg = f"the search has {len(query.text)} characters, more than 200; use a few words"
        raise InputError(msg)
    words = folded(query.text).split()
    conditions = [reed_summary.c.search.contains(word, autoescape=True) for word in words]
    if query.batch:
        conditions.append(reed_summary.c.batch == query.batch)
    return conditions


def _order(query: ReedQuery) -> list[ColumnElement[Any]]:
    """Sort; what has no value comes last in both directions, equal ones by name."""
    column = {
        "name": reed_summary.c.sort_name,
        "last": reed_summary.c.last_at,
        "batch": reed_summary.c.batch,
        "style": reed_summary.c.style,
        "grade": reed_summary.c.grade,
        "length": reed_summary.c.length,
    }.get(query.sort)
    if column is None:
        msg = (
            f"reeds cannot be sorted by {query.sort!r}; use name, last, batch, style, grade, length"
        )
        raise InputError(msg)
    first = column.desc() if query.descending else column.asc()
    return [first.nulls_last(), reed_summary.c.sort_name, reed_summary.c.reed]
