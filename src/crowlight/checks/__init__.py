"""Published cases: the one place where crowlight is held against numbers it did not make.

``crowlight verify`` and ``tests/published`` run the same cases from here.
"""

from collections.abc import Iterator

from crowlight.checks.case import Check

__all__ = ["Check", "all_cases"]


def all_cases() -> Iterator[Check]:
    """Yield every published case, topic by topic.

    A topic is a module with a function ``cases``; it is listed here when it is added.
    """
    from crowlight.checks import measurement

    for topic in (measurement,):
        yield from topic.cases()
