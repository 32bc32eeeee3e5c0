"""Kinds of entry about the workshop: posted reeds, their way through it, and their end."""

from __future__ import annotations

from crowlight.bench.payload import Payload

__all__ = ["WORKSHOP_KINDS"]

WORKSHOP_KINDS: tuple[type[Payload], ...] = ()
