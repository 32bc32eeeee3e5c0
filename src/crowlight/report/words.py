"""Sentences for the codes and numbers of the core.

The core returns codes; what people read is made here and in the templates. Every English source
string goes through gettext, so that a translation is one more file under ``locale`` and no code.
"""

from __future__ import annotations

import gettext
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import as_file, files
from typing import Literal

from babel import Locale
from babel.dates import format_date, format_time
from babel.numbers import format_decimal

from crowlight.judge import Comparison, Outcome, Pairing
from crowlight.reed import Blade, CaneState, Side
from crowlight.report.palettes import PALETTES, Palette, PaletteName

__all__ = ["DOMAIN", "STYLES", "Shown", "ThicknessUnit", "Words", "in_locale", "literal", "mark"]

#: Name of the message catalogue.
DOMAIN = "crowlight"

#: Bidirectional overrides, embeddings and isolates.
_REORDERING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
#: Between a number and its unit.
_NO_BREAK = "\N{NO-BREAK SPACE}"


def mark(text: str) -> str:
    """Mark a source string that is translated later; returns it unchanged."""
    return text


def literal(text: str) -> str:
    r"""Return a text with the characters that would reorder it made visible.

    Examples
    --------
    >>> literal("reed\u202e7")
    'reed[U+202E]7'
    """
    return "".join(f"[U+{ord(c):04X}]" if c in _REORDERING else c for c in text)


_OUTCOMES: Mapping[Outcome, str] = {
    Outcome.DIFFERS: mark("differs"),
    Outcome.NO_DIFFERENCE_SEEN: mark("no difference the gauge can see"),
    Outcome.NOT_MEASURED: mark("not measured"),
}
_PAIRINGS: Mapping[Pairing, str] = {
    Pairing.LEFT_RIGHT: mark("left against right"),
    Pairing.MARKED_PLAIN: mark("marked against plain"),
}
_BLADES: Mapping[Blade, str] = {
    Blade.MARKED: mark("marked blade"),
    Blade.PLAIN: mark("plain blade"),
}
_SIDES: Mapping[Side, str] = {Side.LEFT: mark("left"), Side.RIGHT: mark("right")}
_STATES: Mapping[CaneState, str] = {
    CaneState.WET: mark("wet"),
    CaneState.DRY: mark("dry"),
    CaneState.UNKNOWN: mark("not stated"),
}
_GROUPS: Mapping[CaneState, str] = {
    CaneState.WET: mark("Measured wet"),
    CaneState.DRY: mark("Measured dry"),
    CaneState.UNKNOWN: mark("Wet or dry not stated"),
}
_KINDS: Mapping[str, str] = {
    "readings": mark("Readings"),
    "described": mark("Description"),
    "lengths": mark("Lengths"),
    "opening": mark("Opening"),
    "recording": mark("Recording"),
    "label": mark("Label"),
    "control": mark("Control reed"),
    "cut": mark("Cut"),
    "clip": mark("Clip"),
    "rest": mark("Rest"),
    "wetting": mark("Soaking or wiping"),
    "knife": mark("Knife"),
    "note": mark("Note"),
    "playing-test": mark("Playing test"),
    "verdict": mark("Verdict"),
    "climate": mark("Climate"),
    "travelled": mark("Follow-up"),
    "force-test": mark("Force test"),
    "crow-start": mark("Where the crow starts"),
    "wish": mark("Wish"),
    "trials": mark("Looks and small trials"),
    "guess": mark("Guess"),
    "advised": mark("Advice"),
    "treated": mark("Treatment"),
    "after-check": mark("Check afterwards"),
    "intake": mark("Intake"),
    "consent": mark("Consent"),
    "stage": mark("Stage"),
    "minutes": mark("Minutes and cost"),
    "outcome": mark("Outcome"),
    "photo": mark("Photograph"),
    "played": mark("Hours played"),
    "follow-up": mark("Player's answers"),
    "cane-tube": mark("Cane tube"),
    "gouge": mark("Gouge"),
    "shaped": mark("Shape"),
    "tie": mark("Tying"),
    "letter": mark("Letter"),
    "light": mark("Against the light"),
    "split-test": mark("Split test"),
    "withdrawn": mark("Withdrawal"),
}
_INSTRUMENTS: Mapping[str, str] = {
    "dial": mark("dial gauge, 0.01 mm"),
    "fine-dial": mark("dial gauge, 0.005 mm"),
    "digital": mark("digital gauge, 0.001 mm"),
    "micrometer": mark("screw micrometer"),
}
#: Names of the scrape styles there are figures for.
STYLES: Mapping[str, str] = {
    "long": mark("long scrape"),
    "short-u": mark("short scrape, U"),
    "short-v": mark("short scrape, V"),
    "short-w": mark("short scrape, W"),
    "cor-anglais-long": mark("cor anglais, long scrape"),
    "oboe-damore-long": mark("oboe d'amore, long scrape"),
}
_THICKER: Mapping[tuple[Pairing, bool], str] = {
    (Pairing.LEFT_RIGHT, True): mark("left thicker"),
    (Pairing.LEFT_RIGHT, False): mark("right thicker"),
    (Pairing.MARKED_PLAIN, True): mark("marked thicker"),
    (Pairing.MARKED_PLAIN, False): mark("plain thicker"),
}


ThicknessUnit = Literal["mm", "hundredths", "um"]
#: Units of thickness: how many go into a metre, decimals that are left out against mm, its name.
_UNITS: Mapping[ThicknessUnit, tuple[float, int, str]] = {
    "mm": (1e3, 0, mark("mm")),
    "hundredths": (1e5, 2, mark("hundredths")),
    "um": (1e6, 3, mark("µm")),
}


@dataclass(frozen=True, slots=True)
class Shown:
    """How numbers and maps are shown to somebody, whatever the language.

    Parameters
    ----------
    numbers : str
        Locale of numbers; that of the sentences if empty.
    unit : str
        Unit of thickness: ``mm``, ``hundredths`` (of a millimetre) or ``um``.
    palette : str
        Colours of maps; see `crowlight.report.palettes.PALETTES`.
    """

    numbers: str = ""
    unit: ThicknessUnit = "mm"
    palette: PaletteName = "cane"


@cache
def _catalogue(locale: str) -> gettext.NullTranslations:
    with as_file(files("crowlight.report") / "locale") as folder:
        return gettext.translation(DOMAIN, folder, [locale], fallback=True)


class Words:
    """Sentences and numbers of one language.

    Parameters
    ----------
    locale : str
        Language and, if need be, territory, such as ``en`` or ``de_AT``.
    shown : Shown
        How numbers and maps are shown.

    Examples
    --------
    >>> Words("de").number(0.4567)
    '0,46'
    """

    def __init__(self, locale: str = "en", shown: Shown = Shown()) -> None:
        self.locale = Locale.parse(locale)
        self.shown = shown
        self.numbers = Locale.parse(shown.numbers) if shown.numbers else self.locale
        self.translations = _catalogue(str(self.locale))

    def __call__(self, text: str) -> str:
        """Return the translation of a source string; of nothing, nothing."""
        return self.translations.gettext(text) if text else ""

    def say(self, text: str, /, **values: object) -> str:
        """Return the translation of a source string with its ``%(name)s`` filled in."""
        return self(text) % values

    def count(self, one: str, many: str, number: int) -> str:
        """Return the right plural with its ``%(num)s`` filled in."""
        chosen = self.translations.ngettext(one, many, number)
        return chosen % {"num": format_decimal(number, locale=self.numbers)}

    # --- codes ----------------------------------------------------------------------------------

    def outcome(self, code: Outcome) -> str:
        """Return what is said of a difference."""
        return self(_OUTCOMES[code])

    def pairing(self, code: Pairing) -> str:
        """Return which two points are compared."""
        return self(_PAIRINGS[code])

    def blade(self, code: Blade) -> str:
        """Return the name of a blade."""
        return self(_BLADES[code])

    def side(self, code: Side) -> str:
        """Return the name of a side."""
        return self(_SIDES[Side(code)])

    def state(self, code: CaneState) -> str:
        """Return wet, dry or not stated."""
        return self(_STATES[code])

    def group(self, code: CaneState) -> str:
        """Return the heading of readings that may be compared."""
        return self(_GROUPS[code])

    def kind(self, code: str) -> str:
        """Return the name of a kind of entry."""
        return self(_KINDS[code]) if code in _KINDS else code

    def gauge(self, code: str) -> str:
        """Return the name of a gauge."""
        return self(_INSTRUMENTS[code]) if code in _INSTRUMENTS else code

    def style(self, code: str) -> str:
        """Return the name of a scrape style; of one without a name here, its code."""
        return self(STYLES[code]) if code in STYLES else code

    def thicker(self, comparison: Comparison) -> str:
        """Return which of the two points is the thicker one; empty when not measured."""
        value = comparison.decision.value
        if not math.isfinite(value):
            return ""
        return self(_THICKER[comparison.pairing, value >= 0])

    def whose(self, comparison: Comparison) -> str:
        """Return the blade, or the side of the marked blade, that a comparison is about."""
        if comparison.blade is not None:
            return self.blade(comparison.blade)
        if comparison.side is None:
            return self(mark("centreline"))
        if comparison.side is Side.LEFT:
            return self(mark("left of the marked blade, right of the plain"))
        return self(mark("right of the marked blade, left of the plain"))

    # --- numbers --------------------------------------------------------------------------------

    def number(self, value: float | None, digits: int = 2, *, signed: bool = False) -> str:
        """Return a number with so many digits; a dash for none."""
        if value is None or not math.isfinite(value):
            return "–"
        zero = round(value, digits) == 0
        text = format_decimal(
            abs(value), format="#,##0." + "0" * digits if digits else "#,##0", locale=self.numbers
        )
        if value < 0 and not zero:
            return f"\N{MINUS SIGN}{text}"
        return f"+{text}" if signed and not zero else text

    def mm(self, metres: float | None, digits: int = 2, *, signed: bool = False) -> str:
        """Return a length given in metres as millimetres, with the unit."""
        if metres is None or not math.isfinite(metres):
            return "–"
        return f"{self.number(metres * 1e3, digits, signed=signed)}{_NO_BREAK}mm"

    @property
    def thickness_unit(self) -> str:
        """Unit that thicknesses are shown in."""
        return self(_UNITS[self.shown.unit][2])

    def thin(self, metres: float | None, digits: int = 3, *, signed: bool = False) -> str:
        """Return a thickness given in metres, in the user's unit but without it.

        `digits` are those of millimetres; the other units show the same places.
        """
        factor, fewer, _ = _UNITS[self.shown.unit]
        value = None if metres is None else metres * factor
        return self.number(value, max(digits - fewer, 0), signed=signed)

    def thick(self, metres: float | None, digits: int = 3, *, signed: bool = False) -> str:
        """Return a thickness given in metres in the user's unit, with the unit."""
        if metres is None or not math.isfinite(metres):
            return "–"
        return f"{self.thin(metres, digits, signed=signed)}{_NO_BREAK}{self.thickness_unit}"

    def interval(self, low: float, high: float, digits: int = 3) -> str:
        """Return an interval of thicknesses given in metres, without the unit."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return "–"
        return self.say(
            mark("%(low)s to %(high)s"),
            low=self.thin(low, digits, signed=True),
            high=self.thin(high, digits, signed=True),
        )

    def span(self, low: float, high: float, digits: int = 3) -> str:
        """Return an interval of sizes of thickness given in metres, without signs or unit."""
        ends = sorted((abs(low), abs(high)))
        return self.say(
            mark("%(low)s to %(high)s"),
            low=self.thin(ends[0], digits),
            high=self.thin(ends[1], digits),
        )

    @property
    def palette(self) -> Palette:
        """Colours of maps."""
        return PALETTES[self.shown.palette]

    def moment(self, at: datetime) -> str:
        """Return a date and time on this computer's clock."""
        here = at.astimezone().replace(tzinfo=None)
        day = format_date(here, "medium", locale=self.locale)
        return f"{day}, {format_time(here, 'short', locale=self.locale)}"

    @property
    def jinja(self) -> tuple[Callable[[str], str], Callable[[str, str, int], str]]:
        """The two functions Jinja's i18n extension asks for."""
        return self.translations.gettext, self.translations.ngettext


@cache
def in_locale(locale: str, shown: Shown = Shown()) -> Words:
    """Return the words of a language; English sentences where there is no translation."""
    return Words(locale, shown)
