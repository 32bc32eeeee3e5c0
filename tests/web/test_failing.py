"""The server ends at the worst moments; nothing is lost, nothing is there twice."""

from __future__ import annotations

import os
import random
import threading
import time
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import numpy as np
import pytest
from tests.server_process import Sender, Server

from crowlight.bench.kinds import Note, ReadingsTaken, Recording
from crowlight.wiring import open_desk
from crowlight.wiring.failpoints import ENDED

RATE = 8_000


def blocks(seed: int, count: int = 4) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    sizes = [2_048] * (count - 1) + [777]
    return [rng.uniform(-0.5, 0.5, n).astype("<f4") for n in sizes]


def thicknesses(number: int) -> list[float]:
    """Return three thicknesses [mm] that no other number has."""
    return [round(0.1 + 0.0001 * (3 * number + n), 4) for n in range(3)]


def readings(number: int) -> dict[str, str]:
    fields = {"blade": "marked", "state": "wet", "gauge": "dial", "origin": "rim", "rows": "8"}
    for row, mm in enumerate(thicknesses(number)):
        side = ("left", "centre", "right")[row]
        fields |= {f"along-{row}": "62", f"side-{row}": side, f"out-{row}": "2"}
        fields |= {f"out-{row}": "0" if side == "centre" else "2", f"thickness-{row}": f"{mm:.4f}"}
    return fields


def check(
    folder: Path,
    *,
    written: Mapping[UUID, int],
    noted: Mapping[UUID, str],
    recorded: Mapping[UUID, list[np.ndarray]],
) -> None:
    """Check that exactly this is kept: each reading and each sample once."""
    with open_desk(folder) as desk:
        entries = desk.records.entries(desk.records.reed("Gull 7").uuid)
        kinds = Counter(type(e.payload) for e in entries)
        kept = {ReadingsTaken: len(written), Note: len(noted), Recording: len(recorded)}
        assert kinds == Counter(kept)
        for e in entries:
            match e.payload:
                case ReadingsTaken():
                    mm = [round(r.thickness * 1e3, 4) for r in e.readings]
                    assert mm == thicknesses(written[e.uuid])
                case Note(text=text):
                    assert text == noted[e.uuid]
                case Recording(original=digest):
                    sound = desk.sounds.read(desk.blobs.get(digest or "")).sound
                    assert np.array_equal(sound.ravel(), np.concatenate(recorded[e.uuid]))
        assert [e.seq for e in entries] == list(range(1, len(entries) + 1))
        assert desk.takes.all() == ()


def a_reed(folder: Path) -> str:
    with open_desk(folder) as desk:
        return f"/reeds/{desk.add_reed('Gull 7').uuid}"


#: Before and after the commit and the reply of an entry; around the name of a chunk on the disk;
#: and with a number, of what comes later: the end of a take.
WORST = [
    "records:before-commit",
    "records:after-commit",
    "reply:before",
    "reply:after",
    "takes:before-rename@3",
    "takes:after-rename@3",
    "records:before-commit@2",
    "records:after-commit@2",
    "reply:before@7",
]


def test_nothing_is_lost_or_doubled_when_the_server_ends(tmp_path):
    """One process after the other ends, each at its moment; the last one at none."""
    reed = a_reed(tmp_path)
    written: dict[UUID, int] = {}
    recorded: dict[UUID, list[np.ndarray]] = {}
    with Server(tmp_path, end_at=WORST) as server:
        sender = Sender(server)
        number = 0
        while len(server.ends) < len(WORST):
            assert number < 3 * len(WORST), f"{WORST[len(server.ends)]} never came"
            number += 1
            written[sender.write(f"{reed}/readings", readings(number))] = number
            sound = blocks(number)
            at = datetime.now(UTC).isoformat()
            recorded[sender.record(reed, sound, rate=RATE, begun_at=at)] = sound
            sender.ask("GET", "/")  # where it may have ended after its last reply
        number += 1  # the last process ends nowhere
        written[sender.write(f"{reed}/readings", readings(number))] = number
        sender.close()
    assert server.ends == [ENDED] * len(WORST)
    check(tmp_path, written=written, noted={}, recorded=recorded)


@pytest.mark.soak
def test_fifty_random_kills_lose_and_double_nothing(tmp_path):
    """A thread kills the server whenever it likes, while readings, notes and takes are sent."""
    kills = int(os.environ.get("CROWLIGHT_KILLS", "50"))
    rng = random.Random(5)  # noqa: S311  (moments, no secret)
    reed = a_reed(tmp_path)
    written: dict[UUID, int] = {}
    noted: dict[UUID, str] = {}
    recorded: dict[UUID, list[np.ndarray]] = {}
    over = threading.Event()
    with Server(tmp_path) as server:

        def kill() -> None:
            for killed in range(kills):
                while server.starts <= killed:  # not while it starts: nothing is sent to it then
                    time.sleep(0.005)
                time.sleep(rng.uniform(0.0, 0.5))
                server.kill()
            over.set()

        killer = threading.Thread(target=kill, daemon=True)
        sender = Sender(server)
        killer.start()
        number = 0
        while not over.is_set():
            number += 1
            written[sender.write(f"{reed}/readings", readings(number))] = number
            text = f"note {number}"
            noted[sender.write(f"{reed}/write/note", {"text": text})] = text
            sound = blocks(number, count=6)
            at = datetime.now(UTC).isoformat()
            recorded[sender.record(reed, sound, rate=RATE, begun_at=at)] = sound
        killer.join(timeout=10)
        sender.close()
    assert server.ends == [-9] * kills
    assert sender.tries > 5 * number + kills / 2  # some were sent again
    check(tmp_path, written=written, noted=noted, recorded=recorded)
