"""Templates: escaped by default, with the words of one language."""

from __future__ import annotations

import base64
from functools import cache
from importlib.resources import files

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

from crowlight.bench.assess import Judged
from crowlight.reed import Blade
from crowlight.report import finding
from crowlight.report.charts import chart_svg, sections_chart
from crowlight.report.counting import Counting
from crowlight.report.drying import drift_said
from crowlight.report.maps import difference_picture, thickness_picture
from crowlight.report.octave import octave_said
from crowlight.report.svg import Frame, blade_picture, facing_picture, key_mark
from crowlight.report.words import Words, literal

__all__ = ["environment", "style"]


def environment(words: Words, *packages: str) -> Environment:
    """Return an environment that finds the templates of these packages, then the report's.

    Parameters
    ----------
    words : Words
        The language.
    packages : str
        Packages with a folder ``templates``.
    """
    loaders = [PackageLoader(p) for p in (*packages, "crowlight.report")]
    env = Environment(
        loader=ChoiceLoader(loaders),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    gettext, ngettext = words.jinja
    env.install_gettext_callables(gettext, ngettext, newstyle=True)  # pyright: ignore[reportAttributeAccessIssue]  # added by the extension
    env.globals.update(
        key_mark=key_mark,
        blade_picture=_blade_picture,
        facing_picture=_facing_picture,
        drift_said=drift_said,
        octave_said=octave_said,
        thickness_picture=_thickness_picture,
        difference_picture=_difference_picture,
        sections_image=_sections_image,
        finding=finding,
    )
    env.filters["literal"] = literal
    env.filters["twice"] = lambda value: (value, value)
    return env


def _blade_picture(group: Judged, blade: str, frame: Frame, words: Words, name: str) -> str:
    return blade_picture(group, Blade(blade), frame, words=words, name=name)


def _facing_picture(group: Judged, frame: Frame, words: Words, name: str) -> str:
    return facing_picture(group, frame, words=words, name=name)


def _thickness_picture(
    group: Judged, blade: str, counting: Counting, words: Words, name: str
) -> str:
    return thickness_picture(group, Blade(blade), words=words, name=name, counting=counting)


def _difference_picture(
    group: Judged, blade: str, counting: Counting, words: Words, name: str
) -> str:
    which = Blade(blade) if blade else None
    return difference_picture(group, which, words=words, name=name, counting=counting)


def _sections_image(group: Judged, blade: str, counting: Counting, words: Words) -> str:
    """Return the sections of a blade as a data address, for a report that fetches nothing."""
    svg = chart_svg(sections_chart(group, Blade(blade), words=words, counting=counting))
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


@cache
def style(*names: str) -> str:
    """Return style sheets of the report package, one after the other."""
    folder = files("crowlight.report") / "css"
    return "".join((folder / f"{name}.css").read_text(encoding="utf-8") for name in names)
