"""Work spread over other machines, by a Dask scheduler that somebody has started."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from typing import Any, TypeVar

from crowlight.errors import InputError, MissingExtra

__all__ = ["over_cluster"]

_Part = TypeVar("_Part")
_Answer = TypeVar("_Answer")

#: How long a scheduler, and the first worker, may take to answer [s].
_PATIENCE = 20


def over_cluster(
    address: str,
    work: Callable[[_Part], _Answer],
    parts: Iterable[_Part],
    *,
    same: Callable[[], str],
) -> Generator[_Answer]:
    """Run work on the workers of a Dask scheduler and yield the answers as they come.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``"tcp://192.0.2.7:8786"``.
    work : callable
        A function the workers can import; called once for each part.
    parts : iterable
        What it is called with; must pickle.
    same : callable
        Returns a digest of the code that decides the answers; every worker must return the same as
        here.

    Yields
    ------
    object
        Answers, in whatever order they come. If the caller stops, what has not begun is dropped.

    Raises
    ------
    MissingExtra
        If Dask is not installed here.
    InputError
        If nothing answers at the address, no worker is there, or one has other code.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        msg = (
            "work on other machines needs an extra part: pip install 'crowlight[cluster]', here and"
            " on each of them"
        )
        raise MissingExtra(msg) from None
    try:
        client = Client(address, timeout=_PATIENCE)
    except (OSError, ValueError) as error:
        msg = f"no Dask scheduler answers at {address!r} ({type(error).__name__}); start one with: "
        raise InputError(msg + "dask scheduler") from None
    with client:
        _check(client, address, same)
        futures: list[Any] = client.map(work, list(parts), pure=False)
        try:
            for future in as_completed(futures):
                yield future.result()
        finally:
            client.cancel(futures)


def _check(client: Any, address: str, same: Callable[[], str]) -> None:
    """Refuse workers that would answer otherwise than this machine."""
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except TimeoutError:
        msg = f"the scheduler at {address} has no worker; start one with: dask worker {address}"
        raise InputError(msg) from None
    here = same()
    for worker, there in client.run(same, on_error="return").items():
        if isinstance(there, BaseException):
            msg = f"the worker {worker} cannot run crowlight ({there}); install it there as here"
            raise InputError(msg)
        if there != here:
            msg = (
                f"the worker {worker} has other code ({there}) than this machine ({here}); install "
                "the same crowlight on both"
            )
            raise InputError(msg)
