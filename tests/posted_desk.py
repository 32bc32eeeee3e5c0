"""A desk with the invented posted reeds, and reading of what was typeset."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray
from tests.canned_models import CannedJob, CannedJobs

from crowlight.bench.desk import Desk
from crowlight.bench.ports import Maker, PersonPlace
from crowlight.errors import OutsideModel
from crowlight.invented.posted import fill_posted
from crowlight.wiring import open_desk


class _Jobs(CannedJobs):
    """Canned models; nothing is learned of a reed, which would take a minute."""

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> CannedJob:
        if task == "calibrate":
            msg = "nothing is learned in this test"
            raise OutsideModel(msg)
        return super().submit(task, inputs, sticky=sticky)


@contextmanager
def posted_desk(folder: Path) -> Iterator[Desk]:
    """Open a desk with the invented posted reeds; the slow models answer at once."""
    with open_desk(folder) as opened:
        desk = replace(opened, jobs=_Jobs())
        maker = Maker(uuid=uuid4(), name="Isa Brendmoor (invented)", hand="right")
        desk.records.add_person(maker)
        desk.records.add_place(
            PersonPlace(uuid=uuid4(), person=maker.uuid, name="Workshop", altitude=6.0)
        )
        fill_posted(desk)
        yield desk


def text_of(pdf: bytes) -> str:
    """Return the text of a PDF, its lines joined, as a reader's program finds it."""
    done = subprocess.run(
        ["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return " ".join(done.stdout.decode().split())


def told_of(pdf: bytes) -> str:
    """Return what pdfinfo tells of a PDF."""
    done = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True)
    return done.stdout.decode()


def fonts_of(pdf: bytes, folder: Path) -> list[str]:
    """Return the lines of pdffonts, one a font, without their heading."""
    file = folder / "fonts.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdffonts", str(file)], capture_output=True, check=True)
    return done.stdout.decode().splitlines()[2:]


def drawn(pdf: bytes, dpi: int) -> NDArray[np.uint8]:
    """Return the first page as pixels, shape (rows, columns, 3), without smoothing."""
    done = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-f", "1", "-l", "1", "-aa", "no", "-aaVector", "no"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    kind, size, most, pixels = done.stdout.split(b"\n", 3)
    assert (kind, most) == (b"P6", b"255")
    width, height = map(int, size.split())
    return np.frombuffer(pixels, np.uint8).reshape(height, width, 3)


def spots(page: NDArray[np.uint8], colour: str) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of the pixels that have a colour, ``#rrggbb``."""
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.uint8)
    rows, columns = np.nonzero((page == wanted).all(axis=2))
    return rows, columns
