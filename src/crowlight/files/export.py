"""Everything a user owns as CSV and JSON, to be read without crowlight.

Each table comes twice. The JSON file holds every value exactly. The CSV file is for a spreadsheet:
text that a spreadsheet would take for a formula gets an apostrophe in front, as OWASP advises
against "CSV injection"; numbers are the same in both. Numbers are in SI units, and the head of a
column says which.
"""

from __future__ import annotations

import csv
import json
import shutil
import zipfile
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from crowlight.errors import CannotWrite, Conflict, RecordsError

__all__ = ["Exported", "write_export"]

#: Units of columns that have one.
UNITS = {
    ("place", "altitude"): "m",
    ("place", "temperature"): "K",
    ("place", "humidity"): "1",
    ("reading", "along"): "m",
    ("reading", "across"): "m",
    ("reading", "thickness"): "m",
    ("reading", "minutes_wet"): "min",
}

#: What makes a spreadsheet take a text for a formula; the last four are full-width forms.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")

_FORMAT = {"format": "crowlight export", "version": 1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What was exported.

    Parameters
    ----------
    path : Path
        The folder or archive.
    rows : dict
        Number of rows of each table.
    blobs : int
        Number of sounds and pictures.
    missing : tuple of str
        Digests of sounds and pictures that entries name and that could not be read.
    """

    path: Path
    rows: dict[str, int]
    blobs: int
    missing: tuple[str, ...]


def write_export(
    rows: Iterable[tuple[str, Mapping[str, Any]]],
    target: Path,
    *,
    blob: Callable[[str], bytes] | None = None,
) -> Exported:
    """Write every row into a folder, or into a zip archive if the name ends in ``.zip``.

    Parameters
    ----------
    rows : iterable of (str, mapping)
        Table name and plain values, as `crowlight.bench.ports.Records.everything` yields them:
        the rows of a table stand together and have the same columns.
    target : Path
        Where to; must not be there yet, or be an empty folder.
    blob : callable, optional
        Returns a sound or picture by its digest; without it they are left out.

    Returns
    -------
    Exported
        What was written.

    Raises
    ------
    Conflict
        If `target` is there and not an empty folder.
    CannotWrite
        Disk full or folder read-only; nothing is left behind.
    """
    target = Path(target)
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        msg = f"{target} is there already; choose another name for the export"
        raise Conflict(msg)
    folder: Path | None = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(mkdtemp(prefix=".crowlight-", dir=target.parent))
        content = folder / "content"
        content.mkdir()
        counts: dict[str, int] = {}
        digests: set[str] = set()
        for table, group in groupby(rows, key=lambda row: row[0]):
            counts[table] = _write_table(content, table, (row for _, row in group), digests)
        count, missing = _write_blobs(content, digests, blob)
        if target.suffix.lower() == ".zip":
            packed = folder / "packed"
            _pack(content, packed)
            packed.replace(target)
        else:
            if target.exists():
                target.rmdir()
            content.replace(target)
    except OSError as error:
        msg = (
            f"{target} could not be written ({error.strerror or error}); allow writing there or "
            f"make room, and try again"
        )
        raise CannotWrite(msg) from error
    finally:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)
    return Exported(path=target, rows=counts, blobs=count, missing=missing)


def _write_table(
    folder: Path, table: str, rows: Iterable[Mapping[str, Any]], digests: set[str]
) -> int:
    """Write one table as CSV and JSON, noting the digests its payloads name."""
    count = 0
    with ExitStack() as stack:
        sheet = stack.enter_context(
            (folder / f"{table}.csv").open("x", encoding="utf-8-sig", newline="")
        )
        exact = stack.enter_context((folder / f"{table}.json").open("x", encoding="utf-8"))
        writer = csv.writer(sheet)
        for row in rows:
            if not count:
                units = {c: UNITS[table, c] for c in row if (table, c) in UNITS}
                writer.writerow([f"{c} [{units[c]}]" if c in units else c for c in row])
                head = json.dumps({**_FORMAT, "table": table, "units": units}, ensure_ascii=False)
                exact.write(f'{head[:-1]}, "rows": [\n')
            writer.writerow([cell(value) for value in row.values()])
            exact.write(",\n" if count else "")
            exact.write(json.dumps(dict(row), ensure_ascii=False, allow_nan=False))
            digests.update(_digests(row.get("payload")))
            count += 1
        exact.write("\n]}\n")
    return count


def cell(value: Any) -> str | int | float:
    """Return what stands in a cell for `value`.

    Parameters
    ----------
    value : object
        A plain value.

    Returns
    -------
    str, int or float
        Numbers as they are; text that a spreadsheet would run as a formula with an apostrophe in
        front; lists and mappings as JSON; an empty text for None.

    Examples
    --------
    >>> cell(-0.002), cell("-3"), cell("=1+1"), cell(None), cell(True)
    (-0.002, "'-3", "'=1+1", '', 'true')
    """
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case int() | float():
            return value
        case str():
            return f"'{value}" if value.startswith(_FORMULA) else value
        case _:
            return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _digests(payload: Any) -> list[str]:
    if not isinstance(payload, dict):
        return []
    return [payload[name] for name in ("digest", "original") if payload.get(name)]


def _write_blobs(
    folder: Path, digests: set[str], blob: Callable[[str], bytes] | None
) -> tuple[int, tuple[str, ...]]:
    missing: list[str] = []
    if blob is None or not digests:
        return 0, ()
    shelf = folder / "sounds-and-pictures"
    shelf.mkdir()
    for digest in sorted(digests):
        try:
            data = blob(digest)
        except RecordsError:
            missing.append(digest)
            continue
        (shelf / digest).write_bytes(data)
    return len(digests) - len(missing), tuple(missing)


def _pack(content: Path, target: Path) -> None:
    with zipfile.ZipFile(target, "x", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(content.rglob("*")):
            if path.is_file():
                info = zipfile.ZipInfo(path.relative_to(content).as_posix())
                info.compress_type = zipfile.ZIP_DEFLATED
                with path.open("rb") as source, archive.open(info, "w") as part:
                    shutil.copyfileobj(source, part)
