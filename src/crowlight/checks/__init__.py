"""Published cases: the one place where crowlight is held against numbers it did not make.

``crowlight verify`` and ``tests/published`` run the same cases from here.
"""

from crowlight.checks.case import Check

__all__ = ["Check"]
