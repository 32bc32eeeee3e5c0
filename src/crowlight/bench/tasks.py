"""Tasks that may run in another process, by name.

A task takes plain inputs and a `report` to call with the fraction done, and returns its result.
Modules are imported when a task first runs, so that naming a task costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from crowlight.bench.ports import Report
from crowlight.errors import InputError

__all__ = ["run_task"]


def _assess(inputs: Mapping[str, Any], report: Report) -> Any:
    from crowlight.bench.assess import assess

    return assess(inputs, report)


def _listen(inputs: Mapping[str, Any], report: Report) -> Any:
    from crowlight.bench.sounds import listen

    return listen(inputs, report)


def _mechanics(inputs: Mapping[str, Any], report: Report) -> Any:
    from crowlight.bench.mechanics import mechanics

    return mechanics(inputs, report)


_TASKS: dict[str, Callable[[Mapping[str, Any], Report], Any]] = {
    "assess": _assess,
    "listen": _listen,
    "mechanics": _mechanics,
}


def run_task(task: str, inputs: Mapping[str, Any], report: Report) -> Any:
    """Run a task in this process.

    Parameters
    ----------
    task : str
        Its name.
    inputs : mapping
        Its inputs.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    object
        Its result.

    Raises
    ------
    InputError
        If there is no such task.
    """
    if task not in _TASKS:
        msg = f"no task is called {task!r}"
        raise InputError(msg)
    return _TASKS[task](inputs, report)
