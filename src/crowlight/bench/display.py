"""How somebody wants the pages: nothing that is measured or computed depends on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from types import MappingProxyType

__all__ = ["CHOICES", "Display", "display_from"]

#: What each setting may be; the first is the usual one.
CHOICES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "tip": ("up", "down", "right", "left"),
        "knife": ("right", "left"),
        "count_from": ("tip", "rim", "thread"),
        "unit": ("mm", "hundredths", "um"),
        "numbers": ("auto", "point", "comma"),
        "theme": ("system", "light", "dark"),
        "contrast": ("usual", "high"),
        "text": ("usual", "large"),
        "palette": ("cane", "sea", "grey"),
        "spoken": ("no", "yes"),
        "guess": ("no", "yes"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """The settings of one person or one device.

    Parameters
    ----------
    tip, knife : str
        Where the tip points and which hand has the knife; they do not depend on one another.
    count_from : str
        What positions are counted from.
    unit : str
        Unit of thickness: millimetres, their hundredths, or micrometres.
    numbers : str
        Decimal mark: as the browser's language has it, point, or comma.
    theme, contrast, text, palette : str
        Light or dark; contrast; size of text; colours of maps.
    spoken : str
        Whether the bench says aloud what to do next.
    guess : str
        Whether a hunch is asked for before advice is shown.

    Examples
    --------
    >>> display_from({"theme": "dark", "hand": "third", "unit": 7}).theme
    'dark'
    """

    tip: str = "up"
    knife: str = "right"
    count_from: str = "tip"
    unit: str = "mm"
    numbers: str = "auto"
    theme: str = "system"
    contrast: str = "usual"
    text: str = "usual"
    palette: str = "cane"
    spoken: str = "no"
    guess: str = "no"

    def as_kept(self) -> dict[str, str]:
        """Return the settings as plain values."""
        return asdict(self)


def display_from(kept: Mapping[str, object]) -> Display:
    """Return settings from plain values; what is not one of the choices counts for nothing."""
    return Display(
        **{
            f.name: value
            for f in fields(Display)
            if isinstance(value := kept.get(f.name), str) and value in CHOICES[f.name]
        }
    )
