"""Kinds of entry about advice: what was advised, and how it turned out."""

from __future__ import annotations

from crowlight.bench.payload import Payload

__all__ = ["ADVICE_KINDS"]

ADVICE_KINDS: tuple[type[Payload], ...] = ()
