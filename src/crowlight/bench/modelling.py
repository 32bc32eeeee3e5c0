"""What the models say of a kept reed: its blades, its air, and what was learned of both."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from crowlight.bench.followups import travel_outcomes
from crowlight.bench.inputs import blade_inputs
from crowlight.bench.measured import calibration_inputs, was_measured
from crowlight.bench.places import SiteAsked, site_of
from crowlight.bench.ports import Reed
from crowlight.bench.state import ReedState, state_of
from crowlight.errors import InputError, OutsideModel

if TYPE_CHECKING:  # they load the blade model, which most of the desk does without
    from crowlight.bench.calibration import Calibrated
    from crowlight.bench.cuts import Cut, Leverage
    from crowlight.bench.desk import Desk
    from crowlight.bench.mechanics import BladesShown
    from crowlight.bench.warm import Warmed
    from crowlight.bench.whatif import Outcome
    from crowlight.plan.cut import StrokeSize

__all__ = ["Models"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Models:
    """The blade model and the model of reed and air; part of a `crowlight.bench.desk.Desk`."""

    desk: Desk

    def blades(self, key: str | UUID) -> BladesShown:
        """Solve the blades of a kept reed; see `crowlight.bench.mechanics.mechanics`."""
        found: BladesShown = self._about_blades(key, "mechanics")
        size = self._strokes(key)
        return found.in_strokes(size.median, size.basis)

    def leverage(self, key: str | UUID) -> Leverage:
        """Say what cane off each zone does; see `crowlight.bench.whatif.leverage`."""
        return self._about_blades(key, "leverage")

    def what_if(self, key: str | UUID, cut: Cut) -> Outcome:
        """Solve a kept reed after a cut; see `crowlight.bench.whatif.what_if`."""
        return self._about_blades(key, "what-if", cut=cut)

    def warmed(self, key: str | UUID, cut: Cut) -> Warmed:
        """Solve a kept reed after a cut from its own solution; see `crowlight.bench.warm.warm`.

        Nothing is kept of it: it is solved again sooner than read.
        """
        inputs, sticky = self._blade_inputs(key)
        return self.desk.jobs.submit("warm", inputs | {"cut": cut}, sticky=sticky).result()

    def _strokes(self, key: str | UUID) -> StrokeSize:
        from crowlight.bench.stroking import makers_strokes  # it loads plans

        desk, reed = self.desk, self.desk.records.reed(key)
        texts = {style.name: style.text for style in desk.styles()}
        return makers_strokes(desk.records, desk.results, reed.maker, reed.uuid, texts=texts).size

    def _about_blades(self, key: str | UUID, task: str, **more: Any) -> Any:
        inputs, sticky = self._blade_inputs(key)
        return self.desk.computed(task, inputs | more, sticky=sticky)

    def _blade_inputs(self, key: str | UUID) -> tuple[dict[str, Any], str]:
        """Return what the blade model is told of a reed, and the word its jobs go by."""
        reed = self.desk.records.reed(key)
        state = state_of(self.desk.records.entries(reed.uuid))
        inputs = blade_inputs(self.desk.reed_inputs(reed, state), state)
        if found := self._trusted(reed, state):
            inputs["learned"] = found.learned
        return inputs, str(reed.uuid)

    def calibrated(self, key: str | UUID) -> Calibrated:
        """Learn of a kept reed from its measurements; see `crowlight.bench.calibration`."""
        reed = self.desk.records.reed(key)
        state = state_of(self.desk.records.entries(reed.uuid))
        given = self.calibration_given(reed, state)
        return self.desk.computed("calibrate", given, sticky=str(reed.uuid))

    def calibration_given(self, reed: Reed, state: ReedState) -> dict[str, Any]:
        """Return what a calibration is told; see `crowlight.bench.measured.calibration_inputs`."""
        inputs = blade_inputs(self.desk.reed_inputs(reed, state), state)
        home = self.desk.posted.home(reed)
        return calibration_inputs(
            inputs, state, self.desk.hear, altitude=home.altitude if home else None
        )

    def _trusted(self, reed: Reed, state: ReedState) -> Calibrated | None:
        """Return what the models may take: something was measured and nothing is in doubt."""
        with suppress(InputError, OutsideModel):
            found = self.calibrated(reed.uuid) if was_measured(state) else None
            return found if found and found.used else None
        return None

    def site(self, name: str) -> SiteAsked:
        """Return a kept place, as it is asked about on a journey.

        Raises
        ------
        NotFound
            If no place is kept under this name; the message offers close names.
        """
        return site_of(self.desk.records.place(name))

    def travel(
        self, key: str | UUID, *, home: SiteAsked, to: SiteAsked, made: str = "finished"
    ) -> dict[str, Any]:
        """Say what a journey does to a kept reed; see `crowlight.bench.air.travel`."""
        reed = self.desk.records.reed(key)
        outcomes = travel_outcomes(self.desk.records, reed.maker)
        inputs = {"home": home, "destination": to, "state": made, "outcomes": outcomes}
        return self._about_air(reed.uuid, "travel", inputs)

    def crow(self, key: str | UUID, *, altitude: float = 0.0) -> dict[str, Any]:
        """Model the crow of a kept reed; see `crowlight.bench.air.crow_model`."""
        return self._about_air(key, "crow", {"altitude": altitude})

    def crow_sound(
        self, key: str | UUID, *, altitude: float = 0.0, over_threshold: float = 1.2
    ) -> dict[str, Any]:
        """Model the sound of a kept reed's crow; see `crowlight.bench.air.model_sound`."""
        inputs = {"altitude": altitude, "over_threshold": over_threshold}
        inputs |= self._known_of(self.desk.records.reed(key))
        return self.desk.jobs.submit("crow-sound", inputs).result()

    def _about_air(self, key: str | UUID, task: str, inputs: dict[str, Any]) -> dict[str, Any]:
        """Run a task about reed and air."""
        reed = self.desk.records.reed(key)
        return self.desk.computed(task, inputs | self._known_of(reed), sticky=str(reed.uuid))

    def _known_of(self, reed: Reed) -> dict[str, Any]:
        """Return what a model of reed and air may know of a reed."""
        state = state_of(self.desk.records.entries(reed.uuid))
        staple = state.described.staple
        known: dict[str, Any] = {
            "staple_length": staple.length,
            "bore_top": staple.bore_top,
            "bore_bottom": staple.bore_bottom,
        }
        # else a reed nobody measured, or one the blade model has no answer for
        with suppress(InputError, OutsideModel):
            known["blades"] = self.blades(reed.uuid).lumped
            if found := self._trusted(reed, state):
                known["reeds"] = found.reeds
        return known
