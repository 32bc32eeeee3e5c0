"""Looking back: moments in order, the pair one asks about, and sounds equally loud."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import numpy as np
import pytest

from crowlight.bench.backward import (
    matched_volumes,
    moments_of,
    programme_level,
    sounds_at,
    usual_pair,
)
from crowlight.bench.kept import Entry
from crowlight.bench.kinds import Cut, Note, Payload, ReadingsTaken, Recording, Withdrawn
from crowlight.reed import Blade

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
REED = uuid4()
CUT = Cut(zone="tip", blades=(Blade.MARKED,))


def written(*payloads: Payload) -> list[Entry]:
    return [
        Entry(
            uuid=uuid4(),
            payload=p,
            happened_at=NOON + timedelta(minutes=n),
            recorded_at=NOON,
            reed=REED,
            seq=n,
        )
        for n, p in enumerate(payloads, start=1)
    ]


def burst(uuid: UUID) -> ReadingsTaken:
    return ReadingsTaken(burst=uuid)


def crow(of: str = "crow") -> Recording:
    return Recording(sound_of=of, digest="0" * 64, sample_rate=48_000)  # pyright: ignore[reportArgumentType]


def test_readings_of_one_burst_are_one_moment():
    one, other = uuid4(), uuid4()
    entries = written(Note(text="a"), *[burst(one)] * 3, *[burst(other)] * 2, ReadingsTaken())
    assert [(m.first, m.last, m.kind) for m in moments_of(entries)] == [
        (1, 1, "note"), (2, 4, "readings"), (5, 6, "readings"), (7, 7, "readings"),
    ]  # fmt: skip


def test_what_was_withdrawn_or_replaced_makes_no_moment():
    a, b, c = written(Note(text="a"), Note(text="b"), Withdrawn())
    gone = replace(c, replaces=a.uuid)
    assert [m.last for m in moments_of([a, b, gone])] == [2]
    corrected = replace(b, replaces=a.uuid)
    assert [m.last for m in moments_of([a, corrected])] == [2]


@pytest.mark.parametrize(
    ("payloads", "pair"),
    [
        ((), None),
        ((Note(text="a"),), None),
        ((Note(text="a"), Note(text="b")), (1, 2)),
        ((Note(text="a"), CUT, Note(text="b")), (1, 3)),
        ((Note(text="a"), CUT, CUT), (2, 3)),
        ((CUT, Note(text="b")), (1, 2)),
    ],
)
def test_one_asks_about_the_last_cut(payloads, pair):
    assert usual_pair(moments_of(written(*payloads))) == pair


def test_sounds_are_the_latest_of_one_kind_at_each_moment():
    entries = written(crow("peep"), crow(), Note(text="x"), crow(), crow("peep"))
    one, other = sounds_at(entries, 3, 5)  # pyright: ignore[reportGeneralTypeIssues]  # there are two
    assert (one.entry.seq, other.entry.seq) == (2, 4)
    assert sounds_at(entries, 2, 3) is None  # the same recording
    late = [replace(e, happened_at=NOON - timedelta(days=1)) if e.seq == 4 else e for e in entries]
    assert [r.entry.seq for r in sounds_at(late, 3, 5) or ()] == [2, 4]  # as written down
    (peep, again) = sounds_at([e for e in entries if e.seq != 4], 1, 5) or ()
    assert (peep.entry.seq, again.entry.seq) == (1, 5)


def test_the_level_is_that_of_the_sound_without_its_pauses():
    rate = 48_000
    t = np.arange(rate) / rate
    tone = 0.5 * np.sin(2 * np.pi * 440 * t)
    # RMS of a sine of amplitude a: a / sqrt(2)
    assert programme_level(tone, rate) == pytest.approx(20 * np.log10(0.5 / 2**0.5), abs=0.01)
    quiet = 1e-4 * np.ones(3 * rate)
    assert programme_level(np.concatenate([quiet, tone, quiet]), rate) == pytest.approx(
        programme_level(tone, rate), abs=0.1
    )
    assert programme_level(np.stack([tone, tone], axis=1), rate) == pytest.approx(
        programme_level(tone, rate), abs=0.01
    )
    assert programme_level(np.zeros(100), rate) == -np.inf
    assert programme_level(np.zeros(0), rate) == -np.inf


def test_the_louder_one_is_turned_down_until_both_are_equal():
    one, other = matched_volumes(-12.0, -20.0)
    assert other == 1.0
    assert -12.0 + 20 * np.log10(one) == pytest.approx(-20.0)
    assert matched_volumes(-20.0, -12.0) == (other, one)
    assert matched_volumes(-np.inf, -12.0) == (1.0, 1.0)
