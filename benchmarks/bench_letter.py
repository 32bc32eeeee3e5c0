"""How long a letter takes: draft, pictures, page and PDF, beside typst with an empty page.

The reed is invented; its sounds are measured and its journey is canned before the clock starts, as
they are kept once computed. The target, 1 s, is for the PDF from an opened story.

    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_letter.py
"""

from __future__ import annotations

import json
import os
import platform
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import typst

from crowlight.report.letter import letter_content, letter_html, letter_pdf
from crowlight.report.prints import print_of
from crowlight.report.words import in_locale

ROOT = Path(__file__).parents[1]
TARGET_S = 1.0
RUNS = 7
EMPTY = b'#set document(title: "Empty")\n#set page(paper: "a4")\n#title()'


def timed(call: Callable[[], object]) -> float:
    """Return the median of several runs after a first [s]."""
    call()
    found: list[float] = []
    for _ in range(RUNS):
        start = time.perf_counter()
        call()
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def main() -> None:
    """Measure and write the figures down."""
    sys.path.insert(0, str(ROOT))  # the desk of the tests, with its canned journeys
    from tests.posted_desk import posted_desk

    words = in_locale("en")
    with TemporaryDirectory() as folder, posted_desk(Path(folder)) as desk:
        story = desk.posted.story("Wigeon")
        content = letter_content(story, words=words)
        figures = {
            "draft_and_pictures_s": timed(lambda: letter_content(story, words=words)),
            "html_s": timed(lambda: letter_html(content, words=words)),
            "pdf_s": timed(lambda: letter_pdf(content, words=words)),
            "whole_letter_s": timed(
                lambda: letter_pdf(letter_content(story, words=words), words=words)
            ),
            "blades_print_s": timed(lambda: print_of(desk, "blades", ["Wigeon"], words=words)),
            "typst_empty_page_s": timed(
                lambda: typst.compile(EMPTY, format="pdf", pdf_standards="ua-1")
            ),
        }
    whole, empty = figures["whole_letter_s"], figures["typst_empty_page_s"]
    figures |= {
        "times_an_empty_page": whole / empty,
        "target_s": TARGET_S,
        "met": whole < TARGET_S,
        "typst": typst.__version__,
        "machine": platform.platform(),
        "python": platform.python_version(),
        "load": os.getloadavg()[0],
    }
    out = ROOT / "benchmarks" / "results" / "letter.json"
    out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(figures, indent=1))


if __name__ == "__main__":
    main()
