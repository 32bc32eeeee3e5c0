"""Files named on the command line."""

from __future__ import annotations

from pathlib import Path

from crowlight.errors import CannotWrite, InputError

__all__ = ["read_bytes", "write_bytes", "write_text"]


def read_bytes(path: Path) -> bytes:
    """Read a file; a sentence instead of a traceback if it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        msg = f"{path} cannot be read ({error.strerror}); check its name and that it may be read"
        raise InputError(msg) from None


def write_text(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file of bytes whole or not at all."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            part.write_bytes(data)
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    except OSError as error:
        msg = f"{path} cannot be written ({error.strerror}); name another place"
        raise CannotWrite(msg) from None
