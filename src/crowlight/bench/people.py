"""People, their places and batches: what the desk does with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Literal, TypeVar
from uuid import UUID, uuid4

from crowlight.bench.kinds import clean_text
from crowlight.bench.names import folded, no_such
from crowlight.bench.ports import Batch, Maker, Person, PersonPlace, Player, Records, Reed
from crowlight.errors import Conflict, NotFound

__all__ = ["KEEP", "Keep", "People"]

T = TypeVar("T", Maker, Player, Batch, Person)


class Keep(Enum):
    """Leave it as it is."""

    KEEP = "keep"


KEEP = Keep.KEEP


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """Makers, players, their places, and batches; part of a `crowlight.bench.desk.Desk`.

    People and batches are named by uuid or name; capitals and accents do not matter. A name that
    two of them share is refused: name one by its uuid.
    """

    records: Records

    # --- people -----------------------------------------------------------------------------------

    def all(self) -> tuple[Person, ...]:
        """Return all makers and players by name."""
        return self.records.people()

    def find(self, key: str | UUID) -> Person:
        """Return a maker or player.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        Conflict
            If several people have this name.
        """
        return _found(key, self.records.people(), "person", "people")

    def maker(self, key: str | UUID) -> Maker:
        """Return a maker; raises as `find` does."""
        return _found(key, [p for p in self.records.people() if isinstance(p, Maker)], "maker")

    def player(self, key: str | UUID) -> Player:
        """Return a player; raises as `find` does."""
        return _found(key, [p for p in self.records.people() if isinstance(p, Player)], "player")

    def add_maker(
        self, name: str, *, hand: Literal["left", "right", ""] = "", uuid: UUID | None = None
    ) -> Maker:
        """Add a maker, or update the one with this uuid."""
        self.records.add_person(new := Maker(uuid=uuid or uuid4(), name=name, hand=hand))
        return self.maker(new.uuid)

    def add_player(
        self,
        name: str,
        *,
        contact: str = "",
        uses_knife: bool | None = None,
        uuid: UUID | None = None,
    ) -> Player:
        """Add a player, or update the one with this uuid."""
        new = Player(uuid=uuid or uuid4(), name=name, contact=contact, uses_knife=uses_knife)
        self.records.add_person(new)
        return self.player(new.uuid)

    def erase(self, key: str | UUID) -> None:
        """Remove name, contact and places of a person; what they made or played stays.

        Names in notes, and in backups made earlier, are not touched.
        """
        self.records.erase_person(self.find(key).uuid)

    # --- places -----------------------------------------------------------------------------------

    def places(self, person: str | UUID | None = None) -> tuple[PersonPlace, ...]:
        """Return the places by name, of one person or all."""
        return self.records.places(None if person is None else self.find(person).uuid)

    def place(self, key: str | UUID) -> PersonPlace:
        """Return a place; see `crowlight.bench.ports.Records.place`."""
        return self.records.place(key)

    def add_place(
        self,
        person: str | UUID,
        name: str,
        *,
        altitude: float | None = None,
        temperature: float | None = None,
        humidity: float | None = None,
        uuid: UUID | None = None,
    ) -> PersonPlace:
        """Add a place of a person, or update the one with this uuid.

        Parameters
        ----------
        person : str or UUID
            Who makes or plays reeds there.
        name : str
            Its name.
        altitude : float, optional
            [m].
        temperature, humidity : float, optional
            Indoors, if measured [K, 0-1].
        uuid : UUID, optional
            The sender's own, so that sending twice adds once.
        """
        new = PersonPlace(
            uuid=uuid or uuid4(),
            person=self.find(person).uuid,
            name=name,
            altitude=altitude,
            temperature=temperature,
            humidity=humidity,
        )
        self.records.add_place(new)
        return self.records.place(new.uuid)

    def remove_place(self, key: str | UUID) -> None:
        """Forget a place."""
        self.records.remove_place(self.records.place(key).uuid)

    # --- batches ----------------------------------------------------------------------------------

    def batches(self) -> tuple[Batch, ...]:
        """Return all batches by name."""
        return self.records.batches()

    def batch(self, key: str | UUID) -> Batch:
        """Return a batch; raises as `find` does."""
        return _found(key, self.records.batches(), "batch", "batches")

    def add_batch(
        self, name: str, *, maker: str | UUID | None = None, uuid: UUID | None = None
    ) -> Batch:
        """Add a batch, or update the one with this uuid."""
        by = None if maker is None else self.maker(maker).uuid
        self.records.add_batch(new := Batch(uuid=uuid or uuid4(), name=name, maker=by))
        return self.batch(new.uuid)

    def remove_batch(self, key: str | UUID) -> None:
        """Forget a batch; its reeds stay and are of no batch."""
        self.records.remove_batch(self.batch(key).uuid)

    # --- whose a reed is --------------------------------------------------------------------------

    def assign(
        self,
        reed: str | UUID,
        *,
        maker: str | UUID | Keep | None = KEEP,
        player: str | UUID | Keep | None = KEEP,
        batch: str | UUID | Keep | None = KEEP,
    ) -> Reed:
        """Say who made a reed, who plays it, and of which batch it is.

        Parameters
        ----------
        reed : str or UUID
            The reed.
        maker, player, batch : str, UUID or None, optional
            Theirs from now on; None for nobody's. What is not given stays.

        Returns
        -------
        Reed
            As it is now.
        """
        kept = self.records.reed(reed)
        new = replace(
            kept,
            maker=kept.maker if maker is KEEP else maker and self.maker(maker).uuid,
            player=kept.player if player is KEEP else player and self.player(player).uuid,
            batch=kept.batch if batch is KEEP else batch and self.batch(batch).uuid,
        )
        return self.records.assign(kept.uuid, maker=new.maker, player=new.player, batch=new.batch)


def _found(key: str | UUID, kept: Sequence[T], what: str, many: str = "") -> T:
    """Return the one with this uuid or name."""
    for one in kept:
        if key == one.uuid or str(key) == str(one.uuid):
            return one
    wanted = clean_text(str(key), lines=False)
    same = [one for one in kept if one.name == wanted]
    same = same or [one for one in kept if folded(one.name) == folded(wanted)]
    if not same:
        raise NotFound(no_such(what, wanted, [one.name for one in kept], many=many))
    if len({one.uuid for one in same}) > 1:
        several = ", ".join(str(one.uuid) for one in same)
        msg = f"{wanted!r} may be each of {several}; give the uuid of the one you mean"
        raise Conflict(msg)
    return same[0]
