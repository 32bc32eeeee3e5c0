"""Jobs in spawned processes.

Each worker is one process with BLAS held to one thread, so that two workers use two cores and no
more. Jobs with the same `sticky` word go to the same worker, which keeps what it has imported and
computed warm. A worker that dies takes only its own job with it and is replaced.
"""

from __future__ import annotations

import itertools
import os
import queue
import threading
import zlib
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from crowlight.bench.tasks import run_task
from crowlight.errors import Cancelled, CrowlightError

__all__ = ["DirectJobs", "ProcessJobs"]

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


_environment = threading.Lock()


@contextmanager
def _one_thread() -> Iterator[None]:
    """Hold BLAS to one thread in whatever process starts inside: it reads this only once."""
    with _environment:
        before = {k: os.environ.get(k) for k in _ONE_THREAD}
        os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
        try:
            yield
        finally:
            for key, value in before.items():
                if value is None:
                    del os.environ[key]
                else:
                    os.environ[key] = value


class DirectJob:
    """A job that was run when it was submitted."""

    def __init__(self, task: str, inputs: Mapping[str, Any]) -> None:
        self._result: Any = None
        self._error: CrowlightError | None = None
        try:
            self._result = run_task(task, inputs, lambda _: None)
        except CrowlightError as error:
            self._error = error

    def progress(self) -> float:
        """Return 1: it is done."""
        return 1.0

    def cancel(self) -> None:
        """Do nothing: it is done."""

    def result(self, timeout: float | None = None) -> Any:
        """Return the result; see `crowlight.bench.ports.Job`."""
        if self._error is not None:
            raise self._error
        return self._result


class DirectJobs:
    """Runs each task at once in this process: for the command line, where nobody else waits."""

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> DirectJob:
        """Run a task; see `crowlight.bench.ports.Jobs`."""
        return DirectJob(task, inputs)

    def close(self) -> None:
        """Do nothing."""


class ProcessJob:
    """A job given to a worker."""

    def __init__(self) -> None:
        self.future: Future[Any] = Future()
        self.fraction = 0.0
        self.cancelled = threading.Event()

    def progress(self) -> float:
        """Return the fraction done."""
        return 1.0 if self.future.done() else self.fraction

    def cancel(self) -> None:
        """Ask it to stop."""
        self.cancelled.set()

    def result(self, timeout: float | None = None) -> Any:
        """Wait for the result; see `crowlight.bench.ports.Job`."""
        return self.future.result(timeout)


class ProcessJobs:
    """Runs tasks in spawned processes; implements the port `Jobs`.

    Parameters
    ----------
    workers : int, optional
        Number of processes; as many as there are cores, at most four, if not given. They start
        with their first job.
    """

    def __init__(self, workers: int | None = None) -> None:
        count = workers or min(os.cpu_count() or 1, 4)
        self._workers = [_Worker() for _ in range(count)]
        self._turn = itertools.count()

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> ProcessJob:
        """Start a task; see `crowlight.bench.ports.Jobs`."""
        pick = zlib.crc32(sticky.encode()) if sticky else next(self._turn)
        job = ProcessJob()
        self._workers[pick % len(self._workers)].give(job, task, dict(inputs))
        return job

    def close(self) -> None:
        """Cancel what is waiting and stop the processes."""
        for worker in self._workers:
            worker.close()


class _Worker:
    """One process, and the thread that feeds it."""

    def __init__(self) -> None:
        self._waiting: queue.SimpleQueue[tuple[ProcessJob, str, dict[str, Any]] | None] = (
            queue.SimpleQueue()
        )
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()
        self._closed = False
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None

    def give(self, job: ProcessJob, task: str, inputs: dict[str, Any]) -> None:
        with self._lock:
            if self._closed:
                job.future.set_exception(Cancelled("crowlight is closing"))
                return
            if self._thread is None:
                self._thread = threading.Thread(target=self._feed, daemon=True)
                self._thread.start()
        self._waiting.put((job, task, inputs))

    def close(self) -> None:
        with self._lock:
            self._closed = True
            thread = self._thread
        self._waiting.put(None)
        if thread is not None:
            thread.join(timeout=10)

    def _feed(self) -> None:
        while (item := self._waiting.get()) is not None:
            job, task, inputs = item
            if job.cancelled.is_set() or self._closed:
                job.future.set_exception(Cancelled("stopped before it began"))
                continue
            try:
                job.future.set_result(self._run(job, task, inputs))
            except BaseException as error:  # noqa: BLE001  (it is handed to whoever waits)
                job.future.set_exception(error)
        self._stop()

    def _run(self, job: ProcessJob, task: str, inputs: dict[str, Any]) -> Any:
        pipe = self._started()
        try:
            pipe.send((task, inputs))
            told = False
            while True:
                if (job.cancelled.is_set() or self._closed) and not told:
                    pipe.send("cancel")
                    told = True
                if not pipe.poll(0.05):
                    continue
                word, value = pipe.recv()
                if word == "fraction":
                    job.fraction = value
                elif word == "result":
                    return value
                else:
                    raise value
        except (EOFError, ConnectionError):
            self._stop()
            msg = (
                f"the process computing {task!r} ended before its result; nothing kept was "
                f"touched: try again, and report it if it happens again"
            )
            raise CrowlightError(msg) from None

    def _started(self) -> Connection:
        if self._pipe is None or self._process is None or not self._process.is_alive():
            self._stop()
            context = get_context("spawn")
            self._pipe, theirs = context.Pipe()
            self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
            with _one_thread():
                self._process.start()
            theirs.close()
        return self._pipe

    def _stop(self) -> None:
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.join(timeout=2)
            if self._process.is_alive():
                self._process.kill()
                self._process.join()
            self._process.close()
        self._pipe = self._process = None


def _serve(pipe: Connection) -> None:
    """Run tasks until the pipe closes; the body of a worker process."""

    def report(fraction: float) -> None:
        while pipe.poll():
            if pipe.recv() == "cancel":
                msg = "stopped as asked"
                raise Cancelled(msg)
        pipe.send(("fraction", float(fraction)))

    try:
        while True:
            message = pipe.recv()
            if message == "cancel":  # came after its job was done
                continue
            task, inputs = message
            try:
                answer = ("result", run_task(task, inputs, report))
            except CrowlightError as error:
                answer = ("error", error)
            except Exception as error:  # noqa: BLE001  (a bug must reach the one who waits)
                answer = (
                    "error",
                    CrowlightError(f"{task} failed: {type(error).__name__}: {error}"),
                )
            pipe.send(answer)
    except (EOFError, ConnectionError, KeyboardInterrupt):
        return
