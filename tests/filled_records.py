"""Records with something of everything in them, for backups and archives."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import uuid4

from crowlight.bench.kinds import Lengths, Note, ReadingsTaken, Recording
from crowlight.bench.ports import Maker, NewEntry, NewReed, OwnStyle, Reed, ReedQuery
from crowlight.reed import Blade, Place, Reading
from crowlight.store import FileBlobs, SqlRecords

__all__ = ["SOUNDS", "content", "fill", "said"]

SOUNDS = [b"first sound", b"second sound" * 1000, b""]


def said(words: str, **more: object) -> NewEntry:
    given = {"uuid": uuid4(), "payload": Note(text=words), "happened_at": datetime.now(UTC)}
    return NewEntry(**given | more)


def fill(records: SqlRecords, blobs: FileBlobs) -> Reed:
    maker = Maker(uuid=uuid4(), name="Ann\\t|'\u2028")
    records.add_person(maker)
    reed = records.add_reed(NewReed(uuid=uuid4(), name="R 1", maker=maker.uuid))
    records.add_reed(NewReed(uuid=uuid4(), name="R 2"))
    made = records.clock.now()
    text = '{"ß": "\\t"}'
    records.add_style(OwnStyle(uuid=uuid4(), name="mine", text=text, created_at=made))
    digests = [blobs.put(sound) for sound in SOUNDS]
    wrong = said("", payload=Lengths(overall=0.07))
    records.append(
        reed.uuid,
        [
            said("with\ttab, \\N and \n line", by=maker.uuid),
            said("", payload=Recording(sound_of="crow", digest=digests[0], sample_rate=48000)),
            wrong,
            said("", payload=Lengths(overall=0.0712), replaces=wrong.uuid),
            said(
                "",
                payload=ReadingsTaken(),
                readings=(Reading(Place(Blade.PLAIN, 1 / 15, -1e-3 / 3), 0.5e-3 / 3 * 2),) * 3,
            ),
        ],
    )
    return reed


def content(records: SqlRecords) -> object:
    return list(records.everything()), records.reeds(ReedQuery())
