"""What the player may expect of a reed at their altitude and in their air, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from crowlight.bench.story import Story
from crowlight.report.journey_rows import CLIMATES
from crowlight.report.words import Words, mark

__all__ = ["expected"]

#: What a player feels, by the effect of the model: if less, if more, if either.
_FELT: Mapping[str, tuple[str, str, str]] = {
    "threshold": (
        mark("A middle note starts %(low)s to %(high)s %% easier."),
        mark("A middle note starts %(low)s to %(high)s %% harder."),
        mark(
            "A middle note starts anywhere from %(less)s %% easier to %(more)s %% harder: which, "
            "cannot be told."
        ),
    ),
    "low-threshold": (
        mark("A low note starts %(low)s to %(high)s %% easier."),
        mark("A low note starts %(low)s to %(high)s %% harder."),
        mark(
            "A low note starts anywhere from %(less)s %% easier to %(more)s %% harder: which, "
            "cannot be told."
        ),
    ),
    "pitch": (
        mark("A middle note sounds %(low)s to %(high)s cents lower."),
        mark("A middle note sounds %(low)s to %(high)s cents higher."),
        mark(
            "A middle note sounds anywhere from %(less)s cents lower to %(more)s cents higher: "
            "which, cannot be told."
        ),
    ),
}
#: Advice that is of use to somebody who gets a finished reed.
_FOR_PLAYERS = frozenset(
    {"nothing-to-do", "no-thinning", "settle-there", "may-need-clip", "play-first"}
    | {"dry-there", "damp-there"}
)
#: Of that, what means nothing without a knife, or on the level.
_WITH_KNIFE = frozenset({"no-thinning", "settle-there", "may-need-clip"})


def expected(story: Story, words: Words) -> Iterator[str]:
    """Yield the paragraphs about the place where the reed will be played."""
    if story.to is None or story.home is None:
        yield words(
            mark(
                "I do not know how high above the sea and in what air you play, so I cannot say "
                "what the place does to the reed. Please tell me."
            )
        )
        return
    yield " ".join(_places(story, words))
    told = story.travel
    if told is None:
        if story.no_travel:
            yield words(mark("My model has no answer for this reed, so I foretell nothing."))
        return
    rows = [line for e in told["effects"] if (line := _felt(e, words))]
    if rows:
        yield words(mark("Against how it plays here, by a model of reed and air:"))
        yield "\n".join(f"- {line}" for line in rows)
        yield words(
            mark(
                "These are ranges that hold nine times in ten if the model is right; it was not "
                "tested on your oboe. Weather and your own breath are not in it."
            )
        )
    advice = [a for a in told["advice"] if a["code"] in _FOR_PLAYERS]
    if not story.uses_knife or told["direction"] == "level":
        advice = [a for a in advice if a["code"] not in _WITH_KNIFE]
    if advice:
        yield "\n".join(f"- {words(a['text'])}{_basis(a['basis'], words)}" for a in advice)


def _basis(basis: str, words: Words) -> str:
    return "" if basis == "physics" else f" {words(mark('(Common practice.)'))}"


def _places(story: Story, words: Words) -> Iterator[str]:
    home, to = story.home, story.to
    if home is None or to is None:
        return
    high, low = (words.number(site.altitude or 0.0, 0) for site in (to, home))
    yield words.say(
        mark("You play %(there)s m above sea level; my workshop lies at %(here)s m."),
        there=high,
        here=low,
    )
    if story.travel is not None:
        share = words.number(100.0 * story.travel["density_ratio"], 0)
        if share == words.number(100.0, 0):
            yield words(mark("The air there is as dense as here."))
        else:
            yield words.say(mark("The air there is %(share)s %% as dense as here."), share=share)
    if to.humidity is not None:
        told = words.number(100.0 * to.humidity, 0)
        yield words.say(mark("The air of the hall: %(humidity)s %% humidity."), humidity=told)
    else:
        climate = words(CLIMATES.get(to.season, to.season))
        text = mark("Nobody measured the air of the hall; I took what is usual: %(climate)s.")
        yield words.say(text, climate=climate)


def _felt(effect: Mapping[str, Any], words: Words) -> str:
    """Say one effect; empty for one that a player does not feel as such."""
    if effect["name"] not in _FELT:
        return ""
    less, more, either = _FELT[effect["name"]]
    part = effect["together"]
    factor = 100.0 if effect["unit"] == "1" else 1.0
    low, high = factor * part["low"], factor * part["high"]
    if part["straddles_zero"]:
        ends = {"less": words.number(abs(low), 0), "more": words.number(high, 0)}
        return words.say(either, **ends)
    near, far = sorted((abs(low), abs(high)))
    return words.say(
        more if low > 0 else less, low=words.number(near, 0), high=words.number(far, 0)
    )
