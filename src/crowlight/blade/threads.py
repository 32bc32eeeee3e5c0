"""One BLAS thread while many small matrices are at work: more threads make it several times slower.

The limit holds for the whole process while a function runs, and is lifted afterwards.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]

P = ParamSpec("P")
R = TypeVar("R")


@lru_cache(maxsize=1)
def controller() -> ThreadpoolController:
    """Find the BLAS libraries once; looking them up takes milliseconds."""
    return ThreadpoolController()


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """Run a function with BLAS held to one thread."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        with controller().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return limited
