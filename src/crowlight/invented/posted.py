"""Reeds that were sent to the invented workshop: two with a story, one that waits for an answer.

They come from three invented places at three altitudes. Who plays them, what they wrote, what was
measured and cut: everything is made up, and the fault of each was put in on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

import numpy as np

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import (
    Climate,
    Cut,
    Described,
    Lengths,
    Opening,
    Payload,
    ReadingsTaken,
    Rest,
    Staple,
    Wetting,
)
from crowlight.bench.ports import Heard, PersonPlace, Player
from crowlight.bench.workshop_kinds import Consent, Intake, Minutes, Stage
from crowlight.invented.recordings import DEVICE, RATE
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.invented.sitting import counted
from crowlight.invented.sounds import Kind, Room, draw_crow, swell_take
from crowlight.reed import Blade, Reading, Side

__all__ = ["POSTED", "PostedDemo", "fill_posted"]

_SPACE = UUID("d6c1c6b0-3a53-5f0b-8b6e-1f4d7b9a2e54")
_DAY = datetime(2026, 3, 16, 9, 30, tzinfo=UTC)
_ROOM = Room(reverberation=0.15, wet=-22.0, noise=-58.0, level=-22.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PostedDemo:
    """A reed that was sent in, and what becomes of it.

    Parameters
    ----------
    name, player, place : str
        The reed, who plays it and where.
    knife : bool or None
        Whether the player uses a knife; None if nobody asked.
    altitude, temperature, humidity : float or None
        Of the place [m, K, 0-1].
    intake : Intake
        What the player wrote and allows.
    seed : int
        Of its chance.
    fault : Fault or None
        What was put in; None for a reed nobody has touched yet.
    left : float
        What the cuts leave of it [m].
    answer : Consent or None
        What the player answered when asked.
    work : tuple of Payload
        What was done.
    crows : tuple
        How it crows before and after.
    stages : tuple of (float, Stage)
        Where it has got to, and after how many days.
    """

    name: str
    player: str
    place: str
    knife: bool | None
    altitude: float
    temperature: float | None = None
    humidity: float | None = None
    intake: Intake
    seed: int = 0
    fault: Fault | None = None
    left: float = 0.0
    answer: Consent | None = None
    work: tuple[Payload, ...] = ()
    crows: tuple[Kind, Kind] = ("mixed", "clean")
    stages: tuple[tuple[float, Stage], ...] = ()


POSTED: Sequence[PostedDemo] = (
    PostedDemo(
        name="Wigeon",
        player="Lene Aldersund (invented)",
        place="Low Fenmere (invented)",
        knife=True,
        altitude=4.0,
        temperature=292.0,
        humidity=0.66,
        intake=Intake(
            complaint="It chirps when I slur up to the top, and the soft low notes come late.",
            season="damp-summer",
            instrument="grenadilla, conservatoire keys",
            staple="brass, about 47",
            age=21 * 86_400.0,
            played=4 * 3600.0,
            earlier_cuts="None, I only tied a new thread round it.",
            deadline=date(2026, 3, 27),
            may_play="yes",
            may_clean="yes",
            may_cut="yes",
            may_break="no",
            afterwards="return",
            allergies="Asked: beeswax is fine, no varnish near the lips.",
            hygiene="Rinsed before posting.",
        ),
        seed=211,
        fault=Fault(zone="tip", blade=Blade.MARKED, side=-1, amount=104e-6),
        left=64e-6,
        work=(
            Treated(what="clean", remark="Lukewarm water and a soft brush."),
            Cut(
                zone="tip",
                blades=(Blade.MARKED,),
                sides=(Side.LEFT,),
                strokes=4,
                remark="That corner stayed behind the other when the reed began to sound.",
            ),
            Cut(
                zone="tip",
                blades=(Blade.MARKED,),
                sides=(Side.LEFT,),
                strokes=3,
                remark="The chirp was gone, so I stopped there.",
            ),
        ),
        crows=("mixed", "clean"),
        stages=(
            (0.0, Stage(stage="acclimatising", until=date(2026, 3, 17))),
            (1.1, Stage(stage="on-the-bench")),
            (3.2, Stage(stage="posted", remark="By ordinary post.")),
        ),
    ),
    PostedDemo(
        name="Siskin",
        player="Ruben Castellane (invented)",
        place="Altavell (invented)",
        knife=False,
        altitude=2350.0,
        humidity=0.24,
        intake=Intake(
            complaint="Too hard up here, and it plays sharp. Please do not make it buzzy.",
            season="heated-winter",
            instrument="full conservatoire",
            staple="as it came",
            age=40 * 86_400.0,
            deadline=date(2026, 3, 30),
            may_play="yes",
            may_clean="yes",
            may_cut="ask",
            may_break="no",
            afterwards="ask",
        ),
        seed=223,
        fault=Fault(zone="heart", blade=Blade.PLAIN, side=0, amount=62e-6),
        left=14e-6,
        answer=Consent(to="cut", answer="yes", how="by telephone, 17 March"),
        work=(
            Cut(
                zone="heart",
                blades=(Blade.PLAIN,),
                strokes=6,
                remark="The plain heart held the other back; it gives alike now.",
            ),
        ),
        crows=("mixed", "mixed"),
        stages=(
            (0.0, Stage(stage="acclimatising", until=date(2026, 3, 17))),
            (1.1, Stage(stage="on-the-bench")),
            (1.3, Stage(stage="resting", until=date(2026, 3, 20), remark="Two nights.")),
        ),
    ),
    PostedDemo(
        name="Teal",
        player="Odile Verrant (invented)",
        place="Mid Harrowdale (invented)",
        knife=None,
        altitude=640.0,
        intake=Intake(
            complaint="One side closes before the other.", played=13 * 3600.0, may_play="yes"
        ),
    ),
)


def _id(word: str) -> UUID:
    return uuid5(_SPACE, word)


def fill_posted(desk: Desk) -> list[str]:
    """Write the posted reeds down.

    Parameters
    ----------
    desk : Desk
        A desk with the invented workshop on it; see `crowlight.invented.workshop.fill`.

    Returns
    -------
    list of str
        Names of those that were worked on.
    """
    for reed in POSTED:
        player = Player(uuid=_id(reed.player), name=reed.player, uses_knife=reed.knife)
        place = PersonPlace(
            uuid=_id(reed.place),
            person=player.uuid,
            name=reed.place,
            altitude=reed.altitude,
            temperature=reed.temperature,
            humidity=reed.humidity,
        )
        desk.records.add_person(player)
        desk.records.add_place(place)
        kept = desk.posted.take_in(
            reed.name,
            reed.intake.model_copy(update={"place": place.uuid}),
            player=player.uuid,
            uuid=_id(reed.name),
            entry=_id(f"{reed.name} intake"),
            at=_DAY,
            invented=True,
        )
        if kept.seq == 1 and reed.fault is not None:
            _Bench(desk, reed).work()
    return [reed.name for reed in POSTED if reed.fault is not None]


class _Bench:
    """Writes down what is done to one reed."""

    def __init__(self, desk: Desk, reed: PostedDemo) -> None:
        self._desk, self._reed, self._count = desk, reed, 0
        self._rng = np.random.default_rng(reed.seed)

    def _write(self, payload: Payload, days: float, readings: tuple[Reading, ...] = ()) -> None:
        self._count += 1
        self._desk.write(
            self._reed.name,
            payload,
            readings=readings,
            uuid=_id(f"{self._reed.name} {self._count}"),
            at=_DAY + timedelta(days=days),
        )

    def work(self) -> None:
        """Write the whole stay down: measured, asked, worked on, measured again."""
        reed = self._reed
        for days, stage in reed.stages:
            self._write(stage, days)
        self._write(Climate(temperature=293.5, humidity=0.55), 0.01)
        self._measured(1.15, reed.fault)
        self._crow(1.16, reed.crows[0], "before")
        if reed.answer is not None:
            self._write(reed.answer, 1.17)
        for count, payload in enumerate(reed.work):
            self._write(payload, 1.2 + 0.01 * count)
        self._write(Rest(duration=2 * 86_400.0), 1.3)
        assert reed.fault is not None  # noqa: S101  (the caller's own condition)
        self._measured(3.1, replace(reed.fault, amount=reed.left))
        self._crow(3.12, reed.crows[1], "after")
        self._write(Minutes(duration=35 * 60.0, what="all of it"), 3.15)

    def _measured(self, days: float, fault: Fault | None) -> None:
        # the same seed makes the same reed, with so much of its fault left
        true = draw_reed(
            np.random.default_rng(self._reed.seed),
            even=True,
            faults=() if fault is None else (fault,),
        )
        if days < 2:
            self._write(
                Described(
                    thread_colour="grey",
                    style=true.style.code,
                    staple=Staple(length=47e-3),
                ),
                days - 0.05,
            )
        length = round(true.style.length * 2000) / 2000
        self._write(Lengths(overall=length, thread_top=47e-3), days - 0.02)
        self._write(Wetting(how="soaked", duration=180.0), days - 0.01)
        self._write(Opening(height=0.66e-3 if days < 2 else 0.62e-3), days - 0.008)
        places = planned_places(true.style)
        taken = measure(true, (*places, places[0]), self._rng, repeats=2, seconds=4.0)
        self._write(ReadingsTaken(source="gauge, standard points"), days, counted(taken))

    def _crow(self, days: float, kind: Kind, word: str) -> None:
        rng = np.random.default_rng([self._reed.seed, 5])
        crow = draw_crow(rng, kind)
        swell = swell_take(
            rng,
            pitch=crow.pitch,
            seconds=4.0,
            octave=0.4,
            rattle={"clean": 1.1, "mixed": 0.85, "rattling": 0.6}[kind],
            breath=crow.breath,
            room=_ROOM,
            rate=RATE,
        )
        title = f"Invented: {self._reed.name}, crow, {word}"
        self._desk.keep_recording(
            self._reed.name,
            self._desk.sounds.to_wav(Heard(sound=swell.sound, rate=RATE), title=title),
            name=f"{title}.wav",
            sound_of="crow",
            device=DEVICE,
            settings={"file": f"{title}.wav"},
            uuid=_id(f"{self._reed.name} crow {word}"),
            at=_DAY + timedelta(days=days),
        )
