"""Between what was typed into a form and a payload."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel, ValidationError

from crowlight.bench.kinds import KINDS, Payload
from crowlight.errors import InputError
from crowlight.report.words import Words, mark
from crowlight.web.field import Field
from crowlight.web.fields import FORMS
from crowlight.web.numbers import shown, typed_number

__all__ = ["Trouble", "Typed", "limits", "payload_of", "typed_of"]

#: What a form holds: name of the field, what was typed; several values for ticks.
Typed = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something wrong with a form.

    Parameters
    ----------
    field : str
        Name of the field; empty if it concerns the form as a whole.
    text : str
        What is wrong, with value, unit, limit and remedy.
    """

    field: str
    text: str


def payload_of(
    kind: str, typed: Typed, *, words: Words, more: Collection[str] = ()
) -> tuple[Payload | None, list[Trouble]]:
    """Read a form.

    Parameters
    ----------
    kind : str
        A key of `FORMS`.
    typed : Typed
        What was typed.
    words : Words
        The language of the messages.
    more : collection of str
        Choices the page offered beyond those of `FORMS`, where a field takes more.

    Returns
    -------
    payload : Payload or None
        None if anything is wrong.
    troubles : list of Trouble
        Everything that is wrong, in the order of the fields.
    """
    data: dict[str, Any] = {}
    troubles: list[Trouble] = []
    asked = _fields(kind, lambda name: next(iter(typed.get(name, ())), ""))
    for field in asked:
        values = [v.strip() for v in typed.get(field.name, ()) if v.strip()]
        if not values:
            if field.needed:
                text = words.say(mark("%(field)s is empty; fill it in"), field=words(field.label))
                troubles.append(Trouble(field.name, text))
            continue
        try:
            value = _value(field, values, words, more)
        except InputError as error:
            troubles.append(Trouble(field.name, f"{words(field.label)}: {error}"))
            continue
        *outer, last = field.name.split(".")
        place = data
        for name in outer:
            place = place.setdefault(name, {})
        place[last] = value
    if not data and not troubles and FORMS[kind].says_something:
        troubles.append(Trouble("", words(mark("Nothing is filled in; fill in what is known."))))
    if troubles:
        return None, troubles
    try:
        return KINDS[kind].model_validate(data), []
    except ValidationError as error:
        found = [_trouble(kind, asked, e, words) for e in error.errors(include_url=False)]
        order = [f.name for f in asked]
        return None, sorted(found, key=lambda t: order.index(t.field) if t.field in order else -1)


def _value(field: Field, values: Sequence[str], words: Words, more: Collection[str]) -> object:
    match field.kind:
        case "ticks":
            return tuple(values)
        case "number":
            number = typed_number(values[0], unit=field.unit, words=words)
            if field.whole:
                if number != int(number):
                    raise InputError(
                        words.say(mark("%(value)s must be a whole number"), value=values[0])
                    )
                return int(number)
            if 0.0 < number < field.least:
                raise InputError(_too_small(field, number, words))
            return number * field.factor + field.offset
        case "choice" if not _offered(field, values[0], more):
            text = mark("“%(value)s” is not one of the choices; choose again")
            raise InputError(words.say(text, value=values[0][:40]))
        case "choice" if field.name == "grade":
            return int(values[0])
        case _:
            return values[0]


def _too_small(field: Field, number: float, words: Words) -> str:
    """Say that a number is smaller than any that can be meant, and what may be meant."""
    unit, times = field.slip
    return words.say(
        mark("%(value)s can hardly be meant; if it was read in %(unit)s, type %(meant)s"),
        value=f"{shown(number)} {field.unit}",
        unit=words(unit),
        meant=f"{float(f'{number * times:.4g}'):g} {field.unit}",
    )


def _offered(field: Field, value: str, more: Collection[str]) -> bool:
    return value in dict(field.choices) or (field.more and value in more)


def _fields(kind: str, chosen: Callable[[str], str]) -> tuple[Field, ...]:
    """Return the fields of a form, each in the unit that was `chosen` for it."""
    return tuple(f.typed_in(chosen(f.unit_from)) if f.unit_from else f for f in FORMS[kind].fields)


def _trouble(kind: str, asked: Sequence[Field], error: Any, words: Words) -> Trouble:
    """Turn one error of the validation into a sentence in the units of the form."""
    name = ".".join(str(part) for part in error["loc"] if isinstance(part, str))
    field = next((f for f in asked if f.name == name), None)
    if field is None:
        return Trouble("", f"{name}: {error['msg']}")
    label = words(field.label)
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return Trouble(name, f"{label}: {cause}")
    if field.kind == "day":
        text = mark("%(field)s: “%(value)s” is no day; write it as year-month-day, like 2026-04-02")
        return Trouble(name, words.say(text, field=label, value=str(error["input"])[:40]))
    if error["type"] == "string_too_long":
        return Trouble(
            name,
            words.say(
                mark("%(field)s has %(length)s characters; the limit is %(limit)s: shorten it"),
                field=label,
                length=len(error["input"]),
                limit=error["ctx"]["max_length"],
            ),
        )
    if field.kind == "number" and isinstance(error["input"], (int, float)):
        return Trouble(name, _outside(field, error["input"], limits(KINDS[kind], name), words))
    return Trouble(
        name,
        words.say(
            mark("%(field)s: “%(value)s” is not one of the choices; choose again"),
            field=label,
            value=str(error["input"])[:40],
        ),
    )


def _outside(
    field: Field, value: float, bounds: tuple[float | None, float | None], words: Words
) -> str:
    """Say that a number is outside its limits, and what may have happened."""
    low, high = bounds

    def said(si: float) -> str:
        return f"{shown((si - field.offset) / field.factor)} {field.unit}".strip()

    def fits(si: float) -> bool:
        return (low is None or si > low) and (high is None or si < high)

    if low is not None and high is not None:
        rule = words.say(
            mark("must lie between %(low)s and %(high)s"), low=said(low), high=said(high)
        )
    elif low is not None:
        rule = words.say(mark("must not be below %(low)s"), low=said(low))
    else:
        rule = words.say(mark("must not be above %(high)s"), high=said(high or 0.0))
    typed = (value - field.offset) / field.factor
    meant = [(unit, typed * f / field.factor) for unit, f in field.mistaken if fits(typed * f)]
    others = [unit for unit, f in field.units if f != field.factor and fits(typed * f)]
    if meant:
        ask = mark("if it was read in %(unit)s, type %(value)s")
        remedy = "; ".join(
            words.say(ask, unit=words(unit), value=f"{float(f'{n:.4g}'):g} {field.unit}")
            for unit, n in meant
        )
    elif others:
        ask = mark("does the manometer show %(units)s?")
        remedy = words.say(ask, units=", ".join(others))
    elif any(fits(value * f) for f in (0.1, 10.0, 0.01, 100.0)):
        remedy = words(mark("is the decimal point in the right place?"))
    else:
        remedy = words(mark("measure again"))
    return f"{words(field.label)} = {said(value)} {rule}; {remedy}"


def limits(model: type[BaseModel], name: str) -> tuple[float | None, float | None]:
    """Return the lower and upper limit of a field, in SI units, as its model declares them.

    Examples
    --------
    >>> limits(KINDS["opening"], "height")
    (0.0, 0.005)
    """
    first, _, rest = name.partition(".")
    field = model.model_fields[first]
    if rest:
        return limits(field.annotation, rest)  # pyright: ignore[reportArgumentType]  # a model
    low = high = None
    found = list(field.metadata)
    for part in get_args(field.annotation):
        for item in getattr(part, "__metadata__", ()):
            found.extend(getattr(item, "metadata", [item]))
    for item in found:
        match item:
            case Gt(gt=limit) | Ge(ge=limit):
                low = float(limit)  # pyright: ignore[reportArgumentType]  # ours are numbers
            case Lt(lt=limit) | Le(le=limit):
                high = float(limit)  # pyright: ignore[reportArgumentType]  # ours are numbers
            case _:
                pass
    return low, high


def typed_of(kind: str, payload: Payload | None) -> dict[str, list[str]]:
    """Return what one would have typed to get this payload; for a form to start from."""
    data = payload.model_dump() if payload is not None else {}
    out: dict[str, list[str]] = {}
    for field in _fields(kind, lambda name: str(data.get(name, ""))):
        value: Any = data
        for name in field.name.split("."):
            value = value.get(name) if isinstance(value, dict) else None
        if value is None:
            continue
        if field.kind == "ticks":
            out[field.name] = [str(v) for v in value]
        elif field.kind == "number":
            out[field.name] = [shown((value - field.offset) / field.factor)]
        else:
            out[field.name] = [str(value)]
    return out
