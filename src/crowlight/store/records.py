"""Reeds, people and entries in a database: the port `crowlight.bench.ports.Records`."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Self
from uuid import UUID

from sqlalchemy import ColumnElement, func, select

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
    PlainEntry,
    Reed,
    ReedQuery,
    Sitting,
)
from crowlight.store import people, reeds, sittings, styles
from crowlight.store.append import append
from crowlight.store.database import WAIT, Database
from crowlight.store.everything import everything
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.rows import entries_of, load_entries, plain_entries
from crowlight.store.schema import entry, person, reed, reed_summary
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
            return reeds.add_reed(connection, reed, self.clock)

    def reed(self, key: str | UUID) -> Reed:
        """Return a reed by uuid or name.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        """
        with self.database.read() as connection:
            return reeds.find_reed(connection, key)

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
            return reeds.assign(connection, reed, maker, player, batch)

    def latest_reeds(self, maker: UUID, count: int) -> tuple[Reed, ...]:
        """Return the reeds of a maker that were added last, the latest first."""
        owner = select(person.c.id).where(person.c.uuid == maker).scalar_subquery()
        rows = reeds.reed_rows().where(reed.c.maker == owner).order_by(reed.c.id.desc())
        with self.database.read() as connection:
            found = connection.execute(rows.limit(min(max(0, count), _MANY)))
            return tuple(Reed(**row._mapping) for row in found)

    def reeds(self, query: ReedQuery) -> Page:
        """List reeds: every word of `query.text` is looked for, in any of the searched texts."""
        conditions = reeds.conditions_of(query)
        rows = (
            select(reed.c.uuid, reed.c.name, reed.c.invented, reed_summary)
            .join(reed_summary, reed_summary.c.reed == reed.c.id)
            .where(*conditions)
            .order_by(*reeds.order_of(query))
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
            kept = reeds.reed_id_of(connection, reed)
            conditions: list[ColumnElement[bool]] = [entry.c.reed == kept]
            if up_to is not None:
                conditions.append(entry.c.seq <= min(up_to, _MANY))
            return tuple(load_entries(connection, entries_of(*conditions)))

    def entries_of_kinds(
        self, kinds: Collection[str], *, reed: UUID | None = None
    ) -> tuple[Entry, ...]:
        """Return the entries of these kinds, of one reed or all, without their readings."""
        conditions: list[ColumnElement[bool]] = [entry.c.kind.in_(sorted(kinds))]
        with self.database.read() as connection:
            if reed is not None:
                conditions.append(entry.c.reed == reeds.reed_id_of(connection, reed))
            chosen = entries_of(*conditions)
            return tuple(load_entries(connection, chosen, with_readings=False))

    def plain_entries(self, kinds: Collection[str]) -> Sequence[PlainEntry]:
        """Return the entries of these kinds of all reeds as plain values, in order of happening."""
        with self.database.read() as connection:
            return plain_entries(connection, sorted(kinds))

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

    # --- the bench --------------------------------------------------------------------------------

    def setting(self, person: UUID) -> Mapping[str, Any]:
        """Return how a person wants the pages; nothing if they never said."""
        with self.database.read() as connection:
            return sittings.find_setting(connection, person)

    def put_setting(self, person: UUID, chosen: Mapping[str, Any]) -> None:
        """Keep how a person wants the pages, in place of what was kept.

        Raises
        ------
        NotFound
            If the person is not kept, or was erased.
        """
        with self.database.write() as connection:
            sittings.put_setting(connection, person, chosen, now=self.clock.now())

    def begin_sitting(self, sitting: Sitting) -> Sitting:
        """Begin a sitting; one that is still open ends. Beginning it again changes nothing.

        Raises
        ------
        NotFound
            If one of its reeds is not kept.
        """
        with self.database.write() as connection:
            return sittings.begin(connection, sitting)

    def open_sitting(self) -> Sitting | None:
        """Return the sitting that has not ended, or None."""
        with self.database.read() as connection:
            return sittings.open_now(connection)

    def change_sitting(self, uuid: UUID, change: Callable[[Sitting], Sitting]) -> Sitting:
        """Put what `change` makes of a sitting in its place, within one transaction.

        Raises
        ------
        NotFound
            If there is no such sitting, or one of its reeds is not kept.
        """
        with self.database.write() as connection:
            return sittings.change(connection, uuid, change)

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
