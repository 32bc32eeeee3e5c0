"""The story of one reed at the bench: how it came, what was done, how it left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.kinds import Climate, Clip, Cut, Payload
from crowlight.bench.listening import Listening
from crowlight.bench.mapping import placed_style
from crowlight.bench.moments import Sheet
from crowlight.bench.places import SiteAsked
from crowlight.bench.ports import Entry, Heard, Maker, Player
from crowlight.bench.posting import KINDS_LOOKED_AT, Posting, posting_of
from crowlight.bench.recordings import recordings_of
from crowlight.bench.state import current, state_of
from crowlight.bench.workshop_kinds import Intake, Photo
from crowlight.errors import CrowlightError, RecordsError
from crowlight.reed.styles import Style

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk

__all__ = ["Crow", "Story", "story_of", "style_of"]

#: Photographs of each side of the work that a letter has room for.
_PHOTOS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Crow:
    """A recorded crow: when, what was measured (`crowlight.bench.sounds.listen`), the sound."""

    at: datetime
    heard: Mapping[str, Any]
    sound: Heard


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What a letter may tell.

    Parameters
    ----------
    now : Sheet
        The reed as it is.
    arrival : Sheet
        The reed before anything was done to it here; the same as `now` if nothing was.
    posting : Posting or None
        Where it is; None if it was not posted.
    player, maker : Player, Maker or None
        Whose it is, and who works on it.
    work : tuple of Entry
        Cuts, clips and treatments here, in the order in which they happened.
    measured_again : bool
        Whether readings were taken after the last of them.
    climate : Climate or None
        The last air of the workshop that was written down before the work.
    crow_before, crow_after : Crow or None
        The last usable crow before the work, and after it.
    photos_before, photos_after : tuple of Entry
        Photographs, the first few.
    home, to : SiteAsked or None
        Where it is worked on, and where it will be played.
    travel : mapping or None
        What the journey does; see `crowlight.bench.air.travel`. None if it was not asked, or is
        not known.
    no_travel : str
        Why it is not known; empty if it is, or was not asked.
    style : Style or None
        The reed's style, laid on its length; None if it is not known.
    written_at : datetime
        The time.
    """

    now: Sheet
    arrival: Sheet
    posting: Posting | None
    player: Player | None
    maker: Maker | None
    work: tuple[Entry, ...]
    measured_again: bool
    climate: Climate | None
    crow_before: Crow | None
    crow_after: Crow | None
    photos_before: tuple[Entry, ...]
    photos_after: tuple[Entry, ...]
    home: SiteAsked | None
    to: SiteAsked | None
    travel: Mapping[str, Any] | None
    no_travel: str
    style: Style | None
    written_at: datetime

    @property
    def intake(self) -> Intake | None:
        """The intake, if it was posted."""
        return self.posting.intake if self.posting else None

    @property
    def uses_knife(self) -> bool:
        """Whether the player is known to use a knife; who did not say is offered none."""
        return bool(self.player and self.player.uses_knife)


def _is_work(payload: Payload) -> bool:
    return isinstance(payload, Cut | Clip | Treated)


def story_of(desk: Desk, key: str | UUID, *, travel: bool = True) -> Story:
    """Gather the story of a reed.

    Parameters
    ----------
    desk : Desk
        The desk.
    key : str or UUID
        The reed.
    travel : bool
        Whether the journey to the player is worked out; the first time this takes a while.

    Raises
    ------
    NotFound
        If there is no such reed.
    """
    now = _sheet(desk, key)
    reed = now.reed
    counting = now.state.entries
    posting = posting_of(
        reed.uuid,
        (e for e in now.entries if e.payload.kind in KINDS_LOOKED_AT),
        desk.clock.now(),
    )
    came = posting.came if posting else None
    work = tuple(
        e for e in counting if _is_work(e.payload) and (came is None or e.happened_at >= came)
    )
    first, last = (work[0], work[-1]) if work else (None, None)
    # by number, not by time: what is written later was not known before
    earliest = min((e.seq for e in work), default=None)
    arrival = now if earliest is None else _sheet(desk, reed.uuid, up_to=earliest - 1)
    people = {p.uuid: p for p in desk.records.people()}
    player, maker = people.get(reed.player or reed.uuid), people.get(reed.maker or reed.uuid)
    if maker is None and posting is not None:
        makers = [p for p in people.values() if isinstance(p, Maker)]
        maker = makers[0] if len(makers) == 1 else None
    home, to = desk.posted.home(reed), desk.posted.destination(reed, posting and posting.intake)
    told, why = _travel(desk, reed.uuid, home, to) if travel else (None, "")
    photos = [e for e in counting if isinstance(e.payload, Photo)]
    return Story(
        now=now,
        arrival=arrival,
        posting=posting,
        player=player if isinstance(player, Player) else None,
        maker=maker if isinstance(maker, Maker) else None,
        work=work,
        measured_again=last is not None
        and any(
            e.payload.kind == "readings" and e.happened_at > last.happened_at for e in counting
        ),
        climate=_climate(arrival.state.entries, came),
        crow_before=_crow(desk, reed.uuid, counting, came, first and first.happened_at),
        crow_after=_crow(desk, reed.uuid, counting, last.happened_at, None) if last else None,
        photos_before=_told(
            [e for e in photos if first is None or e.happened_at <= first.happened_at]
        ),
        photos_after=_told(
            [e for e in photos if last is not None and e.happened_at > last.happened_at]
        ),
        home=home,
        to=to,
        travel=told,
        no_travel=why,
        style=style_of(desk, now),
        written_at=desk.clock.now(),
    )


def _told(photos: Sequence[Entry]) -> tuple[Entry, ...]:
    """Return the first few of some photographs, those against the light only for want of others."""

    def against_the_light(entry: Entry) -> bool:
        return isinstance(entry.payload, Photo) and entry.payload.shows == "light"

    return tuple(sorted(photos, key=against_the_light)[:_PHOTOS])


def _sheet(desk: Desk, key: str | UUID, *, up_to: int | None = None) -> Sheet:
    """Return a judged reed; what is kept of it, if it cannot be judged."""
    try:
        return desk.sheet(key, up_to=up_to)
    except RecordsError:
        raise
    except CrowlightError:
        found = desk.records.reed(key)
        entries = desk.records.entries(found.uuid, up_to=up_to)
        return Sheet(reed=found, state=state_of(entries), entries=entries, assessment=None)


def style_of(desk: Desk, sheet: Sheet) -> Style | None:
    """Return the style of a reed, laid on its length; None if there are no figures for it."""
    inputs = desk.reed_inputs(sheet.reed, sheet.state)
    with suppress(CrowlightError):
        if inputs["style"]:
            return placed_style(inputs["style"], inputs["length"], inputs["style_text"])
    return None


def _travel(
    desk: Desk, reed: UUID, home: SiteAsked | None, to: SiteAsked | None
) -> tuple[Mapping[str, Any] | None, str]:
    if home is None or to is None:
        return None, "home" if home is None else "to"
    try:
        return desk.models.travel(reed, home=home, to=to), ""
    except RecordsError:
        raise
    except CrowlightError as error:
        return None, str(error)


def _climate(entries: Sequence[Entry], came: datetime | None) -> Climate | None:
    """Return the last air written down since it came."""
    return next(
        (
            e.payload
            for e in reversed(entries)
            if isinstance(e.payload, Climate) and (came is None or e.happened_at >= came)
        ),
        None,
    )


def _crow(
    desk: Desk,
    reed: UUID,
    entries: Sequence[Entry],
    since: datetime | None,
    until: datetime | None,
) -> Crow | None:
    """Return the last usable crow between two moments."""
    for kept in reversed(recordings_of(current(entries))):
        at = kept.entry.happened_at
        if kept.payload.sound_of != "crow" or (since is not None and at < since):
            continue
        if until is not None and at > until:
            continue
        heard = Listening(desk=desk).hear(kept, reed)
        if heard.usable:
            sound = desk.sounds.read(desk.blobs.get(kept.payload.digest))
            return Crow(at=at, heard=heard.heard, sound=sound)
    return None
