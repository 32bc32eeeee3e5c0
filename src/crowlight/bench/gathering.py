"""What an advice is given: readings carried past the cuts, sounds, people, knife."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.carrying import carried, earlier_cuts
from crowlight.bench.crow_known import crow_known
from crowlight.bench.inputs import blade_inputs, inputs_from
from crowlight.bench.kinds import Clip, Cut, Rest
from crowlight.bench.known import Around, asked_again, wish_of
from crowlight.bench.mapping import placed_style
from crowlight.bench.measured import was_measured
from crowlight.bench.neighbours import Neighbours
from crowlight.bench.ports import Entry, Player, Reed
from crowlight.bench.recordings import KeptRecording, recordings_of
from crowlight.bench.state import ReedState
from crowlight.bench.stroking import Strokes, makers_strokes
from crowlight.bench.tasks import result_key, task_named
from crowlight.bench.workshop_kinds import Intake, Stage
from crowlight.errors import CrowlightError, InputError, NotFound, RecordsError
from crowlight.judge.findings import Crow
from crowlight.plan.cut import Earlier
from crowlight.reed import Reading
from crowlight.reed.styles import Style

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk
    from crowlight.bench.learned import Learned

__all__ = ["Gathering", "Planning"]

#: Latest recordings of each kind that are listened to.
MOST_RECORDINGS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Planning:
    """What the map of a reed is drawn from.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`, readings carried past the cuts made since.
    most : tuple of Reading
        The readings after strokes one standard deviation larger; none where none were made.
    strokes : Strokes
        Of this maker.
    style : Style or None
        Laid on the reed.
    unplaced : tuple of int
        Cuts that could not be carried.
    earlier : tuple of Earlier
        Cuts since the reed came, as a plan counts them.
    context : str
        Digest of what the blades depend on besides thickness and length.
    """

    inputs: Mapping[str, Any]
    most: tuple[Reading, ...]
    strokes: Strokes
    style: Style | None
    unplaced: tuple[int, ...]
    earlier: tuple[Earlier, ...]
    context: str


@dataclass(frozen=True, kw_only=True)
class Gathering:
    """Gathers for one reed; joined to a desk."""

    desk: Desk
    reed: Reed
    state: ReedState

    # --- the reed itself --------------------------------------------------------------------------

    def planning(self) -> Planning:
        """Return what the map is drawn from."""
        desk, reed, state = self.desk, self.reed, self.state
        code = state.described.style
        texts = {style.name: style.text for style in desk.styles()}
        strokes = makers_strokes(desk.records, desk.results, reed.maker, reed.uuid, texts=texts)
        style: Style | None = None
        if code:
            try:
                style = placed_style(code, state.length, texts.get(code, ""))
            except InputError:
                style = None  # its page says that there are no figures for it
        holding = state.readings
        most: tuple[Reading, ...] = ()
        unplaced: tuple[int, ...] = ()
        earlier = () if style is None else earlier_cuts(state, style, strokes.size)
        if style is not None and holding:
            now = carried(state, style, strokes.size)
            holding, unplaced = now.readings, now.unplaced
            most = tuple(inputs_from(reed.name, state, now.most)["readings"])
        inputs = {
            **inputs_from(reed.name, state, holding),
            "style_text": texts.get(code, ""),
            "gauges": desk.gauges(reed.maker),
        }
        if style is None:
            inputs["style"] = ""
        inputs = blade_inputs(inputs, state)
        if (learned := self._learned()) is not None:
            inputs["learned"] = learned
        about = {k: v for k, v in inputs.items() if k not in _OF_THE_MAP}
        context = TypeAdapter(dict[str, Any]).dump_json(about)
        return Planning(
            inputs=inputs,
            most=most,
            strokes=strokes,
            style=style,
            unplaced=unplaced,
            earlier=earlier,
            context=hashlib.sha256(context).hexdigest(),
        )

    def _learned(self) -> Learned | None:
        """Return what a calibration taught, if one is kept; it is not made for an advice."""
        desk, state = self.desk, self.state
        if not was_measured(state):
            return None
        given = desk.models.calibration_given(self.reed, state)
        kept = desk.results.get(result_key("calibrate", given))
        if kept is None:
            return None
        found = task_named("calibrate").load()[1].from_bytes(kept)
        return found.learned if found.used else None

    def done(self) -> tuple[str, ...]:
        """Return remedies tried since the last cut or clip."""
        tried: set[str] = set()
        for e in self.state.entries:
            match e.payload:
                case Cut() | Clip():
                    tried.clear()
                case Treated(what=what):
                    tried.add(what)
                case Rest():
                    tried.add("rest")
                case _:
                    pass
        return tuple(sorted(tried))

    def rough(self) -> bool:
        """Whether the reed is still being made: tied or scraped, not finished."""
        stages = [e.payload.stage for e in self.state.entries if isinstance(e.payload, Stage)]
        return bool(stages) and stages[-1] in ("tied", "scraped")

    def knife(self) -> bool:
        """Whether whoever has the reed can use a knife; yes unless somebody said no."""
        wish = wish_of(self.state)
        if wish is not None and wish.uses_knife in ("yes", "no"):
            return wish.uses_knife == "yes"
        if any(isinstance(e.payload, Intake) for e in self.state.entries):
            return True  # it was sent to a bench
        people = self.desk.records.people()
        player = next((p for p in people if p.uuid == self.reed.player), None)
        return not (isinstance(player, Player) and player.uses_knife is False)

    def notes(self, planning: Planning) -> tuple[str, ...]:
        """Return codes of what is to be said of the inputs."""
        cut = self.state.readings and any(t.cut_since for t in self.state.readings)
        found = {
            "carried": bool(cut) and bool(planning.most or not planning.unplaced),
            "unplaced-cut": bool(planning.unplaced),
            "ask-again": asked_again(self.state),
        }
        return tuple(code for code, holds in found.items() if holds)

    # --- sounds -----------------------------------------------------------------------------------

    def crow(self) -> Crow:
        """Return what the latest recordings since the last cut or clip tell."""
        heard = self._heard(self.state.entries)
        return crow_known(heard["crow"], heard["peep"], heard["notes"])

    def _heard(self, entries: tuple[Entry, ...]) -> dict[str, list[Mapping[str, Any]]]:
        cuts = [i for i, e in enumerate(entries) if isinstance(e.payload, Cut | Clip)]
        since = {e.uuid for e in entries[cuts[-1] + 1 :]} if cuts else {e.uuid for e in entries}
        found: dict[str, list[Mapping[str, Any]]] = {"crow": [], "peep": [], "notes": []}
        for kept in recordings_of(entries):
            if kept.entry.uuid in since:
                found[kept.payload.sound_of].append({"kept": kept})
        return {
            kind: [h for k in takes[-MOST_RECORDINGS:] if (h := self._hear(k["kept"])) is not None]
            for kind, takes in found.items()
        }

    def _hear(self, kept: KeptRecording) -> Mapping[str, Any] | None:
        payload = kept.payload
        reference = payload.settings.get("reference_hz")
        try:
            heard = self.desk.hear(
                payload.digest,
                payload.sound_of,
                reference=float(reference) if isinstance(reference, int | float) else None,
                full_scale=payload.full_scale,
                one_reed=payload.settings.get("one_reed") is True,
                sticky=str(self.reed.uuid),
            )
        except CrowlightError as error:
            if isinstance(error, RecordsError) and not isinstance(error, NotFound):
                raise
            return None  # its own page says why it cannot be heard
        if kept.label is None:
            return heard
        # the maker's ear comes before the machine's
        rest = {c: 0.03 for c in ("clean", "mixed", "rattling")}
        return {**heard, "class_probability": {**rest, kept.label.says: 0.94}}

    # --- other reeds ------------------------------------------------------------------------------

    @property
    def neighbours(self) -> Neighbours:
        """The other reeds it is compared with."""
        return Neighbours(desk=self.desk, reed=self.reed, state=self.state)

    def around(self, planning: Planning) -> Around:
        """Return what is known from the maker's places and other reeds."""
        maker = self.reed.maker
        places = self.desk.records.places(maker) if maker is not None else ()
        home = places[0] if len(places) == 1 else None
        return Around(
            strokes_since_sharpened=planning.strokes.since_sharpened,
            batch_alike=self.neighbours.batch_alike(),
            altitude_home=home.altitude if home else None,
            humidity_home=home.humidity if home else None,
        )


#: Inputs that the map and the reed's length tell, not the blades' cane and rest shape.
_OF_THE_MAP = frozenset(
    {"name", "readings", "length", "length_uncertainty", "common_shift", "gauges", "sittings"}
)
