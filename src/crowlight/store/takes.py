"""Recordings on their way in, as files: the port `crowlight.bench.takes.Takes`.

One folder a take, named by its uuid: ``about.json`` and one file a chunk. Each file is there whole
or not at all, and is on the disk before anyone is told so.
"""

from __future__ import annotations

import json
import re
import shutil
from contextlib import suppress
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from uuid import UUID

from crowlight.bench.takes import Take
from crowlight.errors import Conflict, NotFound, RecordsError
from crowlight.store.failpoints import Failpoint, pass_by
from crowlight.store.faults import cannot_write
from crowlight.store.files import keep_name, written_whole

__all__ = ["FileTakes"]

_ABOUT = "about.json"
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_CHUNK = re.compile(r"(\d{7})\.f32")
_GONE = ".gone-"


class FileTakes:
    """Takes kept in a folder.

    Parameters
    ----------
    folder : Path
        Made with the first take.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    """

    def __init__(self, folder: Path, *, failpoint: Failpoint = pass_by) -> None:
        self.folder = Path(folder)
        self._failpoint = failpoint

    def begin(self, take: Take) -> None:
        """Make room for a take; see `crowlight.bench.takes.Takes`."""
        place = self.folder / str(take.uuid)
        try:
            if (place / _ABOUT).is_file():
                if self.take(take.uuid) != take:
                    msg = f"take {take.uuid} was begun already and says something else"
                    raise Conflict(msg)
                return
            place.mkdir(parents=True, exist_ok=True)
            self._write(place / _ABOUT, _to_json(take))
            keep_name(self.folder)
        except OSError as error:
            raise cannot_write(place, error) from error

    def take(self, uuid: UUID) -> Take:
        """Return what was said of a take; see `crowlight.bench.takes.Takes`."""
        path = self.folder / str(uuid) / _ABOUT
        try:
            return _from_json(path.read_bytes())
        except FileNotFoundError:
            msg = f"no take {uuid} is under way; it was kept, dropped or never begun"
            raise NotFound(msg) from None
        except OSError as error:
            msg = f"{path} cannot be read ({error.strerror}); check the disk and its permissions"
            raise RecordsError(msg) from error
        except (ValueError, KeyError, TypeError) as error:
            msg = f"{path} is damaged ({error}); its chunks beside it are untouched"
            raise RecordsError(msg) from error

    def put(self, uuid: UUID, number: int, data: bytes) -> None:
        """Keep chunk `number`; see `crowlight.bench.takes.Takes`."""
        self.take(uuid)
        path = self._path(uuid, number)
        try:
            if path.is_file():
                if path.read_bytes() != data:
                    msg = f"chunk {number} of take {uuid} is here already with other content"
                    raise Conflict(msg)
                return
            self._write(path, data)
        except OSError as error:
            raise cannot_write(path, error) from error

    def held(self, uuid: UUID) -> dict[int, int]:
        """Return the size of each chunk; see `crowlight.bench.takes.Takes`."""
        place = self.folder / str(uuid)
        if not place.is_dir():
            return {}
        found = ((_CHUNK.fullmatch(path.name), path) for path in place.iterdir())
        return dict(sorted((int(m[1]), path.stat().st_size) for m, path in found if m))

    def chunk(self, uuid: UUID, number: int) -> bytes:
        """Return chunk `number`; see `crowlight.bench.takes.Takes`."""
        try:
            return self._path(uuid, number).read_bytes()
        except FileNotFoundError:
            msg = f"chunk {number} of take {uuid} is not here; send it again"
            raise NotFound(msg) from None

    def drop(self, uuid: UUID) -> None:
        """Forget a take; see `crowlight.bench.takes.Takes`."""
        place = self.folder / str(uuid)
        gone = self.folder / f"{_GONE}{uuid}"
        try:
            with suppress(FileNotFoundError):
                place.replace(gone)  # in one step: half a take would look like one to be finished
            shutil.rmtree(gone, ignore_errors=True)
        except OSError as error:
            raise cannot_write(place, error) from error

    def all(self) -> tuple[Take, ...]:
        """Return the takes that are held; see `crowlight.bench.takes.Takes`."""
        if not self.folder.is_dir():
            return ()
        found: list[Take] = []
        for place in self.folder.iterdir():
            if place.name.startswith(_GONE):
                shutil.rmtree(place, ignore_errors=True)
            elif _UUID.fullmatch(place.name):
                with suppress(RecordsError):  # one that is damaged stays on the disk as it is
                    found.append(self.take(UUID(place.name)))
        return tuple(sorted(found, key=lambda t: (t.begun_at, t.uuid)))

    def _write(self, path: Path, data: bytes) -> None:
        with written_whole(path, name="takes", failpoint=self._failpoint) as file:
            file.write(data)

    def _path(self, uuid: UUID, number: int) -> Path:
        return self.folder / str(uuid) / f"{number:07d}.f32"


def _to_json(take: Take) -> bytes:
    said = asdict(take) | {
        "uuid": str(take.uuid),
        "reed": str(take.reed),
        "begun_at": take.begun_at.isoformat(),
        "settings": dict(take.settings),
    }
    return json.dumps(said, indent=1).encode()


def _from_json(data: bytes) -> Take:
    said = json.loads(data)
    return Take(
        **said
        | {
            "uuid": UUID(said["uuid"]),
            "reed": UUID(said["reed"]),
            "begun_at": datetime.fromisoformat(said["begun_at"]),
        }
    )
