"""Reeds that were sent in: the queue, what may be done to them, their pictures and letters."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal, Unpack
from uuid import UUID, uuid4

from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.pictures import Picture, read_picture
from crowlight.bench.places import USUAL, SiteAsked, site_of
from crowlight.bench.ports import (
    Appended,
    Entry,
    Maker,
    NewEntry,
    Person,
    PersonPlace,
    Player,
    Records,
    Reed,
)
from crowlight.bench.posting import KINDS_LOOKED_AT, Posting, allowed_of, posting_of
from crowlight.bench.sending import Sending
from crowlight.bench.state import current
from crowlight.bench.workshop_kinds import Allowed, Consent, Intake, Letter, Photo, Stage
from crowlight.errors import InputError, NotFound

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk
    from crowlight.bench.story import Story

__all__ = ["Owed", "Posted", "Queued", "check_may_cut"]

#: What a cut of a posted reed waits for: nothing, an answer of the player, another one than no, or
#: that it comes back.
Owed = Literal["", "ask", "no", "away"]

_SAID = frozenset({"intake", "consent", "wish", "withdrawn"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Queued:
    """A posted reed in the queue, and whose it is."""

    reed: Reed
    player: Player | None
    posting: Posting


def check_may_cut(records: Records, reed: Reed) -> None:
    """Refuse to write a cut of a posted reed whose player did not allow it.

    Raises
    ------
    InputError
        If cutting is not allowed, and nothing since the intake says that this was asked about.
    """
    if not may_cut(records, reed.uuid):
        msg = (
            f"the player of {reed.name!r} has not allowed it to be cut: ask, and write the answer "
            f"down. A cut that was made without asking is written down as such together with it"
        )
        raise InputError(msg)


def may_cut(records: Records, reed: UUID) -> bool:
    """Tell whether a reed may be cut: it was not posted, or its player allows it."""
    allowed = allowed_of(records.entries_of_kinds(_SAID, reed=reed))
    return allowed is None or allowed["cut"] == "yes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """Posted reeds; part of a `crowlight.bench.desk.Desk`."""

    desk: Desk

    # --- looking ----------------------------------------------------------------------------------

    def queue(self, *, gone: bool = False) -> tuple[Queued, ...]:
        """Return the posted reeds: those due first come first.

        Parameters
        ----------
        gone : bool
            Whether those that left the workshop are among them.
        """
        records = self.desk.records
        by_reed: dict[UUID, list[Entry]] = defaultdict(list)
        posted = {e.reed for e in records.entries_of_kinds({"intake"})}
        if posted:
            for e in records.entries_of_kinds(KINDS_LOOKED_AT):
                if e.reed in posted:
                    by_reed[e.reed].append(e)
        people = {p.uuid: p for p in records.people()}
        now = self.desk.clock.now()
        found: list[Queued] = []
        for uuid, entries in by_reed.items():
            posting = posting_of(uuid, entries, now)
            if posting is None or not (gone or posting.here or posting.reminders):
                continue
            reed = records.reed(uuid)
            found.append(Queued(reed=reed, player=_player(people, reed), posting=posting))
        return tuple(sorted(found, key=_due))

    def posting(self, key: str | UUID) -> Posting | None:
        """Return where a reed is; None if it was not posted."""
        reed = self.desk.records.reed(key)
        entries = self.desk.records.entries_of_kinds(KINDS_LOOKED_AT, reed=reed.uuid)
        return posting_of(reed.uuid, entries, self.desk.clock.now())

    def may_cut(self, key: str | UUID) -> bool:
        """Tell whether a reed may be cut: it was not posted, or its player allows it."""
        return may_cut(self.desk.records, self.desk.records.reed(key).uuid)

    def owed(self, key: str | UUID) -> Owed:
        """Tell what a cut of a reed waits for; nothing for one that was not posted."""
        posting = self.posting(key)
        if posting is None:
            return ""
        if not posting.here:
            return "away"
        allowed = posting.allowed["cut"]
        return "" if allowed == "yes" else "no" if allowed == "no" else "ask"

    def allowed(self, key: str | UUID) -> dict[str, Allowed] | None:
        """Return what the player of a reed allows; None if it was not posted."""
        reed = self.desk.records.reed(key)
        found = allowed_of(self.desk.records.entries_of_kinds(_SAID, reed=reed.uuid))
        return None if found is None else dict(found)

    # --- taking in and writing down ---------------------------------------------------------------

    def take_in(
        self,
        name: str,
        intake: Intake,
        *,
        player: UUID | None = None,
        maker: UUID | None = None,
        uuid: UUID | None = None,
        entry: UUID | None = None,
        at: datetime | None = None,
        invented: bool = False,
    ) -> Reed:
        """Add a reed that was sent in, with its intake; taking it in again adds nothing.

        Raises
        ------
        Conflict
            If another reed has this name.
        """
        reed = self.desk.add_reed(name, uuid=uuid, player=player, maker=maker, invented=invented)
        kept = self.desk.records.entries_of_kinds({"intake"}, reed=reed.uuid)
        if not any(e.uuid == entry for e in kept):
            self.desk.write(reed.uuid, intake, uuid=entry, at=at)
        return self.desk.records.reed(reed.uuid)

    def write_with_consent(
        self,
        key: str | UUID,
        payload: Cut | Clip,
        consent: Consent,
        *,
        uuid: UUID,
        expected_seq: int | None = None,
    ) -> Appended:
        """Write a cut down together with what the player answered, or that nobody asked.

        Raises
        ------
        InputError
            If the answer is not about cutting, or was no: nothing then allows the cut.
        """
        if consent.to != "cut" or consent.answer == "no":
            msg = (
                "a cut is written down with a yes, or with the word that nobody was asked; an "
                "answer of no is written down alone, and the reed is left as it is"
            )
            raise InputError(msg)
        now = self.desk.clock.now()
        asked = UUID(int=uuid.int ^ 1)  # the same for a form that is sent twice
        said = NewEntry(uuid=asked, payload=consent, happened_at=now)
        done = NewEntry(uuid=uuid, payload=payload, happened_at=now)
        reed = self.desk.records.reed(key)
        kept = {e.uuid for e in self.desk.records.entries(reed.uuid)}
        if {asked, uuid} <= kept:  # sent before; the answer was lost on the way
            entries = [e for e in self.desk.records.entries(reed.uuid) if e.uuid in {asked, uuid}]
            return Appended(entries=tuple(entries), added=0)
        return self.desk.records.append(reed.uuid, [said, done], expected_seq=expected_seq)

    # --- pictures ---------------------------------------------------------------------------------

    def keep_photo(
        self,
        key: str | UUID,
        data: bytes,
        *,
        shows: str,
        remark: str = "",
        **sending: Unpack[Sending],
    ) -> Appended:
        """Keep a photograph of a reed, as it came.

        Parameters
        ----------
        key : str or UUID
            The reed.
        data : bytes
            The file.
        shows, remark : str
            What it shows, by its code; in words.
        **sending
            See `crowlight.bench.sending.Sending`.

        Raises
        ------
        InputError
            If it is no picture that can be shown; nothing was kept.
        """
        picture = read_picture(data)
        photo = Photo.model_validate(
            {
                "digest": self.desk.blobs.put(data),
                "media_type": picture.media_type,
                "shows": shows,
                "remark": remark,
            }
        )
        return self.desk.write(key, photo, **sending)

    def photos(self, key: str | UUID) -> tuple[Entry, ...]:
        """Return the photographs of a reed that count, in the order in which they were taken."""
        reed = self.desk.records.reed(key)
        kept = self.desk.records.entries_of_kinds({"photo", "withdrawn"}, reed=reed.uuid)
        return tuple(e for e in current(kept) if isinstance(e.payload, Photo))

    def photo(self, key: str | UUID, entry: UUID) -> Picture:
        """Return a photograph without what the camera wrote about the place.

        Raises
        ------
        NotFound
            If the reed has no such photograph.
        """
        for e in self.photos(key):
            if e.uuid == entry and isinstance(e.payload, Photo):
                return read_picture(self.desk.blobs.get(e.payload.digest))
        msg = "this reed has no such photograph; look at its page"
        raise NotFound(msg)

    # --- where it goes, and the letter ------------------------------------------------------------

    def home(self, reed: Reed) -> SiteAsked | None:
        """Return where a reed is worked on: the maker's first place whose altitude is known."""
        makers = [p.uuid for p in self.desk.records.people() if isinstance(p, Maker)]
        owner = reed.maker or (makers[0] if len(makers) == 1 else None)
        if owner is None:
            return None
        return next(
            (site_of(p) for p in self.desk.records.places(owner) if p.altitude is not None), None
        )

    def destination(self, reed: Reed, intake: Intake | None) -> SiteAsked | None:
        """Return where a reed will be played, as the intake says; what it leaves open, its place.

        None if nobody knows how high that is.
        """
        place = self.place(reed, intake)
        altitude = intake.altitude if intake and intake.altitude is not None else None
        if altitude is None and place is not None:
            altitude = place.altitude
        if altitude is None:
            return None
        kept = site_of(place) if place is not None else SiteAsked(name="", altitude=altitude)
        return SiteAsked(
            name=kept.name,
            altitude=altitude,
            temperature=(intake and intake.hall_temperature) or kept.temperature,
            humidity=kept.humidity
            if intake is None or intake.hall_humidity is None
            else intake.hall_humidity,
            season=(intake and intake.season) or USUAL,
        )

    def place(self, reed: Reed, intake: Intake | None) -> PersonPlace | None:
        """Return where a reed is played: as the intake says, or its player's only place."""
        places = {p.uuid: p for p in self.desk.records.places()}
        if intake is not None and intake.place is not None:
            return places.get(intake.place)
        theirs = [p for p in places.values() if p.person == reed.player]
        return theirs[0] if len(theirs) == 1 else None

    def story(self, key: str | UUID, *, travel: bool = True) -> Story:
        """Return the story of a reed, posted or not; see `crowlight.bench.story.story_of`."""
        from crowlight.bench.story import story_of  # loads the sounds, which the queue does without

        return story_of(self.desk, key, travel=travel)

    def letter(self, key: str | UUID) -> Letter | None:
        """Return the letter as it was edited last; None if it was not."""
        reed = self.desk.records.reed(key)
        kept = current(self.desk.records.entries_of_kinds({"letter", "withdrawn"}, reed=reed.uuid))
        return next((e.payload for e in reversed(kept) if isinstance(e.payload, Letter)), None)

    def move(
        self, key: str | UUID, stage: Stage, *, uuid: UUID | None = None, seq: int | None = None
    ) -> Appended:
        """Write down where a reed has got to."""
        return self.desk.write(key, stage, uuid=uuid or uuid4(), expected_seq=seq)


def _player(people: dict[UUID, Person], reed: Reed) -> Player | None:
    found = people.get(reed.player) if reed.player else None
    return found if isinstance(found, Player) else None


def _due(queued: Queued) -> tuple[bool, str, datetime]:
    """Sort what is here before what is gone, then by the next day something is due."""
    posting = queued.posting
    days = [r.day for r in posting.reminders]
    return not posting.here, min(days).isoformat() if days else "9999", posting.came
