"""Which seeds are for developing and which for testing, and the variants of the trial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["DEVELOPMENT", "PER_PLAYER", "TEST", "VARIANTS", "Variant"]

#: Seeds of the reeds the advice is mended on.
DEVELOPMENT = range(2_000, 2_060)
#: Seeds of the final run; nothing was ever tuned on them. Earlier runs spent those from 500,000,
#: 600,000, 700,000 and 800,000: what they showed led to mending, so those reeds may never be a test
#: again.
TEST = range(900_000, 900_500)
#: So many reeds in a row belong to one player with one loved reed.
PER_PLAYER = 4


@dataclass(frozen=True, slots=True)
class Variant:
    """How the world is harder than the advice takes it to be.

    Parameters
    ----------
    stiff : float
        True elastic constants along, over what they would be.
    soft : float
        The same across the fibres and in shear.
    sound : bool
        Whether a recording of the crow is made.
    half : bool
        Whether only the quick set of points is gauged.
    unlike : float
        How far the cane of the reed on the bench is off that of the loved one, either way, natural
        log of its stiffness.
    rough : float
        Error of every reading besides what the gauge says of itself, standard deviation [m].
    """

    stiff: float = 1.0
    soft: float = 1.0
    sound: bool = True
    half: bool = False
    unlike: float = 0.0
    rough: float = 0.0


#: The trial, and how it is repeated with something wrong.
VARIANTS: Mapping[str, Variant] = {
    "usual": Variant(),
    "material law off": Variant(stiff=1.3, soft=0.7),
    "no sound": Variant(sound=False),
    "half the points": Variant(half=True),
    "unlike cane": Variant(unlike=0.3),
    "gauge worse than it says": Variant(rough=12e-6),
    "all of it": Variant(1.3, 0.7, sound=False, half=True, unlike=0.3, rough=12e-6),
}
