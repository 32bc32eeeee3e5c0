"""PDF by typst: text as text, whatever it holds; tagged, fonts embedded, lengths true.

What is typeset goes in as JSON, so that no mark in it is ever read as a command. Pictures go in as
SVG text or as files of a folder that is deleted afterwards.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from crowlight.report.words import literal

__all__ = ["PAPERS", "Paper", "Printed", "paper_of", "typeset"]

Paper = Literal["a4", "letter"]
#: Papers by the names typst has for them.
PAPERS: Mapping[Paper, str] = {"a4": "a4", "letter": "us-letter"}
#: What marks characters no font has; the reader is then told that the file is less accessible.
_NO_FONT = "could not be displayed with font"


@dataclass(frozen=True, slots=True)
class Printed:
    """A PDF, and whether it keeps the rules of PDF/UA-1 (ISO 14289-1) as far as typst checks them.

    It does not where a text holds characters that no font on this machine has.
    """

    pdf: bytes
    accessible: bool


def paper_of(code: str) -> Paper:
    """Return a paper by its name; A4 for one that is not known."""
    return "letter" if code == "letter" else "a4"


def typeset(
    template: str,
    data: Mapping[str, Any],
    *,
    paper: Paper = "a4",
    pictures: Mapping[str, bytes] | None = None,
) -> Printed:
    """Return a PDF.

    Parameters
    ----------
    template : str
        Name of a template of this package, without its ending.
    data : mapping
        What it shows: plain values.
    paper : {"a4", "letter"}
        The paper.
    pictures : mapping of str to bytes, optional
        Photographs by file name: letters, digits and one dot.

    Raises
    ------
    typst.TypstError
        If the template itself is wrong.
    """
    import typst  # it brings a whole compiler

    told = json.dumps(_visible(dict(data) | {"paper": PAPERS[paper]}), ensure_ascii=False)
    with (
        TemporaryDirectory(prefix="crowlight-") as folder,
        as_file(files("crowlight.report") / "templates" / f"{template}.typ") as source,
    ):
        place = Path(folder)
        for name, content in (pictures or {}).items():
            (place / name).write_bytes(content)
        main = place / "main.typ"
        main.write_bytes(source.read_bytes())

        def compiled(*, accessible: bool) -> bytes:
            return typst.compile(
                main,
                root=place,
                format="pdf",
                sys_inputs={"data": told},
                pdf_standards="ua-1" if accessible else None,
            )

        try:
            return Printed(compiled(accessible=True), accessible=True)
        except typst.TypstError as error:
            if _NO_FONT not in str(error):
                raise
        return Printed(compiled(accessible=False), accessible=False)


def _visible(value: Any) -> Any:
    """Make characters visible that would reorder a text; see `crowlight.report.words.literal`."""
    match value:
        case str():
            return literal(value)
        case Mapping():
            return {key: _visible(v) for key, v in value.items()}
        case list() | tuple():
            return [_visible(v) for v in value]
        case _:
            return value
