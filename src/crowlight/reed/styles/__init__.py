"""Scrape styles as data: zones, standard points, mean profile, what is even, where to stop."""

from crowlight.reed.styles.load import STYLE_CODES, read_style, style
from crowlight.reed.styles.profile import Profile, Shape
from crowlight.reed.styles.style import SOURCES, Figure, Outline, Point, Style, Tolerance, Zone

__all__ = [
    "SOURCES",
    "STYLE_CODES",
    "Figure",
    "Outline",
    "Point",
    "Profile",
    "Shape",
    "Style",
    "Tolerance",
    "Zone",
    "read_style",
    "style",
]
