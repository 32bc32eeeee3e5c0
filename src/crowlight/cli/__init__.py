"""The command line: thin doors to the desk.

Modules of this package import what they need inside their commands, so that ``crowlight --help``
loads neither numpy nor scipy nor sqlalchemy.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import threading
import traceback
from contextlib import suppress
from pathlib import Path

from crowlight.cli.app import app
from crowlight.errors import CrowlightError

__all__ = ["app", "main"]


def main() -> None:
    """Run the command line; errors become sentences and an exit status."""
    # Read once, when numpy is first imported: the problems here are small, and threads that wait
    # for each other on a busy machine cost more than they bring.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if threading.current_thread() is threading.main_thread():
        # Ended from outside, half-made files are taken away as after Ctrl+C.
        signal.signal(signal.SIGTERM, _ended)
    try:
        app()
    except CrowlightError as error:
        _say(f"crowlight: {error}")
        sys.exit(1)
    except BrokenPipeError:
        sys.exit(1)
    except Exception as error:  # noqa: BLE001  (the one place where a bug becomes a sentence)
        _say(
            f"crowlight met a fault of its own ({type(error).__name__}: {error}).\n"
            f"Every entry is kept whole or not at all, and what was kept before is as it was; a "
            f"command that writes several may have written the first of them: look before you "
            f"repeat it. {_details(error)}"
        )
        sys.exit(70)


def _ended(number: int, _frame: object) -> None:
    sys.exit(128 + number)


def _details(error: Exception) -> str:
    """Write a traceback into a file; return where it is, or why it is not."""
    name = ""
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="crowlight-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            name = file.name
            traceback.print_exception(error, file=file)
    except OSError as hindered:
        if name:
            with suppress(OSError):
                Path(name).unlink()  # it is cut short
        last = traceback.extract_tb(error.__traceback__)[-1]
        return (
            f"The details could not be written ({hindered.strerror or hindered}); please report "
            f"that it was in {last.filename}, line {last.lineno}, {last.name}."
        )
    return f"The details are in {name}; please report them."


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
