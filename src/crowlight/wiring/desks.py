"""Opening a desk on a folder of records."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from crowlight.bench.assess import Assessment, assess, inputs_of_table
from crowlight.bench.desk import Desk
from crowlight.bench.ports import Jobs, Report, SoundOf
from crowlight.bench.tasks import run_task
from crowlight.errors import CannotWrite
from crowlight.files.pictures import PictureFiles
from crowlight.files.sounds import SoundFiles
from crowlight.files.tables import TableFiles
from crowlight.store import FileBlobs, FileResults, FileTakes, SqlRecords, open_records
from crowlight.wiring.failpoints import Failpoint, pass_by
from crowlight.wiring.jobs import DirectJobs

if TYPE_CHECKING:
    from crowlight.bench.mechanics import BladesShown

__all__ = [
    "BLOBS",
    "DATABASE",
    "SystemClock",
    "assess_file",
    "blades_of_file",
    "data_folder",
    "listen_to_file",
    "open_desk",
    "open_store",
]

#: Names in the folder of records.
DATABASE = "reeds.sqlite"
BLOBS = "sounds-and-pictures"
COMPUTED = "computed"
TAKES = "recordings-under-way"


class SystemClock:
    """The time of this machine; implements the port `Clock`."""

    def now(self) -> datetime:
        """Return the time in UTC."""
        return datetime.now(UTC)


def assess_file(data: bytes, *, name: str) -> Assessment:
    """Judge a table of readings without opening any records.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        Its name.

    Returns
    -------
    Assessment
        The judgement; see `crowlight.bench.desk.Desk.assess_table`.
    """
    return assess(inputs_of_table(TableFiles(SystemClock()).read(data, name=name), name=name))


def data_folder(folder: Path | None = None) -> Path:
    """Return the folder of records, made if it is not there.

    Parameters
    ----------
    folder : Path, optional
        Where; the user's own data folder if not given.

    Raises
    ------
    CannotWrite
        If it cannot be made.
    """
    chosen = folder or Path(platformdirs.user_data_path("crowlight", appauthor=False))
    try:
        chosen.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        msg = f"the folder {chosen} cannot be made ({error.strerror}); name another with --folder"
        raise CannotWrite(msg) from None
    return chosen


def blades_of_file(data: bytes, *, name: str) -> BladesShown:
    """Solve the blades of a table of readings without opening any records."""
    inputs = inputs_of_table(TableFiles(SystemClock()).read(data, name=name), name=name)
    return run_task("mechanics", inputs, lambda _: None)


def listen_to_file(
    path: Path,
    *,
    kind: SoundOf,
    reference: float | None = None,
    tuning: str = "",
    report: Report = lambda _: None,
) -> Iterator[dict[str, Any]]:
    """Measure a sound file without opening any records.

    Parameters
    ----------
    path : Path
        The file.
    kind : {"crow", "peep", "notes"}
        What was recorded.
    reference : float, optional
        The player's A [Hz].
    tuning : str
        Key of a tuning, for notes.
    report : callable
        Called with the fraction done of each take longer than a minute; may raise `Cancelled`.

    Yields
    ------
    dict
        See `crowlight.bench.sounds.listen`; one for the file, or one a take where it is too long to
        be read at once. ``start_s`` says where it begins, ``notes_on_file`` what was wrong with it.
    """
    for heard in SoundFiles().takes(path, name=path.name):
        options = {"kind": kind, "reference": reference, "tuning": tuning}
        inputs = {"sound": heard.sound, "rate": heard.rate, **options}
        long = len(heard.sound) > 60 * heard.rate
        found = run_task("listen", inputs, report if long else lambda _: None)
        yield {
            "file": path.name,
            "start_s": heard.start,
            "rate_hz": heard.rate,
            "notes_on_file": list(heard.notes),
            **found,
        }


@contextmanager
def open_store(
    folder: Path | None = None, *, database: str | None = None, failpoint: Failpoint = pass_by
) -> Iterator[tuple[SqlRecords, FileBlobs]]:
    """Open the records of a folder, and close them again; see `open_desk`."""
    place = data_folder(folder)
    records = open_records(database or place / DATABASE, SystemClock(), failpoint=failpoint)
    try:
        yield records, FileBlobs(place / BLOBS, failpoint=failpoint)
    finally:
        records.close()


@contextmanager
def open_desk(
    folder: Path | None = None,
    *,
    jobs: Jobs | None = None,
    database: str | None = None,
    failpoint: Failpoint = pass_by,
) -> Iterator[Desk]:
    """Open the desk on a folder of records, and close it again.

    Parameters
    ----------
    folder : Path, optional
        The folder; the user's own data folder if not given.
    jobs : Jobs, optional
        What runs computations; in this process if not given. Closed with the desk.
    database : str, optional
        Address of a PostgreSQL database for a team; a SQLite file in the folder if not given.
    failpoint : callable, optional
        See `crowlight.wiring.failpoints`.

    Yields
    ------
    Desk
        The desk.
    """
    runner = jobs or DirectJobs()
    try:
        with open_store(folder, database=database, failpoint=failpoint) as (records, blobs):
            yield Desk(
                records=records,
                blobs=blobs,
                results=FileResults(data_folder(folder) / COMPUTED),
                jobs=runner,
                clock=SystemClock(),
                tables=TableFiles(SystemClock()),
                sounds=SoundFiles(),
                pictures=PictureFiles(),
                takes=FileTakes(data_folder(folder) / TAKES, failpoint=failpoint),
            )
    finally:
        runner.close()
