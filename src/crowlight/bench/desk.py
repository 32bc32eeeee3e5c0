"""The desk: what a maker can do with reeds, whichever door they come through."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4, uuid5

from crowlight.bench.assess import Assessment, inputs_of_table
from crowlight.bench.kinds import (
    Described,
    Lengths,
    Payload,
    Recording,
    Withdrawn,
    clean_text,
)
from crowlight.bench.mechanics import BladesShown
from crowlight.bench.people import People
from crowlight.bench.places import SiteAsked
from crowlight.bench.ports import (
    Appended,
    Blobs,
    Clock,
    Entry,
    Jobs,
    NewEntry,
    NewReed,
    Page,
    Records,
    Reed,
    ReedQuery,
    Results,
    SoundOf,
    Sounds,
    Table,
    Tables,
)
from crowlight.bench.state import ReedState, state_of
from crowlight.bench.tasks import result_key, task_named
from crowlight.errors import InputError, NotFound, OutsideModel
from crowlight.reed import Reading, check_reading

if TYPE_CHECKING:  # it loads the blade model, which most of the desk does without
    from crowlight.bench.mechanics import BladesShown

__all__ = ["Desk", "Imported", "Sheet"]

#: Name space of entry uuids made from the content of an imported table (RFC 9562, version 5).
_TABLES = UUID("a1c2b0de-5d5c-5b0e-9c56-2f6f1d9b7c11")


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import did.

    Parameters
    ----------
    reed : Reed
        The reed, as it is now.
    readings : int
        Readings in the table.
    added : int
        Entries written; 0 when the same table had been imported before.
    new_reed : bool
        Whether the reed was added for it.
    """

    reed: Reed
    readings: int
    added: int
    new_reed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything one page about a reed shows.

    Parameters
    ----------
    reed : Reed
        The reed.
    state : ReedState
        Its state at `up_to`, or now.
    entries : tuple of Entry
        Every entry up to there, replaced ones included.
    assessment : Assessment or None
        None when there are no readings.
    """

    reed: Reed
    state: ReedState
    entries: tuple[Entry, ...]
    assessment: Assessment | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """The use cases, joined to the ports they need."""

    records: Records
    blobs: Blobs
    results: Results
    jobs: Jobs
    clock: Clock
    tables: Tables
    sounds: Sounds

    @property
    def people(self) -> People:
        """Makers, players, their places, batches, and whose a reed is."""
        return People(records=self.records)

    # --- looking --------------------------------------------------------------------------------

    def reeds(self, query: ReedQuery) -> Page:
        """List reeds."""
        return self.records.reeds(query)

    def sheet(self, key: str | UUID, *, up_to: int | None = None) -> Sheet:
        """Return everything about one reed, as it is or as it was at entry `up_to`."""
        reed = self.records.reed(key)
        entries = self.records.entries(reed.uuid, up_to=up_to)
        state = state_of(entries)
        assessment = self._assessed(_inputs(reed.name, state), sticky=str(reed.uuid))
        return Sheet(reed=reed, state=state, entries=entries, assessment=assessment)

    def assess(self, key: str | UUID) -> Assessment:
        """Judge a kept reed.

        Raises
        ------
        NotFound
            If there is no such reed.
        InputError
            If it has no readings.
        """
        sheet = self.sheet(key)
        if sheet.assessment is None:
            msg = (
                f"reed {sheet.reed.name!r} has no thickness readings yet; "
                f"import a table or type some readings"
            )
            raise InputError(msg)
        return sheet.assessment

    def assess_table(self, data: bytes, *, name: str) -> Assessment:
        """Judge a table of readings without keeping anything."""
        table = self.tables.read(data, name=name)
        found = self._assessed(inputs_of_table(table, name=name), sticky="")
        if found is None:
            msg = f"{name} has no readings; see the documented columns"
            raise InputError(msg)
        return found

    def _assessed(self, inputs: Mapping[str, Any], *, sticky: str) -> Assessment | None:
        return self._computed("assess", inputs, sticky=sticky) if inputs["readings"] else None

    def _computed(
        self,
        task: str,
        inputs: Mapping[str, Any],
        *,
        sticky: str = "",
        told: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return a task's result, kept or computed now.

        `told` stands for the inputs in the key where they are too large to go through.
        """
        codec = task_named(task).load()[1]
        key = result_key(task, inputs if told is None else told)
        if (known := self.results.get(key)) is not None:
            return codec.from_bytes(known)
        found = self.jobs.submit(task, inputs, sticky=sticky).result()
        self.results.put(key, codec.to_bytes(found))
        return found

    # --- blades and air -------------------------------------------------------------------------

    def blades(self, key: str | UUID) -> BladesShown:
        """Solve the blades of a kept reed; see `crowlight.bench.mechanics.mechanics`."""
        reed = self.records.reed(key)
        inputs = _blade_inputs(reed.name, state_of(self.records.entries(reed.uuid)))
        return self._computed("mechanics", inputs, sticky=str(reed.uuid))

    def site(self, name: str) -> SiteAsked:
        """Return a kept place, as it is asked about on a journey.

        Raises
        ------
        NotFound
            If no place is kept under this name; the message offers close names.
        """
        place = self.records.place(name)
        return SiteAsked(
            name=place.name,
            altitude=place.altitude,
            temperature=place.temperature,
            humidity=place.humidity,
        )

    def travel(
        self, key: str | UUID, *, home: SiteAsked, to: SiteAsked, made: str = "finished"
    ) -> dict[str, Any]:
        """Say what a journey does to a kept reed; see `crowlight.bench.air.travel`."""
        inputs = {"home": home, "destination": to, "state": made}
        return self._about_air(key, "travel", inputs)

    def crow(self, key: str | UUID, *, altitude: float = 0.0) -> dict[str, Any]:
        """Model the crow of a kept reed; see `crowlight.bench.air.crow_model`."""
        return self._about_air(key, "crow", {"altitude": altitude})

    def crow_sound(
        self, key: str | UUID, *, altitude: float = 0.0, over_threshold: float = 1.2
    ) -> dict[str, Any]:
        """Model the sound of a kept reed's crow; see `crowlight.bench.air.model_sound`."""
        inputs = {"altitude": altitude, "over_threshold": over_threshold}
        inputs |= self._known_of(self.records.reed(key))
        return self.jobs.submit("crow-sound", inputs).result()

    def _about_air(self, key: str | UUID, task: str, inputs: dict[str, Any]) -> dict[str, Any]:
        """Run a task about reed and air."""
        reed = self.records.reed(key)
        return self._computed(task, inputs | self._known_of(reed), sticky=str(reed.uuid))

    def _known_of(self, reed: Reed) -> dict[str, Any]:
        """Return what a model of reed and air may know of a reed."""
        staple = state_of(self.records.entries(reed.uuid)).described.staple
        known: dict[str, Any] = {
            "staple_length": staple.length,
            "bore_top": staple.bore_top,
            "bore_bottom": staple.bore_bottom,
        }
        # else a reed nobody measured, or one the blade model has no answer for
        with suppress(InputError, OutsideModel):
            known["blades"] = self.blades(reed.uuid).lumped
        return known

    # --- listening ------------------------------------------------------------------------------

    def keep_recording(
        self,
        key: str | UUID,
        data: bytes,
        *,
        name: str,
        sound_of: SoundOf,
        device: str = "",
        settings: Mapping[str, str | int | float | bool | None] | None = None,
        uuid: UUID | None = None,
        at: datetime | None = None,
    ) -> Appended:
        """Keep a recording of a reed: as it came, and as FLAC.

        Raises
        ------
        InputError
            If it is not a sound that can be read; nothing was kept.
        """
        heard = self.sounds.read(data, name=name)
        kept = self.sounds.encode(heard)
        digest, original = self.blobs.put(kept.data), self.blobs.put(data)
        payload = Recording(
            sound_of=sound_of,
            digest=digest,
            original=original,
            sample_rate=kept.rate,
            device=device,
            settings=dict(settings or {}),
        )
        return self.write(key, payload, uuid=uuid, at=at)

    def hear(
        self, digest: str, kind: SoundOf, *, reference: float | None = None, sticky: str = ""
    ) -> dict[str, Any]:
        """Measure a kept recording; see `crowlight.bench.sounds.listen`."""
        told = {"digest": digest, "kind": kind, "reference": reference}
        codec = task_named("listen").load()[1]
        if (known := self.results.get(result_key("listen", told))) is not None:
            return codec.from_bytes(known)
        heard = self.sounds.read(self.blobs.get(digest))
        inputs = {"sound": heard.sound, "rate": heard.rate, "kind": kind, "reference": reference}
        return self._computed("listen", inputs, sticky=sticky, told=told)

    # --- writing down ---------------------------------------------------------------------------

    def add_reed(
        self,
        name: str,
        *,
        uuid: UUID | None = None,
        maker: UUID | None = None,
        player: UUID | None = None,
        batch: UUID | None = None,
        invented: bool = False,
    ) -> Reed:
        """Add a reed under a name of its own."""
        name = clean_text(name, lines=False)
        if not name or len(name) > 100:
            msg = f"reed name has {len(name)} characters; give 1 to 100"
            raise InputError(msg)
        return self.records.add_reed(
            NewReed(
                uuid=uuid or uuid4(),
                name=name,
                maker=maker,
                player=player,
                batch=batch,
                invented=invented,
            )
        )

    def write(
        self,
        key: str | UUID,
        payload: Payload,
        *,
        readings: tuple[Reading, ...] = (),
        uuid: UUID | None = None,
        expected_seq: int | None = None,
        replaces: UUID | None = None,
        at: datetime | None = None,
        by: UUID | None = None,
    ) -> Appended:
        """Write one entry about a reed.

        Parameters
        ----------
        key : str or UUID
            The reed.
        payload : Payload
            What happened.
        readings : tuple of Reading
            Its readings, if it is a `ReadingsTaken`.
        uuid : UUID, optional
            The sender's own, so that sending twice writes once.
        expected_seq : int, optional
            The latest entry number the sender has seen.
        replaces : UUID, optional
            The entry this one corrects.
        at : datetime, optional
            When it happened, with its zone; now if not given.
        by : UUID, optional
            The person who did it.

        Returns
        -------
        Appended
            The entry as kept.
        """
        for reading in readings:
            check_reading(reading)
        entry = NewEntry(
            uuid=uuid or uuid4(),
            payload=payload,
            happened_at=at or self.clock.now(),
            readings=readings,
            by=by,
            replaces=replaces,
        )
        reed = self.records.reed(key)
        return self.records.append(reed.uuid, [entry], expected_seq=expected_seq)

    def withdraw(
        self, key: str | UUID, entry: UUID, *, reason: str = "", expected_seq: int | None = None
    ) -> Appended:
        """Take an entry back; it stays in the log as replaced."""
        return self.write(key, Withdrawn(reason=reason), replaces=entry, expected_seq=expected_seq)

    def import_table(
        self, data: bytes, *, name: str, reed: str = "", invented: bool = False
    ) -> Imported:
        """Keep a table of readings.

        Parameters
        ----------
        data : bytes
            The file.
        name : str
            Its name, kept as the source.
        reed : str
            The reed it belongs to; else what the head of the file says. Added if it is new.
        invented : bool
            Whether a reed added for it is made up.

        Returns
        -------
        Imported
            What was done. Importing the same table again writes nothing.

        Raises
        ------
        TableError
            Any bad row refuses the whole table; nothing was written.
        InputError
            If no reed is named.
        """
        table = self.tables.read(data, name=name)
        reed_name = reed or str(table.facts.get("reed", ""))
        if not reed_name:
            msg = f"{name} does not say which reed it is; name it, or add the line '# reed: NAME'"
            raise InputError(msg)
        try:
            kept, new = self.records.reed(reed_name), False
        except NotFound:
            kept, new = self.add_reed(reed_name, invented=invented), True
        before = self.records.entries(kept.uuid)
        known = {e.uuid for e in before}
        entries = self._entries_of(table, kept, state_of(before).described.style)
        done = self.records.append(kept.uuid, [e for e in entries if e.uuid not in known])
        return Imported(
            reed=self.records.reed(kept.uuid),
            readings=len(table.readings),
            added=done.added,
            new_reed=new,
        )

    def _entries_of(self, table: Table, reed: Reed, style_kept: str) -> list[NewEntry]:
        """Turn a table into entries whose uuids follow from their content and the reed."""
        style = str(table.facts.get("style", ""))
        if style and style_kept and style != style_kept:
            msg = (
                f"the table says style {style!r}, but reed {reed.name!r} is kept as "
                f"{style_kept!r}; correct one of them"
            )
            raise InputError(msg)
        at = table.facts.get("measured_at") or self.clock.now()

        def entry(part: str, payload: Payload, readings: tuple[Reading, ...] = ()) -> NewEntry:
            content = hashlib.sha256(f"{reed.uuid}:{table.digest}:{part}".encode()).hexdigest()
            return NewEntry(
                uuid=uuid5(_TABLES, content), payload=payload, happened_at=at, readings=readings
            )

        entries: list[NewEntry] = []
        if style and not style_kept:
            entries.append(entry("described", Described(style=style)))
        if (length := table.facts.get("length")) is not None:
            found = Lengths(overall=length, thread_top=table.facts.get("thread_top"))
            entries.append(entry("lengths", found))
        entries.append(entry("readings", table.taken, table.readings))
        return entries


def _blade_inputs(name: str, state: ReedState) -> dict[str, Any]:
    inputs = _inputs(name, state)
    if state.opening is not None:
        inputs["opening"] = state.opening.height
        inputs["opening_uncertainty"] = state.opening.uncertainty
    inputs["tip_width"] = state.described.shape.tip_width
    return inputs


def _inputs(name: str, state: ReedState) -> dict[str, Any]:
    """Gather what judging needs: the readings that still hold.

    Readings of a blade that was cut afterwards no longer hold, unless nothing newer was measured.
    Mountings of different entries are different mountings, whatever their numbers.
    """
    holding = [t for t in state.readings if not t.cut_since] or list(state.readings)
    mountings: dict[tuple[UUID, int], int] = {}
    readings = tuple(
        replace(
            t.reading,
            seating=mountings.setdefault((t.entry, t.reading.seating), len(mountings)),
            minutes_wet=t.minutes_wet,
        )
        for t in holding
    )
    cane = state.described.cane
    return {
        "name": name,
        "readings": readings,
        "style": state.described.style,
        "length": state.length,
        "length_uncertainty": state.length_uncertainty,
        "thread_top": state.lengths.thread_top if state.lengths else None,
        # one shift for all: the largest, where sittings were converted differently
        "common_shift": max((t.taken.origin_uncertainty for t in holding), default=0.0),
        "gouge_centre": cane.gouge_centre,
        "gouge_side": cane.gouge_side,
    }
