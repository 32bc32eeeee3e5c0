"""How differently the two sides of a reed let light through, in one photograph.

Eyes beside the ears of `crowlight.listen`: arrays in, frozen dataclasses out. Nothing here knows a
thickness. Light that passes cane is attenuated by

    I = I0 exp(-mu t)

(Lambert-Beer; IUPAC Gold Book, "Beer-Lambert law"), with a `mu` nobody has measured for this cane,
this wetness and this lamp: the ratio of two sides is a comparison and stays one.
"""

from crowlight.look.frame import Frame, Marks, plane_map
from crowlight.look.sides import measure
from crowlight.look.srgb import linear, luminance
from crowlight.look.values import RISK, TOLERANCE, Answer, Look, Part, Reason

__all__ = [
    "RISK",
    "TOLERANCE",
    "Answer",
    "Frame",
    "Look",
    "Marks",
    "Part",
    "Reason",
    "linear",
    "luminance",
    "measure",
    "plane_map",
]
