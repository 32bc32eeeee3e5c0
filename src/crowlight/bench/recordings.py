"""The recordings of one reed: which count, what the maker called them, what their blows measure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.kinds import Clip, Cut, Label, Recording
from crowlight.bench.ports import Entry, SoundOf
from crowlight.bench.state import current
from crowlight.listen import CLASSES, ClassModel, Summary, features, summarise

__all__ = [
    "COMPARED",
    "LONGEST_ATTACK",
    "MEASURES",
    "SITTING",
    "Heard",
    "KeptRecording",
    "attempts",
    "between_changes",
    "class_features",
    "class_probability",
    "recordings_of",
    "since_change",
    "sittings",
    "summaries",
]

#: Numbers of a blow that are summarised over attempts.
MEASURES = (
    "pitch_hz",
    "pitch_cents",
    "pitch_cents_folded",
    "pitched_share",
    "stray_db",
    "breath_db",
    "rattle_percent",
    "beat_percent",
    "steadiness_cents",
    "drift_cents_per_s",
    "octave_spread_cents",
    "attack_s",
)
#: Those compared before and after: each thing once, since false alarms are shared among them.
COMPARED = (
    "pitch_cents",
    "pitched_share",
    "stray_db",
    "breath_db",
    "rattle_percent",
    "beat_percent",
    "steadiness_cents",
    "octave_spread_cents",
    "attack_s",
)
#: Longer rises are swells [s]; common practice, no source.
LONGEST_ATTACK = 0.5
#: Recordings this close together are of one sitting; a control reed counts for as long.
SITTING = timedelta(hours=12)
Heard = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRecording:
    """A recording that counts, with what the maker's ear said of it.

    Parameters
    ----------
    entry : Entry
        Its entry.
    payload : Recording
        What was kept.
    label : Label or None
        The maker's latest label.
    label_entry : UUID or None
        The entry of that label.
    """

    entry: Entry
    payload: Recording
    label: Label | None = None
    label_entry: UUID | None = None


def recordings_of(entries: Iterable[Entry]) -> tuple[KeptRecording, ...]:
    """Return the recordings of a reed that count, in the order in which they were made."""
    counting = current(entries)
    labels: dict[UUID, tuple[Label, UUID]] = {}
    for e in counting:
        if isinstance(e.payload, Label):
            labels[e.payload.recording] = e.payload, e.uuid
    found: list[KeptRecording] = []
    for e in counting:
        if isinstance(e.payload, Recording):
            label, at = labels.get(e.uuid, (None, None))
            found.append(KeptRecording(entry=e, payload=e.payload, label=label, label_entry=at))
    return tuple(found)


def attempts(heard: Iterable[Heard]) -> dict[str, list[float | None]]:
    """Collect one value per blow over recordings of a crow or peep, None where a blow has none.

    A rise of more than `LONGEST_ATTACK` is a swell and counts as no attack.
    """
    blows = [blow for take in heard for blow in take.get("blows", ())]
    if not blows:
        return {}
    values = {name: [blow.get(name) for blow in blows] for name in MEASURES}
    rises = values["attack_s"]
    values["attack_s"] = [None if t is None or t > LONGEST_ATTACK else t for t in rises]
    return values


def summaries(heard: Iterable[Heard]) -> dict[str, Summary]:
    """Return median and range over the blows, of each number any blow has."""
    found = {name: summarise(values) for name, values in attempts(heard).items()}
    return {name: summary for name, summary in found.items() if summary.attempts}


def class_features(heard: Heard) -> NDArray[np.float64] | None:
    """Return the medians over the blows that the class is told from; None without a blow."""
    values = attempts([heard])
    try:
        share, rattle, stray = (
            summarise(values[name]).median
            for name in ("pitched_share", "rattle_percent", "stray_db")
        )
    except KeyError:
        return None
    return features(share, rattle / 100.0, stray)


def class_probability(heard: Heard, model: ClassModel) -> dict[str, float] | None:
    """Return the probability of each class of a crow, from the medians over its blows."""
    x = class_features(heard)
    if x is None or not np.all(np.isfinite(x)):
        return None
    return dict(zip(CLASSES, map(float, model.probability(x)), strict=True))


def since_change(
    entries: Iterable[Entry], sound_of: SoundOf
) -> tuple[tuple[KeptRecording, ...], tuple[KeptRecording, ...]] | None:
    """Return the recordings before and since the last cut or clip that lies between any.

    Before goes back to the cut or clip before that one.

    Parameters
    ----------
    entries : iterable of Entry
        Of one reed.
    sound_of : {"crow", "peep", "notes"}
        What they must be of.
    """
    before: tuple[KeptRecording, ...] = ()
    after: tuple[KeptRecording, ...] = ()
    for group in reversed(between_changes(entries, sound_of)):
        if not group:
            continue
        if after:
            before = group
            break
        after = group
    return (before, after) if before and after else None


def between_changes(
    entries: Iterable[Entry], sound_of: SoundOf
) -> tuple[tuple[KeptRecording, ...], ...]:
    """Return the recordings between one cut or clip and the next, in order of time."""
    seen = tuple(entries)
    known = {k.entry.uuid: k for k in recordings_of(seen)}
    groups: list[list[KeptRecording]] = [[]]
    for e in current(seen):
        if isinstance(e.payload, Cut | Clip):
            groups.append([])
        elif e.uuid in known and known[e.uuid].payload.sound_of == sound_of:
            groups[-1].append(known[e.uuid])
    return tuple(map(tuple, groups))


def sittings(entries: Iterable[Entry], sound_of: SoundOf) -> tuple[tuple[KeptRecording, ...], ...]:
    """Return recordings of one unchanged reed in one sitting each: what differs is chance."""
    found: list[list[KeptRecording]] = []
    for group in between_changes(entries, sound_of):
        last = None
        for kept in group:
            if last is None or kept.entry.happened_at - last > SITTING:
                found.append([])
            last = kept.entry.happened_at
            found[-1].append(kept)
    return tuple(map(tuple, found))
