"""Tasks that may run in another process, by name.

A task takes plain inputs and a `report` to call with the fraction done, and returns its result.
Modules are imported when a task is first needed, so that naming a task costs nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from crowlight.bench.codec import PLAIN, Codec, PlainCodec
from crowlight.bench.ports import Report
from crowlight.errors import InputError

__all__ = ["Run", "Task", "result_key", "run_task", "task_named"]

Run = Callable[[Mapping[str, Any], Report], Any]


@dataclass(frozen=True, slots=True)
class Task:
    """A task.

    Parameters
    ----------
    version : int
        Goes up whenever the same inputs would give another result: results kept under another
        version are not looked at again.
    load : callable
        Imports it; returns the function and the codec of its results.
    """

    version: int
    load: Callable[[], tuple[Run, Codec[Any] | PlainCodec]]


def _advise() -> tuple[Run, Any]:
    from crowlight.bench.advise import AnsweredCodec, advise

    return advise, AnsweredCodec()


def _reed_shape() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.shape import Kept, kept_shape

    return kept_shape, Codec(Kept)


def _assess() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.assess import Assessment, assess

    return assess, Codec(Assessment)


def _batch() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.batch_found import BatchFound, batch_found

    return batch_found, Codec(BatchFound)


def _batch_reed() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.batch_reed import BatchReed, batch_reed

    return batch_reed, Codec(BatchReed)


def _mechanics() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.mechanics import BladesShown, mechanics

    return mechanics, Codec(BladesShown)


def _calibrate() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.calibration import Calibrated, calibrate

    return calibrate, Codec(Calibrated)


def _own_style() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.styles import own_style_text

    return own_style_text, PLAIN


def _leverage() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.cuts import Leverage
    from crowlight.bench.whatif import leverage

    return leverage, Codec(Leverage)


def _what_if() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.whatif import Outcome, what_if

    return what_if, Codec(Outcome)


def _warm() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.warm import Warmed, warm

    return warm, Codec(Warmed)


def _listen() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.sounds import listen

    return listen, PLAIN


def _light() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.lit import LightFound, light

    return light, Codec(LightFound)


def _travel() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.air import travel

    return travel, PLAIN


def _crow() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.air import crow_model

    return crow_model, PLAIN


def _crow_sound() -> tuple[Run, Codec[Any] | PlainCodec]:
    from crowlight.bench.air import model_sound

    return model_sound, PLAIN


_TASKS: Mapping[str, Task] = {
    "advise": Task(6, _advise),
    "assess": Task(8, _assess),
    "batch": Task(7, _batch),
    "batch-reed": Task(2, _batch_reed),
    "calibrate": Task(4, _calibrate),
    "crow": Task(2, _crow),
    "crow-sound": Task(2, _crow_sound),
    "leverage": Task(2, _leverage),
    "light": Task(1, _light),
    "listen": Task(3, _listen),
    "mechanics": Task(7, _mechanics),
    "own-style": Task(1, _own_style),
    "reed-shape": Task(1, _reed_shape),
    "travel": Task(3, _travel),
    "warm": Task(1, _warm),
    "what-if": Task(2, _what_if),
}


def task_named(name: str) -> Task:
    """Return a task.

    Raises
    ------
    InputError
        If there is no such task.
    """
    if name not in _TASKS:
        msg = f"no task is called {name!r}"
        raise InputError(msg)
    return _TASKS[name]


def run_task(name: str, inputs: Mapping[str, Any], report: Report) -> Any:
    """Run a task in this process.

    Parameters
    ----------
    name : str
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
    run, _ = task_named(name).load()
    return run(inputs, report)


def result_key(name: str, inputs: Mapping[str, Any]) -> str:
    """Return the key under which the result of a task for these inputs is kept."""
    told = TypeAdapter(dict[str, Any]).dump_json(dict(inputs))
    head = f"{name} {task_named(name).version}\0".encode()
    return hashlib.sha256(head + told).hexdigest()
