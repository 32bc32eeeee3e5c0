"""Forms of what is wished, tried, guessed and done about a reed, and how it turned out."""

from __future__ import annotations

from collections.abc import Mapping

from crowlight.report.words import mark
from crowlight.web.field import (
    BLADES,
    BLOWING,
    PARTS,
    REMARK,
    YES,
    ZONES,
    Field,
    Form,
    answer,
    followed,
)

__all__ = ["ADVICE_FORMS"]

_FINE = (("fine", mark("plays well")), ("fails", mark("fails as well")))
_HELPED = (("better", mark("better")), ("same", mark("the same")))
_RESULTS = (("better", mark("better")), ("same", mark("the same")), ("worse", mark("worse")))
_LOOKS = (
    ("crack-thread", mark("a crack at the thread")),
    ("crack-tip", mark("a crack or tear in the tip")),
    ("crack-scrape", mark("a crack in the scrape")),
    ("splinter", mark("splinters")),
    ("nick", mark("a nick in the edge")),
    ("lump", mark("a lump against the light")),
    ("film", mark("a film")),
    ("mould", mark("mould")),
    ("twist", mark("twisted blades")),
    ("staple-dent", mark("a dented staple")),
    ("ridge", mark("a ridge at the transition")),
    ("green", mark("green cane")),
)
#: What can be done without a knife, by the names of the findings' remedies.
_TREATMENTS = (
    ("re-soak", mark("soaked again as usual")),
    ("dry", mark("left to dry for a day")),
    ("acclimatise", mark("left to settle here")),
    ("clean", mark("cleaned")),
    ("fit", mark("staple and cork fitted")),
    ("mandrel", mark("put on the mandrel")),
    ("squeeze-sides", mark("squeezed at the sides, to open")),
    ("squeeze-flat", mark("pressed flat, to close")),
    ("seal", mark("sides sealed")),
    ("cork", mark("cork waxed or wound")),
    ("wire", mark("wire put on or set")),
    ("compare", mark("compared with the control reed")),
    ("mend-oboe", mark("oboe looked at")),
    ("rest-ear", mark("ear rested")),
    ("record", mark("measured and recorded")),
)
_DOINGS = (
    ("scrape", mark("scrape")),
    ("clip", mark("clip")),
    ("act", mark("something without a knife")),
    ("leave", mark("leave it")),
    ("rest", mark("rest it until tomorrow")),
)


def _scale(name: str, label: str, less: str, more: str) -> Field:
    """Return a scale from less to more; values are those of the payload."""
    choices = (
        ("-1.0", mark("much more of the first")),
        ("-0.5", less),
        ("0.0", mark("as it is")),
        ("0.5", more),
        ("1.0", mark("much more of the second")),
    )
    return Field(name=name, label=label, kind="choice", choices=choices)


ADVICE_FORMS: Mapping[str, Form] = {
    "wish": Form(
        title=mark("Wish"),
        about=mark("What the player would like instead of this reed as it is."),
        fields=(
            _scale(
                "easy_resistant",
                mark("Easy or resistant"),
                mark("easier"),
                mark("more resistant"),
            ),
            _scale("covered_bright", mark("Covered or bright"), mark("darker"), mark("brighter")),
            _scale("closed_open", mark("Closed or open"), mark("more closed"), mark("more open")),
            Field(
                name="loved",
                label=mark("Like a reed they love"),
                kind="choice",
                choices=(("", mark("none")),),
                more=True,
                hint=mark("It counts once its readings are kept here."),
            ),
            answer("uses_knife", mark("The player can use a knife")),
            Field(
                name="others_reed",
                label=mark("It is, or was played as, somebody else's reed"),
                kind="choice",
                choices=YES[:2],
            ),
            answer("may_cut", mark("The owner allows what cannot be undone")),
            Field(
                name="concert_in",
                label=mark("Wanted for a performance in"),
                unit="h",
                factor=3600.0,
            ),
        ),
    ),
    "trials": Form(
        title=mark("Looks and small trials"),
        about=mark("Each takes a minute; leave out what was not tried."),
        caution=BLOWING,
        fields=(
            answer("crow_speaks", mark("It crows at all")),
            Field(
                name="swell_begins",
                label=mark("A slow swell of the crow begins with"),
                kind="choice",
                choices=(
                    ("high", mark("the high octave")),
                    ("low", mark("the low octave")),
                    ("both", mark("both at once")),
                    ("rattle", mark("a rattle")),
                ),
            ),
            answer("leaks", mark("Bottom stopped, air drawn out: it leaks")),
            Field(
                name="bubbles",
                label=mark("Under water, bubbles come from"),
                kind="choice",
                choices=(
                    ("none", mark("nowhere")),
                    ("side", mark("the sides")),
                    ("thread", mark("the thread")),
                    ("cork", mark("the cork")),
                ),
            ),
            Field(
                name="looked",
                label=mark("Looked through against the light and over with a loupe"),
                kind="choice",
                choices=(("True", mark("yes")), ("False", mark("no"))),
                hint=mark("After a yes, what is not ticked below was not there."),
            ),
            Field(name="look", label=mark("Seen"), kind="ticks", choices=_LOOKS),
            Field(
                name="control_reed",
                label=mark("The control reed, same oboe and room"),
                kind="choice",
                choices=_FINE,
            ),
            Field(
                name="other_instrument",
                label=mark("This reed in another oboe"),
                kind="choice",
                choices=_FINE,
            ),
            Field(
                name="other_player",
                label=mark("This reed with another player"),
                kind="choice",
                choices=_FINE,
            ),
            Field(
                name="re_soaked",
                label=mark("After a fresh soak"),
                kind="choice",
                choices=_HELPED,
            ),
            Field(
                name="dried", label=mark("After a day of drying"), kind="choice", choices=_HELPED
            ),
            Field(
                name="pinched_sides",
                label=mark("While sides or corners are pinched lightly"),
                kind="choice",
                choices=_HELPED,
            ),
        ),
    ),
    "guess": Form(
        title=mark("Guess"),
        about=mark(
            "What you would do next, before the tool speaks. Both are compared with what comes."
        ),
        fields=(
            Field(name="who", label=mark("Whose guess"), kind="line"),
            Field(name="does", label=mark("What to do next"), kind="choice", choices=_DOINGS),
            Field(name="zone", label=mark("Where"), kind="suggest", choices=ZONES),
            Field(name="part", label=mark("Which part of it"), kind="choice", choices=PARTS),
            Field(name="blades", label=mark("Which blade"), kind="ticks", choices=BLADES),
            Field(name="finding", label=mark("What is wrong with it"), kind="line"),
            REMARK,
        ),
    ),
    "treated": Form(
        title=mark("Treatment"),
        about=mark("Something done without a knife."),
        caution=mark(
            "Melt wax in a water bath, never over a flame; wax, varnish and wire ends stay below "
            "the lip."
        ),
        fields=(
            Field(
                name="what",
                label=mark("What was done"),
                kind="choice",
                choices=_TREATMENTS,
                needed=True,
            ),
            REMARK,
            *followed(),
        ),
    ),
    "after-check": Form(
        title=mark("Check afterwards"),
        about=mark("One slow swell from nothing. Fifteen seconds are enough."),
        caution=BLOWING,
        fields=(
            Field(
                name="result",
                label=mark("Than before it is"),
                kind="choice",
                choices=_RESULTS,
                needed=True,
            ),
            REMARK,
            Field(name="follows", label=mark("What it follows"), kind="kept", needed=True),
            Field(name="recording", label=mark("Recording"), kind="kept"),
        ),
    ),
}
