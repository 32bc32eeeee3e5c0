"""Results as JSON and back, whatever dataclass they are."""

from __future__ import annotations

import json
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter

__all__ = ["Codec"]

T = TypeVar("T")


class Codec(Generic[T]):
    """Turns one type of frozen dataclass into bytes and back.

    NaN and infinity survive: they mean "not measured" and "known for certain".

    Parameters
    ----------
    kind : type
        The dataclass.
    """

    def __init__(self, kind: type[T]) -> None:
        self._adapter: TypeAdapter[T] = TypeAdapter(kind)

    def to_bytes(self, value: T) -> bytes:
        """Return a value as JSON."""
        plain = self._adapter.dump_python(value, mode="json")
        return json.dumps(plain, separators=(",", ":")).encode()

    def from_bytes(self, data: bytes) -> T:
        """Read what `to_bytes` wrote."""
        plain: Any = json.loads(data)
        return self._adapter.validate_python(plain)
