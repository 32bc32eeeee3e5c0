"""Writing a file so that it is there whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO
from uuid import uuid4

from crowlight.store.failpoints import Failpoint, pass_by

__all__ = ["keep_name", "written_whole"]


@contextmanager
def written_whole(
    path: Path, *, name: str, failpoint: Failpoint = pass_by, durable: bool = True
) -> Iterator[BinaryIO]:
    """Open a file beside `path` that takes its name once it is complete.

    Parameters
    ----------
    path : Path
        Name the file will have; an older one of that name is replaced in one step.
    name : str
        First half of the names of the failpoints.
    failpoint : callable, optional
        See `crowlight.store.failpoints`.
    durable : bool
        Whether the file must survive a power cut from here on.

    Yields
    ------
    binary file
        To be written to.

    Raises
    ------
    OSError
        From the file system; nothing is left behind.
    """
    beside = path.with_name(f".{path.name}.{uuid4().hex[:12]}.part")
    try:
        with beside.open("xb") as file:
            yield file
            file.flush()
            if durable:
                os.fsync(file.fileno())
        failpoint(f"{name}:before-rename")
        beside.replace(path)
    except BaseException:
        with suppress(OSError):
            beside.unlink()
        raise
    if durable:
        keep_name(path.parent)
    failpoint(f"{name}:after-rename")


def keep_name(folder: Path) -> None:
    """Make the new name in `folder` survive a power cut, where the system has a way to ask."""
    if os.name == "posix":
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
