"""The desk: what a maker can do with reeds, whichever door they come through."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID, uuid4

from crowlight.bench.assess import Assessment, inputs_of_table
from crowlight.bench.batches import Batches
from crowlight.bench.gauges import makers_gauges
from crowlight.bench.importing import Imported, entries_of_table
from crowlight.bench.inputs import reed_inputs
from crowlight.bench.kinds import Clip, Cut, Payload, Recording, Withdrawn, clean_text
from crowlight.bench.modelling import Models
from crowlight.bench.moments import Compared, Sheet, check_moments, map_changes
from crowlight.bench.people import People
from crowlight.bench.pixels import Pictures
from crowlight.bench.ports import (
    Appended,
    Blobs,
    Clock,
    Jobs,
    NewEntry,
    NewReed,
    OwnStyle,
    Page,
    Records,
    Reed,
    ReedQuery,
    ReedSummary,
    Results,
    SoundOf,
    Sounds,
    Tables,
)
from crowlight.bench.posted import Posted, check_may_cut
from crowlight.bench.sending import Entered
from crowlight.bench.state import ReedState, difference, state_of
from crowlight.bench.styles import checked_name
from crowlight.bench.takes import Takes
from crowlight.bench.tasks import result_key, task_named
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.reed import Reading, Repeatability, check_reading
from crowlight.reed.styles import STYLE_CODES

if TYPE_CHECKING:  # it loads findings and plans, which most of the desk does without
    from crowlight.bench.advising import Advice
    from crowlight.bench.learning import Learning
    from crowlight.bench.lit import Light

__all__ = ["LIKED", "Desk", "Imported", "Sheet"]

#: A grade from which a reed counts as a good one.
LIKED = 4


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
    takes: Takes
    pictures: Pictures

    @property
    def models(self) -> Models:
        """What the models say of a reed's blades and air."""
        return Models(desk=self)

    @property
    def batches(self) -> Batches:
        """Reeds made together, and what the workshop's work yields."""
        return Batches(desk=self)

    @property
    def advice(self) -> Advice:
        """What may be wrong with a reed, what to do next, and the log of what was done."""
        from crowlight.bench.advising import Advice

        return Advice(desk=self)

    @property
    def learning(self) -> Learning:
        """How predictions have done, and what that teaches."""
        from crowlight.bench.learning import Learning

        return Learning(desk=self)

    @property
    def people(self) -> People:
        """Makers, players, their places, batches, and whose a reed is."""
        return People(records=self.records)

    @property
    def posted(self) -> Posted:
        """Reeds that were sent in: the queue, what is allowed, pictures, letters."""
        return Posted(desk=self)

    @property
    def light(self) -> Light:
        """Photographs against the light."""
        from crowlight.bench.lit import Light

        return Light(desk=self)

    # --- looking --------------------------------------------------------------------------------

    def reeds(self, query: ReedQuery) -> Page:
        """List reeds."""
        return self.records.reeds(query)

    def sheet(self, key: str | UUID, *, up_to: int | None = None) -> Sheet:
        """Return everything about one reed, as it is or as it was at entry `up_to`."""
        reed = self.records.reed(key)
        entries = self.records.entries(reed.uuid, up_to=up_to)
        state = state_of(entries)
        assessment = self._assessed(self.reed_inputs(reed, state), sticky=str(reed.uuid))
        return Sheet(reed=reed, state=state, entries=entries, assessment=assessment)

    def compare(self, key: str | UUID, before: int, after: int) -> Compared:
        """Compare a reed after two of its entries; see `crowlight.bench.moments`.

        Raises
        ------
        InputError
            If `before` is not an earlier entry than `after`, or there are not so many.
        """
        reed = self.records.reed(key)
        check_moments(reed.name, before, after, reed.seq)
        entries = self.records.entries(reed.uuid, up_to=after)
        old, new = state_of(entries, up_to=before), state_of(entries)
        seen = {e.uuid for e in old.entries}
        judged = [
            self._assessed(inputs, sticky=str(reed.uuid))
            for inputs in (self.reed_inputs(reed, old), self.reed_inputs(reed, new, since=seen))
        ]
        return Compared(
            name=reed.name,
            before=old,
            after=new,
            difference=difference(old, new),
            maps=tuple(map_changes(*judged)),
        )

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
        inputs = inputs_of_table(table, name=name)
        inputs["style_text"] = self.style_text(inputs["style"])
        found = self._assessed(inputs, sticky="")
        if found is None:
            msg = f"{name} has no readings; see the documented columns"
            raise InputError(msg)
        return found

    def reed_inputs(
        self, reed: Reed, state: ReedState, *, since: Collection[UUID] = ()
    ) -> dict[str, Any]:
        """Gather what judging a reed needs, without the readings of `since`."""
        text, gauges = self.style_text(state.described.style), self.gauges(reed.maker)
        return reed_inputs(reed.name, state, style_text=text, gauges=gauges, since=since)

    def gauges(self, maker: UUID | None) -> dict[str, Repeatability]:
        """Return a maker's own repeatability by instrument; see `crowlight.bench.gauges`."""
        return makers_gauges(self.records, self.results, maker)

    # --- styles ---------------------------------------------------------------------------------

    def styles(self) -> tuple[OwnStyle, ...]:
        """Return the makers' own styles by name; see `STYLE_CODES` for those of crowlight."""
        return self.records.styles()

    def make_style(
        self, name: str, reeds: Sequence[str | UUID], *, uuid: UUID | None = None
    ) -> OwnStyle:
        """Make a style from these reeds, and keep it; see `crowlight.bench.styles`.

        Raises
        ------
        Conflict
            If there is a style of this name.
        InputError
            If the reeds are of several styles, or one cannot be mapped.
        """
        name = checked_name(name)
        kept = [self.records.reed(key) for key in dict.fromkeys(reeds)]
        states = [state_of(self.records.entries(reed.uuid)) for reed in kept]
        given = tuple(self.reed_inputs(reed, s) for reed, s in zip(kept, states, strict=True))
        found = self.computed("own-style", {"name": name, "reeds": given})
        makers = {reed.maker for reed in kept}
        new = OwnStyle(
            uuid=uuid or uuid4(),
            name=name,
            maker=makers.pop() if len(makers) == 1 else None,
            text=found["text"],
            created_at=self.clock.now(),
        )
        self.records.add_style(new)
        return new

    def style_text(self, code: str | None) -> str:
        """Return the text of a maker's own style; empty for one that comes with crowlight."""
        if not code or code in STYLE_CODES:
            return ""
        return next((s.text for s in self.records.styles() if s.name == code), "")

    # --- computing ------------------------------------------------------------------------------

    def _assessed(self, inputs: Mapping[str, Any], *, sticky: str) -> Assessment | None:
        return self.computed("assess", inputs, sticky=sticky) if inputs["readings"] else None

    def computed(
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
            full_scale=kept.full_scale,
            device=device,
            settings=dict(settings or {}),
        )
        return self.write(key, payload, uuid=uuid, at=at)

    def hear(
        self,
        digest: str,
        kind: SoundOf,
        *,
        reference: float | None = None,
        full_scale: float = 1.0,
        one_reed: bool = False,
        sticky: str = "",
    ) -> dict[str, Any]:
        """Measure a kept recording; see `crowlight.bench.sounds.listen`."""
        told = {"digest": digest, "kind": kind, "reference": reference, "scale": full_scale}
        told |= {"one_reed": True} if one_reed else {}
        codec = task_named("listen").load()[1]
        if (known := self.results.get(result_key("listen", told))) is not None:
            return codec.from_bytes(known)
        heard = self.sounds.read(self.blobs.get(digest))
        inputs = {
            "sound": heard.sound * full_scale,
            "rate": heard.rate,
            "kind": kind,
            "reference": reference,
            "one_reed": one_reed,
        }
        return self.computed("listen", inputs, sticky=sticky, told=told)

    def liked(self, reed: Reed, *, most: int = 40) -> tuple[ReedSummary, ...]:
        """Return other reeds with a grade of 4 or 5, best first: those a player may love."""
        page = self.reeds(ReedQuery(sort="grade", descending=True, limit=most))
        return tuple(r for r in page.rows if r.uuid != reed.uuid and (r.grade or 0) >= LIKED)

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
        replaces: UUID | None = None,
        expected_seq: int | None = None,
        **entered: Unpack[Entered],
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
        replaces : UUID, optional
            The entry this one corrects.
        expected_seq, **entered
            See `crowlight.bench.sending.Sending`.

        Returns
        -------
        Appended
            The entry as kept.

        Raises
        ------
        InputError
            If it is a cut or clip of a posted reed whose player has not allowed it; see
            `crowlight.bench.posted.Posted.write_with_consent`.
        """
        for reading in readings:
            check_reading(reading)
        entry = self.new_entry(payload, readings=readings, replaces=replaces, **entered)
        reed = self.records.reed(key)
        if isinstance(payload, Cut | Clip) and replaces is None:
            check_may_cut(self.records, reed)
        return self.records.append(reed.uuid, [entry], expected_seq=expected_seq)

    def new_entry(
        self,
        payload: Payload,
        *,
        readings: tuple[Reading, ...] = (),
        uuid: UUID | None = None,
        replaces: UUID | None = None,
        at: datetime | None = None,
        by: UUID | None = None,
    ) -> NewEntry:
        """Return an entry to be written; what is not given is made or taken from the clock."""
        return NewEntry(
            uuid=uuid or uuid4(),
            payload=payload,
            happened_at=at or self.clock.now(),
            readings=readings,
            by=by,
            replaces=replaces,
        )

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
            try:
                kept, new = self.add_reed(reed_name, invented=invented), True
            except Conflict:  # another import added it just now
                kept, new = self.records.reed(reed_name), False
        before = self.records.entries(kept.uuid)
        known = {e.uuid for e in before}
        at = table.facts.get("measured_at") or self.clock.now()
        entries = entries_of_table(table, kept, state_of(before).described.style, at=at)
        done = self.records.append(kept.uuid, [e for e in entries if e.uuid not in known])
        return Imported(
            reed=self.records.reed(kept.uuid),
            readings=len(table.readings),
            added=done.added,
            new_reed=new,
        )
