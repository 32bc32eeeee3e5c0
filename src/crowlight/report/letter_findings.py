"""What a letter says of thickness: differences in plain words, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from crowlight.bench.assess import Judged
from crowlight.bench.moments import Sheet
from crowlight.bench.story import Story
from crowlight.judge import Outcome
from crowlight.judge.geometry import Against, Finding, Quantity
from crowlight.reed import Blade, Side
from crowlight.report.finding import difference_of, interval_of, more, unit_of, what, zone_name
from crowlight.report.words import Words, mark

__all__ = [
    "Change",
    "capital",
    "compared_said",
    "differing",
    "found_said",
    "mapped_group",
    "named",
    "one_change",
    "sentence",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change a player with a knife may try: where a side or a blade is the thicker one."""

    zone: str
    blade: Blade
    side: Side | None
    finding: Finding


def mapped_group(sheet: Sheet) -> Judged | None:
    """Return the readings of a reed that have a thickness map; the largest group of them."""
    groups = sheet.assessment.groups if sheet.assessment else ()
    return next((g for g in groups if g.mapped is not None), None)


def _findings(sheet: Sheet) -> tuple[Finding, ...]:
    group = mapped_group(sheet)
    return group.mapped.geometry.findings if group and group.mapped else ()


def differing(sheet: Sheet) -> tuple[Finding, ...]:
    """Return what differs on a reed's map, the surest first."""
    group = mapped_group(sheet)
    return group.mapped.geometry.differing() if group and group.mapped else ()


#: Follow from the thickness of the same zone; told only where that does not differ.
_FALLS = frozenset({Quantity.SIDE_DROP, Quantity.CORNER_DROP})


def named(sheet: Sheet) -> list[Finding]:
    """Return what differs, thickness first, without what only says the same again."""
    found = differing(sheet)
    thick = [f for f in found if f.quantity is Quantity.THICKNESS]
    zones = {f.zone for f in thick}
    rest = [f for f in found if f.quantity is not Quantity.THICKNESS]
    return thick + [f for f in rest if not (f.quantity in _FALLS and f.zone in zones)]


def found_said(story: Story, words: Words, *, most: int) -> str:
    """Say what was found before anything was done, at most so many differences one by one."""
    group = mapped_group(story.arrival)
    if group is None:
        return words(
            mark(
                "I have not measured the thickness of the blades, so I cannot say in numbers what "
                "differs."
            )
        )
    made = [f for f in _findings(story.arrival) if f.decision.outcome is not Outcome.NOT_MEASURED]
    told = named(story.arrival)
    out = [
        words.say(
            mark(
                "I measured the thickness of both blades, %(readings)s readings in all, and made "
                "%(made)s comparisons: left with right, one blade with the other, and this reed "
                "with what is usual for its kind of scrape."
            ),
            readings=words.number(len(group.readings), 0),
            made=words.number(len(made), 0),
        )
    ]
    if not told:
        out.append(
            words(
                mark(
                    "In none of them is there a difference that my gauge can tell from none. A "
                    "smaller one may be there unseen. From thickness alone I cannot say why it "
                    "plays as you wrote."
                )
            )
        )
        return "\n\n".join(out)
    out.append(words(mark("What differs by more than the gauge is in doubt:")))
    out.append("\n".join(f"- {sentence(f, words)}" for f in told[:most]))
    if len(told) > most:
        out.append(
            words.count("One more differs less.", "%(num)s more differ less.", len(told) - most)
        )
    if again := len(differing(story.arrival)) - len(told):
        out.append(
            words.count(
                "One more says the same again of a place named here, measured otherwise.",
                "%(num)s more say the same again of places named here, measured otherwise.",
                again,
            )
        )
    risk = group.mapped.geometry.risk if group.mapped else 0.05
    out.append(
        words.say(
            mark(
                "The range in brackets is where the true difference lies with %(sure)s %% "
                "probability: for all comparisons within the reed together, and again for those "
                "with what is usual. A sheet of paper is about 0.1 mm thick."
            ),
            sure=words.number(100.0 * (1.0 - risk), 0),
        )
    )
    return "\n\n".join(out)


_SIDE_THICKER: Mapping[Side, str] = {
    Side.LEFT: mark(
        "%(zone)s of the %(blade)s: the left side is thicker than the right, by %(by)s (%(range)s)."
    ),
    Side.RIGHT: mark(
        "%(zone)s of the %(blade)s: the right side is thicker than the left, by %(by)s (%(range)s)."
    ),
}


def sentence(f: Finding, words: Words) -> str:
    """Say one difference in plain words, with its interval in millimetres."""
    d = f.decision
    if f.quantity is not Quantity.THICKNESS:
        text = mark("%(what)s: %(more)s, by %(by)s (%(range)s).")
        return words.say(
            text,
            what=capital(what(f, words)),
            more=more(f, words),
            by=difference_of(f, words, signed=False),
            range=interval_of(f, words),
        )
    by, span = words.mm(abs(d.value), 3), words.span(d.low, d.high)
    zone = capital(zone_name(f.zone or "", words))
    if f.against is Against.SIDES and f.blade is not None:
        side = Side.LEFT if d.value >= 0 else Side.RIGHT
        text, blade = _SIDE_THICKER[side], words.blade(f.blade)
        return words.say(text, zone=zone, blade=blade, by=by, range=span)
    if f.against is Against.BLADES:
        text = mark("%(zone)s: the %(blade)s is thicker than the other, by %(by)s (%(range)s).")
        blade = words.blade(Blade.MARKED if d.value >= 0 else Blade.PLAIN)
        return words.say(text, zone=zone, blade=blade, by=by, range=span)
    thicker = mark("%(zone)s of the %(blade)s: thicker than is usual, by %(by)s (%(range)s).")
    thinner = mark("%(zone)s of the %(blade)s: thinner than is usual, by %(by)s (%(range)s).")
    blade = words.blade(f.blade) if f.blade else words(mark("two blades"))
    text = thicker if d.value >= 0 else thinner
    return words.say(text, zone=zone, blade=blade, by=by, range=span)


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def compared_said(story: Story, words: Words) -> Iterator[str]:
    """Say of each difference that was named how it is now."""
    now = {_key(f): f for f in _findings(story.now)}
    lines: list[str] = []
    for old in named(story.arrival)[:6]:
        new = now.get(_key(old))
        if new is None or new.decision.outcome is Outcome.NOT_MEASURED:
            continue
        factor, unit, digits = unit_of(old)
        turned = old.decision.value * new.decision.value < 0
        before, after = (
            words.number(value if turned else abs(value), digits)
            for value in (factor * old.decision.value, factor * new.decision.value)
        )
        text = (
            mark("- %(what)s: %(before)s %(unit)s apart before, %(after)s now; still a difference.")
            if new.decision.outcome is Outcome.DIFFERS
            else mark(
                "- %(what)s: %(before)s %(unit)s apart before, %(after)s now, which the gauge "
                "cannot tell from none."
            )
        )
        values = {"before": before, "after": after, "unit": unit}
        lines.append(words.say(text, what=_pair(old, words), **values))
    if lines:
        yield words(mark("I measured again afterwards:"))
        yield "\n".join(lines)


def _pair(f: Finding, words: Words) -> str:
    """Say which two are compared."""
    if f.quantity is not Quantity.THICKNESS:
        return capital(what(f, words))
    zone = capital(zone_name(f.zone or "", words))
    if f.against is Against.BLADES:
        return words.say(mark("%(zone)s, one blade and the other"), zone=zone)
    blade = words.blade(f.blade) if f.blade else words(mark("two blades"))
    if f.against is Against.SIDES:
        return words.say(mark("%(zone)s of the %(blade)s, left and right"), zone=zone, blade=blade)
    return words.say(
        mark("%(zone)s of the %(blade)s, it and what is usual"), zone=zone, blade=blade
    )


def _key(f: Finding) -> tuple[Quantity, Against, str | None, Blade | None, Side | None]:
    return f.quantity, f.against, f.zone, f.blade, f.side


def one_change(story: Story) -> Change | None:
    """Return the surest difference that is left where the thicker of two places can be dusted."""
    for f in differing(story.now):
        if f.quantity is not Quantity.THICKNESS or f.zone not in {"tip", "transition", "heart"}:
            continue
        positive = f.decision.value >= 0
        if f.against is Against.SIDES and f.blade is not None:
            side = Side.LEFT if positive else Side.RIGHT
            return Change(zone=f.zone, blade=f.blade, side=side, finding=f)
        if f.against is Against.BLADES:
            blade = Blade.MARKED if positive else Blade.PLAIN
            return Change(zone=f.zone, blade=blade, side=f.side, finding=f)
    return None
