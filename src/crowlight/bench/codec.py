"""Results as JSON and back."""

from __future__ import annotations

import json
from functools import cache
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter

__all__ = ["PLAIN", "Codec", "PlainCodec"]

T = TypeVar("T")


@cache
def _adapter(kind: type[Any]) -> TypeAdapter[Any]:
    """Return the reader of a type: building one takes far longer than using it."""
    return TypeAdapter(kind)


class Codec(Generic[T]):
    """Turns one type of frozen dataclass into bytes and back.

    NaN and infinity survive: they mean "not measured" and "known for certain".

    Parameters
    ----------
    kind : type
        The dataclass.
    """

    def __init__(self, kind: type[T]) -> None:
        self._adapter: TypeAdapter[T] = _adapter(kind)

    def to_bytes(self, value: T) -> bytes:
        """Return a value as JSON."""
        return PLAIN.to_bytes(self._adapter.dump_python(value, mode="json"))

    def from_bytes(self, data: bytes) -> T:
        """Read what `to_bytes` wrote."""
        return self._adapter.validate_python(PLAIN.from_bytes(data))


class PlainCodec:
    """Turns plain values into JSON and back."""

    def to_bytes(self, value: Any) -> bytes:
        """Return a value as JSON."""
        return json.dumps(value, separators=(",", ":")).encode()

    def from_bytes(self, data: bytes) -> Any:
        """Read what `to_bytes` wrote."""
        return json.loads(data)


PLAIN = PlainCodec()
