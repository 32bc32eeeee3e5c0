"""Answering: the advice on one reed, worked out from everything that is gathered, and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from crowlight.bench.extras import extras_of
from crowlight.bench.gathering import Gathering, Planning
from crowlight.bench.known import known_of
from crowlight.bench.own_cuts import makers_own_cuts
from crowlight.bench.ports import Reed
from crowlight.bench.state import state_of
from crowlight.bench.tasks import result_key, task_named
from crowlight.judge.findings.stops import settled

if TYPE_CHECKING:  # they load the blade model
    from crowlight.bench.advise import Answered
    from crowlight.bench.counsel import Counsel
    from crowlight.bench.desk import Desk

__all__ = ["Answering"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answering:
    """Works advice out, once for everything it rests on; joined to a desk."""

    desk: Desk

    def counsel(self, reed: Reed) -> Counsel:
        """Return findings and the next cut of a reed, kept or worked out now."""
        state = state_of(self.desk.records.entries(reed.uuid))
        gather = Gathering(desk=self.desk, reed=reed, state=state)
        planning = gather.planning()
        wanted = gather.neighbours.wanted()
        around = gather.around(planning)
        at = self.desk.clock.now()
        opening = wanted.loved.opening if wanted.loved else None
        known = known_of(state, at=at, crow=gather.crow(), around=around)
        given: dict[str, Any] = {
            **planning.inputs,
            "most": planning.most,
            "known": known,
            "extras": extras_of(state, planning.style, wanted=opening),
            "wanted": wanted,
            "strokes": planning.strokes.size,
            "earlier": planning.earlier,
            "knife": gather.knife(),
            "rough": gather.rough(),
            "grade": state.grade,
            "done": (*gather.done(), *(("acclimatise",) if settled(known) else ())),
            "notes": gather.notes(planning),
            "own_cuts": makers_own_cuts(self.desk.records, self.desk.results, reed).teaching,
            "maker": str(reed.maker or ""),
            "batch": str(reed.batch or ""),
        }
        return self._answered(reed, given, planning)

    def _answered(self, reed: Reed, given: Mapping[str, Any], planning: Planning) -> Counsel:
        """Return the task's result, kept or worked out now; its lines are kept for the reed."""
        desk = self.desk
        lines_key = _lines_key(reed, planning.context)
        lines = desk.results.get(lines_key)
        told = {**given, "lines": hashlib.sha256(lines).hexdigest() if lines else ""}
        key = result_key("advise", told)
        codec = task_named("advise").load()[1]
        kept = desk.results.get(key)
        if kept is not None:
            answered: Answered = codec.from_bytes(kept)
            return answered.counsel
        inputs = {**given, "lines": lines}
        answered = desk.jobs.submit("advise", inputs, sticky=str(reed.uuid)).result()
        if answered.lines is not None:
            # from now on asked with these lines: kept under the key that will be asked for
            desk.results.put(lines_key, answered.lines)
            digest = hashlib.sha256(answered.lines).hexdigest()
            key = result_key("advise", {**given, "lines": digest})
        counsel = replace(answered.counsel, digest=key)
        desk.results.put(key, codec.to_bytes(replace(answered, counsel=counsel)))
        return counsel

    def kept(self, digest: str) -> Counsel | None:
        """Return the advice kept under a digest; None if it is not there."""
        kept = self.desk.results.get(digest) if digest else None
        if kept is None:
            return None
        with suppress(ValueError, KeyError, TypeError):
            answered: Answered = task_named("advise").load()[1].from_bytes(kept)
            if answered.counsel.digest == digest:
                return answered.counsel
        return None


def _lines_key(reed: Reed, context: str) -> str:
    """Return the key the lines of a reed's blades are kept under, whatever its readings."""
    return hashlib.sha256(f"lines 1\0{reed.uuid}\0{context}".encode()).hexdigest()
