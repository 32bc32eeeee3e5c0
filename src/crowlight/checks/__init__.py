"""Published cases: the one place where crowlight is held against numbers it did not make.

``crowlight verify`` and ``tests/published`` run the same cases from here.
"""

from collections.abc import Iterator

from crowlight.checks.case import Check

__all__ = ["Check", "all_cases"]


def all_cases() -> Iterator[Check]:
    """Yield every published case, topic by topic.

    A topic is a module with a function ``cases``; it is listed here when it is added, and a test
    sees to it that none is left out.
    """
    from crowlight.checks import (
        air,
        batches,
        bayes,
        bore,
        calibration,
        learning,
        maps,
        measurement,
        moisture,
        plates_and_shells,
        sound,
    )

    for topic in (
        measurement,
        maps,
        plates_and_shells,
        sound,
        air,
        moisture,
        bore,
        bayes,
        calibration,
        batches,
        learning,
    ):
        yield from topic.cases()
