"""Plans and findings of made-up reeds as plain data, for tests of what is shown of them."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
from tests.canned_models import CannedJob, CannedJobs
from tests.cut_reeds import Real, fake_reed

from crowlight.bench.advise import Answered
from crowlight.bench.counsel import Counsel, without_shapes
from crowlight.judge.findings import (
    Agreement,
    BladeKnown,
    Crow,
    Geometry,
    History,
    Known,
    Measured,
    Playing,
    SideKnown,
    Trials,
    rank,
)
from crowlight.judge.findings import as_data as findings_data
from crowlight.plan.cut import StrokeSize, as_data, draw_chance, next_act, next_cut, target
from crowlight.report.words import in_locale

EN = in_locale("en")


def mm(value: float, u: float) -> Measured:
    return Measured(value * 1e-3, u * 1e-3)


def heavy_heart(b: Real, t: Real, u: Real) -> Real:
    return np.where((b == 0) & (t > 6e-3) & (t < 11.5e-3), 0.05e-3, 0.0) + 0 * u


def flat_tip(b: Real, t: Real, u: Real) -> Real:
    return np.where(t < 4e-3, 0.028e-3 * u**2 * np.clip((4e-3 - t) / 1e-3, 0, 1), 0.0) + 0 * b


def thick_corner(b: Real, t: Real, u: Real) -> Real:
    return np.where((b == 0) & (t < 2.5e-3) & (u < -0.4), 0.03e-3, 0.0)


EVEN = SideKnown(corner=mm(0, 0.006))
FLAT = BladeKnown(
    left=SideKnown(tip_slope=mm(-0.03, 0.006), corner=mm(0.02, 0.006)),
    right=SideKnown(tip_slope=mm(-0.03, 0.006), corner=mm(0.02, 0.006)),
    tip=mm(0, 0.006),
)
CASES: dict[str, tuple[Any, Known]] = {
    "nothing": (None, Known()),
    "unmeasured": (None, Known()),
    "heart": (
        heavy_heart,
        Known(
            geometry=Geometry(blades={"heart": mm(0.05, 0.012), "heart_length": mm(1.2, 0.5)}),
            playing=Playing(words=frozenset({"wobbles"})),
        ),
    ),
    "clip": (
        flat_tip,
        Known(
            geometry=Geometry(marked=FLAT, plain=FLAT, clipping_room=mm(1.3, 0.15)),
            crow=Crow(clean=0.05, mixed=0.15, rattling=0.8, speaks="yes", cents=Measured(-25, 8)),
            playing=Playing(words=frozenset({"rattles"})),
        ),
    ),
    "corner": (
        thick_corner,
        Known(
            geometry=Geometry(
                marked=BladeKnown(left=SideKnown(corner=mm(0.03, 0.006)), right=EVEN),
                plain=BladeKnown(left=EVEN, right=EVEN),
            ),
            playing=Playing(words=frozenset({"chirps"})),
        ),
    ),
    "crow-lost": (
        None,
        Known(
            history=History(crow_lost="yes", last_cut="worse", cuts_since_measured=1),
            crow=Crow(speaks="no"),
        ),
    ),
    "crack": (None, Known(trials=Trials(looked=True, look=frozenset({"crack-thread"})))),
    "splinter": (heavy_heart, Known(trials=Trials(looked=True, look=frozenset({"splinter"})))),
    "others": (heavy_heart, Known(agreement=Agreement(others_reed=True))),
}


@cache
def counsel(name: str) -> Counsel:
    """Return what the tool says of a made-up reed; of "clip-only", that a clip comes first.

    Of "unasked", that a cut comes closer to the target although nothing is named wrong.
    """
    if name == "clip-only":
        said = counsel("clip")
        first = next(i for i, o in enumerate(said.plan.options) if o.act.kind == "clip")
        return replace(said, plan=replace(said.plan, advised=first))
    if name == "unasked":
        return replace(counsel("heart"), known=Known())
    fault, known = CASES[name]
    strokes = StrokeSize(3e-6, 0.5, "your data", 9)
    if name == "unmeasured":
        plan, style = next_act(rank(known)), ""
    else:
        reed, style = fake_reed(fault=fault), "long"
        chance = draw_chance(reed, np.random.default_rng(1))
        plan = next_cut(reed, target(reed), rank(known), known, chance, strokes=strokes)
    return Counsel(
        name="Gull 7",
        known=known,
        plan=without_shapes(plan),
        strokes=strokes,
        blades="solved",
        style=style,
        digest=hashlib.sha256(name.encode()).hexdigest(),
        notes=("no-style",) if name == "unmeasured" else (),
    )


def case(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return plan and findings of a made-up reed as plain data."""
    said = counsel(name)
    return as_data(said.plan, number=EN.number), findings_data(said.findings, number=EN.number)


class AdviceJobs(CannedJobs):
    """Answers for the advice with that of a made-up reed.

    Parameters
    ----------
    about : str
        A key of `CASES`.
    held : threading.Event, optional
        Nothing is answered before it is set.
    """

    def __init__(self, about: str = "heart", held: threading.Event | None = None) -> None:
        super().__init__(held)
        self.about = about

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> CannedJob:
        if task != "advise":
            return super().submit(task, inputs, sticky=sticky)
        self.asked.append((task, inputs))
        self.jobs.append(CannedJob(Answered(counsel=counsel(self.about)), self.held))
        return self.jobs[-1]
