"""The port a folder of records was served on last.

A browser keeps what is not sent yet by the address it was typed at, the port included: on another
port it would not be found again.
"""

from __future__ import annotations

import contextlib
import os
import socket
from pathlib import Path

from crowlight.errors import InputError
from crowlight.wiring.desks import data_folder

__all__ = ["listen"]

_NAME = "last-port"


def listen(folder: Path | None, port: int = 0) -> socket.socket:
    """Return a socket bound to a port of this machine alone.

    Parameters
    ----------
    folder : Path or None
        The records; the user's own if None.
    port : int
        The port; 0 takes the one of last time, or a free one if that is taken.

    Raises
    ------
    InputError
        If the port cannot be used.
    """
    place = data_folder(folder) / _NAME
    tried = [port] if port else [_last(place), 0]
    for number in tried:
        listener = socket.socket()
        if os.name == "posix":  # elsewhere two programs could share the port then
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", number))
        except OSError as error:
            listener.close()
            if number == tried[-1]:
                why = error.strerror
                msg = f"port {number} cannot be used ({why}); name another, or 0 for a free one"
                raise InputError(msg) from None
            continue
        with contextlib.suppress(OSError):  # a folder that may only be read is served all the same
            place.write_text(f"{listener.getsockname()[1]}\n", encoding="ascii")
        return listener
    raise AssertionError  # the last one tried either returned or raised


def _last(place: Path) -> int:
    try:
        text = place.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return 0
    return int(text) if text.isdecimal() and 1024 <= int(text[:6]) <= 65_535 else 0
