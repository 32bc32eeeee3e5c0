"""Computations that take longer than a page may: under way in a thread, asked about again.

A page asks for a result; if it is not there within a moment, the page says how far it is and asks
again by itself. Results are kept by the desk, so that what was computed once is there at once.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from typing import Any, Generic, TypeVar

from crowlight.bench.desk import Desk
from crowlight.bench.ports import Job, Jobs

__all__ = ["Ready", "Running", "UnderWay"]

T = TypeVar("T")

#: How long a result that nobody came back for is held [s].
_HELD = 600.0
#: Most computations under way at once; one more waits its turn.
_MOST = 4


@dataclass(frozen=True, slots=True)
class Ready(Generic[T]):
    """A result."""

    value: T


@dataclass(frozen=True, slots=True)
class UnderWay:
    """No result yet.

    Parameters
    ----------
    fraction : float
        How much is done, 0 to 1.
    seconds : float
        How long it has been computing.
    """

    fraction: float
    seconds: float


class _Watched:
    """Passes jobs on and remembers the latest, to ask how far it is."""

    def __init__(self, jobs: Jobs) -> None:
        self._jobs = jobs
        self.latest: Job | None = None

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> Job:
        """Start a task; see `crowlight.bench.ports.Jobs`."""
        self.latest = self._jobs.submit(task, inputs, sticky=sticky)
        return self.latest

    def close(self) -> None:
        """Do nothing: they are somebody else's."""


@dataclass(slots=True)
class _Task:
    watched: _Watched
    lane: Hashable = None
    future: Future[Any] = field(default_factory=Future)
    since: float = field(default_factory=time.monotonic)


class Running:
    """Computations under way, by what they are about.

    Parameters
    ----------
    patience : float
        How long a page waits before it says that it is computing [s].
    """

    def __init__(self, *, patience: float = 0.4) -> None:
        self.patience = patience
        self._tasks: dict[Hashable, _Task] = {}
        self._lock = threading.Lock()
        self._places = threading.Semaphore(_MOST)

    def ask(
        self,
        key: Hashable,
        desk: Desk,
        compute: Callable[[Desk], T],
        *,
        lane: Hashable = None,
        patience: float = 0.0,
    ) -> Ready[T] | UnderWay:
        """Return a result, or how far it is; the first to ask starts it.

        Parameters
        ----------
        key : hashable
            What it is about; must change whenever the result would.
        desk : Desk
            The desk.
        compute : callable
            Computes it with the desk it is given.
        lane : hashable, optional
            What only the newest question counts of: older ones are cancelled.
        patience : float
            How long to wait at least [s], where most answers take about so long.

        Raises
        ------
        CrowlightError
            What the computation raised; asking again starts it anew.
        """
        with self._lock:
            self._forget()
            task = self._tasks.get(key)
            if task is None:
                self._clear(lane)
                task = self._tasks[key] = _Task(_Watched(desk.jobs), lane)
                watching = replace(desk, jobs=task.watched)
                thread = threading.Thread(
                    target=self._compute, args=(task, watching, compute), daemon=True
                )
                thread.start()
        try:
            value = task.future.result(timeout=max(self.patience, patience))
        except TimeoutError:
            job = task.watched.latest
            return UnderWay(job.progress() if job else 0.0, time.monotonic() - task.since)
        except BaseException:
            self._drop(key, task)
            raise
        self._drop(key, task)
        return Ready(value)

    def _compute(self, task: _Task, desk: Desk, compute: Callable[[Desk], Any]) -> None:
        with self._places:
            try:
                task.future.set_result(compute(desk))
            except BaseException as error:  # noqa: BLE001  (it is raised where it is asked about)
                task.future.set_exception(error)

    def _drop(self, key: Hashable, task: _Task) -> None:
        with self._lock:
            if self._tasks.get(key) is task:
                del self._tasks[key]

    def _clear(self, lane: Hashable) -> None:
        if lane is None:
            return
        for key, task in list(self._tasks.items()):
            if task.lane == lane:
                if (job := task.watched.latest) is not None:
                    job.cancel()
                del self._tasks[key]

    def _forget(self) -> None:
        now = time.monotonic()
        for key, task in list(self._tasks.items()):
            if task.future.done() and now - task.since > _HELD:
                del self._tasks[key]
