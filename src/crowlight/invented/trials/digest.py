"""A digest of the code a trial ran on, so that results of different code are never mixed."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

__all__ = ["code_digest"]

#: Packages whose code decides how a trial comes out.
_PARTS = ("blade", "invented", "judge", "plan", "reed")


@cache
def code_digest() -> str:
    """Return twelve hexadecimal digits of the SHA-256 of all code and data a trial rests on."""
    total = hashlib.sha256()
    root = files("crowlight")
    for part in _PARTS:
        for name, text in sorted(_texts(root / part, part)):
            total.update(name.encode() + b"\0" + text + b"\0")
    return total.hexdigest()[:12]


def _texts(folder: Traversable, path: str) -> list[tuple[str, bytes]]:
    found: list[tuple[str, bytes]] = []
    for entry in folder.iterdir():
        name = f"{path}/{entry.name}"
        if entry.is_dir():
            found.extend(_texts(entry, name))
        elif entry.name.endswith((".py", ".toml")):
            found.append((name, entry.read_bytes()))
    return found
