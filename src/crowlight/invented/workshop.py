"""An invented workshop: six reeds of one batch, and eight of the next, from a seaside town.

Everything is made up: the towns, the people, the reeds and every number. Each reed carries a fault
that is put into the truth its readings are taken from; what the judgement makes of it is for the
judgement to say. Filling the same records twice changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

import numpy as np

from crowlight.bench.advice_kinds import Trials
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import (
    Cane,
    Climate,
    Clip,
    Control,
    Described,
    Lengths,
    Note,
    Opening,
    Payload,
    PlayingTest,
    ReadingsTaken,
    Shape,
    Staple,
    Verdict,
    Wetting,
)
from crowlight.bench.payload import Answer
from crowlight.bench.ports import Batch, Heard, Maker, PersonPlace, Player
from crowlight.invented.april import fill_april
from crowlight.invented.recordings import DEVICE, RATE, recordings_for
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.invented.sitting import counted
from crowlight.invented.sounds import Kind
from crowlight.reed import Blade, Reading

__all__ = ["REEDS", "fill"]

_SPACE = UUID("5b0c6a3e-61f4-5d0f-8a50-0c5f7c3e9d11")
_DAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoReed:
    """One reed of the story, and the fault hidden in it.

    Parameters
    ----------
    name : str
        A seabird.
    thread, cork : str
        How the maker tells it apart.
    seed : int
        Of its chance.
    faults : tuple of Fault
        What was put in.
    seen : bool
        Whether the gauge can tell the fault; one of them is too small.
    opening : float
        Height of the opening [m].
    away : bool
        Whether it goes to the player in the mountains.
    words, grade : str, int or None
        The player's verdict.
    note : str
        The maker's note.
    clip : float or None
        What was clipped before it was measured [m].
    crow : {"clean", "mixed", "rattling"}
        How it crows.
    cents : float
        How far above C it crows, before it was clipped [cents].
    wobble : float
        Wandering of its pitch over three blows [cents]; 0 for none recorded.
    taps : mapping of str to str
        Answers of the playing test that are not those of a good reed.
    """

    name: str
    thread: str
    cork: str
    seed: int
    faults: tuple[Fault, ...] = ()
    seen: bool = True
    opening: float = 0.70e-3
    away: bool = False
    words: str = ""
    grade: int | None = None
    note: str = ""
    clip: float | None = None
    crow: Kind = "clean"
    cents: float = 0.0
    wobble: float = 0.0
    taps: Mapping[str, Answer] = field(default_factory=dict[str, Answer])


def _fault(zone: str, blade: Blade, side: int, micrometres: float) -> Fault:
    return Fault(zone=zone, blade=blade, side=side, amount=micrometres * 1e-6)


_BOTH = tuple(Blade)

REEDS: Sequence[DemoReed] = (
    DemoReed(
        name="Fulmar",
        thread="blue",
        cork="1",
        seed=101,
        faults=(_fault("tip", Blade.PLAIN, +1, -6),),
        seen=False,
        words="Speaks at once, nothing to wish for.",
        grade=5,
    ),
    DemoReed(
        name="Petrel",
        thread="blue",
        cork="2",
        seed=102,
        faults=(_fault("tip", Blade.MARKED, -1, 45),),
        words="A chirp when I bite near the tip.",
        grade=2,
        cents=6.0,
        taps={"low_soft_attack": "no", "tongues_cleanly": "unsure"},
        note="Corner looked dark on the left against the window.",
        crow="mixed",
    ),
    DemoReed(
        name="Plover",
        thread="green",
        cork="3",
        seed=103,
        faults=(_fault("heart", Blade.MARKED, 0, 70),),
        opening=0.78e-3,
        words="The crow wobbles, and loud notes are stiff.",
        grade=3,
        crow="mixed",
        cents=18.0,
        wobble=22.0,
        taps={"soft_to_loud": "no"},
    ),
    DemoReed(
        name="Dunlin",
        thread="green",
        cork="4",
        seed=104,
        faults=tuple(_fault("tip", blade, +1, -52) for blade in _BOTH),
        away=True,
        words="Buzzes on the soft notes.",
        grade=3,
        cents=-9.0,
        taps={"low_soft_attack": "no", "tongues_cleanly": "unsure"},
        note="Same stroke as always, from the right.",
        crow="rattling",
    ),
    DemoReed(
        name="Tern",
        thread="red",
        cork="5",
        seed=105,
        faults=tuple(_fault("heart", blade, 0, -75) for blade in _BOTH),
        opening=0.52e-3,
        away=True,
        words="High notes sag up here, and it closes when I play out.",
        grade=2,
        clip=0.3e-3,
        cents=-58.0,
        taps={
            "high_notes_hold": "no",
            "sags_when_lip_loosens": "yes",
            "soft_to_loud": "no",
            "tongues_cleanly": "unsure",
        },
    ),
    DemoReed(
        name="Knot",
        thread="red",
        cork="6",
        seed=106,
        faults=(_fault("heart", Blade.PLAIN, +1, -90),),
        opening=0.60e-3,
        words="One side closes before the other.",
        grade=3,
        crow="mixed",
        cents=4.0,
        taps={"low_soft_attack": "unsure", "tongues_cleanly": "unsure"},
    ),
)


#: The playing test of a good reed.
_GOOD: Mapping[str, Answer] = {
    "low_soft_attack": "yes",
    "slurred_octaves": "yes",
    "high_notes_hold": "yes",
    "sags_when_lip_loosens": "no",
    "tongues_cleanly": "yes",
    "soft_to_loud": "yes",
}
#: The air where the player in the mountains lives, as their barometer shows it.
_MOUNTAIN_AIR = Climate(temperature=294.0, humidity=0.28, pressure=80_990.0)


def _id(word: str) -> UUID:
    return uuid5(_SPACE, word)


def fill(desk: Desk) -> list[str]:
    """Write the invented workshop down.

    Parameters
    ----------
    desk : Desk
        Where.

    Returns
    -------
    list of str
        Names of the six reeds, in the order of the batch; those of the next batch are in
        `crowlight.invented.april`.
    """
    records = desk.records
    maker = Maker(uuid=_id("maker"), name="Isa Brendmoor (invented)", hand="right")
    near = Player(uuid=_id("near"), name="Tove Quillan (invented)", uses_knife=True)
    far = Player(uuid=_id("far"), name="Marek Ollivane (invented)", uses_knife=False)
    for person in (maker, near, far):
        records.add_person(person)
    records.add_place(
        PersonPlace(
            uuid=_id("workshop"),
            person=maker.uuid,
            name="Kittiwake Haven, the workshop (invented)",
            altitude=6.0,
            temperature=293.5,
            humidity=0.58,
        )
    )
    records.add_place(
        PersonPlace(
            uuid=_id("harbour"),
            person=near.uuid,
            name="Kittiwake Haven (invented)",
            altitude=6.0,
            temperature=293.0,
            humidity=0.60,
        )
    )
    records.add_place(
        PersonPlace(
            uuid=_id("mountain"),
            person=far.uuid,
            name="Upper Sorrelhorn (invented)",
            altitude=1850.0,
            temperature=294.0,
            humidity=0.28,
        )
    )
    batch = Batch(uuid=_id("batch"), name="Early March", maker=maker.uuid)
    records.add_batch(batch)
    for count, reed in enumerate(REEDS):
        kept = desk.add_reed(
            reed.name,
            uuid=_id(reed.name),
            maker=maker.uuid,
            player=far.uuid if reed.away else near.uuid,
            batch=batch.uuid,
            invented=True,
        )
        if not kept.seq:
            _write(desk, reed, _start(count))
            _record(desk, reed, count)
    fill_april(desk, maker=maker.uuid, player=near.uuid)
    return [reed.name for reed in REEDS]


def _start(count: int) -> datetime:
    """Return when the sitting of a reed begins: three a day, one after the other."""
    return _DAY + timedelta(days=count // 3, minutes=55 * (count % 3))


def _record(desk: Desk, reed: DemoReed, count: int) -> None:
    """Keep the recordings of one reed; the first reed is the control of the clipped one."""
    start = _start(count)
    clipped = next(i for i, r in enumerate(REEDS) if r.clip)
    sitting = None if count else (_start(clipped) - start) / timedelta(minutes=1)

    def write(payload: Payload, word: str, minutes: float) -> None:
        at = start + timedelta(minutes=minutes)
        desk.write(reed.name, payload, uuid=_id(f"{reed.name} {word}"), at=at)

    if sitting is not None:
        write(Control(remark="Invented."), "control", sitting)
    if reed.clip:
        write(Wetting(how="soaked", duration=120.0), "soaked to crow", 0.5)
    for made in recordings_for(
        reed.crow,
        reed.seed,
        clip=reed.clip,
        control=sitting,
        scale=not count,
        cents=reed.cents,
        wobble=reed.wobble,
    ):
        title = f"Invented: {reed.name}, {made.sound_of}, {made.word}"
        data = desk.sounds.to_wav(Heard(sound=made.sound, rate=RATE), title=title)
        desk.keep_recording(
            reed.name,
            data,
            name=f"{title}.wav",
            sound_of=made.sound_of,
            device=DEVICE,
            settings={"file": f"{title}.wav"},
            uuid=_id(f"{reed.name} {made.word}"),
            at=start + timedelta(minutes=made.minutes),
        )


def _write(desk: Desk, reed: DemoReed, start: datetime) -> None:
    """Write the entries of one reed, one sitting and the player's answer."""
    rng = np.random.default_rng(reed.seed)
    true = draw_reed(rng, even=True, faults=reed.faults)
    length = round(true.style.length * 2000) / 2000  # read off a ruler to half a millimetre
    before = length + (reed.clip or 0.0)
    step = 0

    def write(payload: Payload, minutes: float, readings: tuple[Reading, ...] = ()) -> None:
        nonlocal step
        step += 1
        desk.write(
            reed.name,
            payload,
            readings=readings,
            uuid=_id(f"{reed.name} {step}"),
            at=start + timedelta(minutes=minutes),
        )

    write(
        Described(
            thread_colour=reed.thread,
            cork_number=reed.cork,
            style=true.style.code,
            cane=Cane(
                diameter=10.25e-3,
                gouge_centre=0.60e-3,
                gouge_side=0.44e-3,
                source="Invented tubes, bag two",
            ),
            shape=Shape(tip_width=7.0e-3, waist_width=4.0e-3),
            staple=Staple(length=47e-3, bore_top=2.4e-3, bore_bottom=4.9e-3),
            tie_length=73e-3,
            overlap=0.1e-3,
        ),
        0,
    )
    write(Climate(temperature=293.5, humidity=0.58), 0)
    write(Lengths(overall=before, thread_top=47e-3), 1)
    if reed.clip:
        write(Clip(amount=reed.clip, against="stop"), 2)
    write(Wetting(how="soaked", duration=180.0), 6)
    write(Opening(height=reed.opening), 7)
    places = planned_places(true.style)
    taken = measure(true, (*places, places[0]), rng, repeats=2, seconds=4.0)
    write(ReadingsTaken(source="gauge, standard points"), 8, counted(taken))
    if reed.note:
        write(Note(text=reed.note), 20)
    write(Trials(crow_speaks="yes", leaks="no", bubbles="none", looked=True), 22)
    write(PlayingTest.model_validate({**_GOOD, **reed.taps}), 25)
    if reed.away:  # settled there for four days before it was judged
        write(_MOUNTAIN_AIR, 5 * 24 * 60)
    days = 9 if reed.away else 2
    write(Verdict(words=reed.words, grade=reed.grade), days * 24 * 60)
