"""Advice about made-up reeds, for tests of what is shown of it.

Plans are put together by hand, so that the pages are tested whatever a planner would choose; the
findings are ranked from what is known.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from tests.canned_models import CannedJob, CannedJobs

from crowlight.bench.advise import Answered
from crowlight.bench.counsel import Counsel
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
from crowlight.plan.cut import (
    Act,
    Barred,
    CaneLeft,
    Expected,
    Harm,
    Option,
    Part,
    Plan,
    StrokeSize,
    as_data,
)
from crowlight.plan.cut.said import after_checks, listen_for, stop_when
from crowlight.reed import Blade
from crowlight.reed.styles import style
from crowlight.report.words import in_locale

EN = in_locale("en")
LONG = style("long")
BOTH = (Blade.MARKED, Blade.PLAIN)
STROKES = StrokeSize(3e-6, 0.5, "your data", 9)
NONE = (0.0, 0.0, 0.0)
NAN = float("nan")


def mm(value: float, u: float) -> Measured:
    return Measured(value * 1e-3, u * 1e-3)


# --- options -------------------------------------------------------------------------------------

LEAVE, REST = Act("leave", "leave"), Act("rest", "rest")
HEART = Act("scrape", "equalise-heart", "heart", Part.WHOLE, (Blade.MARKED,), strokes=2)
CORNER = Act(
    "scrape", "dust-corner", "tip", Part.LEFT_CORNER, (Blade.MARKED,), oblique=True, strokes=1
)
SIDES = Act("scrape", "dust-corners", "tip", Part.SIDES, BOTH, oblique=True, strokes=2)
CLIP = Act("clip", "clip", "length", Part.WHOLE, BOTH, clip=0.1e-3)


def option(act: Act) -> Option:
    """Return an option with predictions of plausible size."""
    expected: tuple[Expected, ...] = ()
    if act.cuts:
        size = "your data" if act.kind == "scrape" else "common practice"
        expected = (
            Expected(
                "rest_height", "m", -2e-5, -1e-5, 1e-6, -0.03, -0.015, 0.001, ("physics", size)
            ),
            Expected(
                "closing_pressure", "Pa", -96.0, -55.0, -22.0, -0.016, -0.009, -0.004,
                ("physics", size),
            ),
            Expected("tilt", "1", -0.01, 0.0, 0.01, NAN, NAN, NAN, ("physics", size)),
        )  # fmt: skip
    if act.kind == "leave":
        expected = (Expected("rest_height", "m", *NONE, *NONE, ("physics",)),)
    if act.kind == "rest":
        night = ("common practice",)
        expected = (Expected("rest_height", "m", -2e-5, 4e-5, 1e-4, NAN, NAN, NAN, night),)
    cautions = {"scrape": ("knife", "dust"), "clip": ("clipping", "knife")}.get(act.kind, ())
    return Option(
        act=act,
        cane=(2e-6, 6e-6, 14e-6) if act.kind == "scrape" else NONE,
        expected=expected,
        gain=0.3 if act.cuts else 0.0,
        better=0.9 if act.cuts else 0.0,
        worth=0.3 if act.cuts else 0.0,
        harm=Harm(floor=0.01, tear=0.004 * act.strokes) if act.cuts else Harm(),
        harm_basis=("your data", "common practice") if act.cuts else ("common practice",),
        listen_for=listen_for(act),
        stop_when=stop_when(act, LONG),
        after_check=after_checks(act, gauge_due=False),
        cane_left=tuple(
            CaneLeft(z.name, b, 1e-5 * (i + 1), 3 * (i + 1))
            for i, z in enumerate(LONG.zones[:6])
            for b in Blade
        ),
        cautions=(*cautions, "tear") if act.zone == "tip" else cautions,
    )


def plan(known: Known, *acts: Act, advised: int = 0, notes: tuple[str, ...] = ()) -> Plan:
    """Return a plan of these, leaving and resting."""
    found = rank(known)
    return Plan(
        options=tuple(option(a) for a in (*acts, LEAVE, REST)),
        advised=advised,
        source="style",
        distance=(0.1, 0.3, 0.7),
        named=(),
        barred=(),
        stops=found.stops,
        notes=("style-only", *notes),
    )


# --- reeds ---------------------------------------------------------------------------------------

EVEN = SideKnown(corner=mm(0, 0.006))
FLAT = BladeKnown(
    left=SideKnown(tip_slope=mm(-0.03, 0.006), corner=mm(0.02, 0.006)),
    right=SideKnown(tip_slope=mm(-0.03, 0.006), corner=mm(0.02, 0.006)),
    tip=mm(0, 0.006),
)
HEAVY = Known(
    geometry=Geometry(blades={"heart": mm(0.05, 0.012), "heart_length": mm(1.2, 0.5)}),
    playing=Playing(words=frozenset({"wobbles"})),
)
RATTLING = Known(
    geometry=Geometry(marked=FLAT, plain=FLAT, clipping_room=mm(1.3, 0.15)),
    crow=Crow(clean=0.05, mixed=0.15, rattling=0.8, speaks="yes", cents=Measured(-25, 8)),
    playing=Playing(words=frozenset({"rattles"})),
)
CHIRPING = Known(
    geometry=Geometry(
        marked=BladeKnown(left=SideKnown(corner=mm(0.03, 0.006)), right=EVEN),
        plain=BladeKnown(left=EVEN, right=EVEN),
    ),
    playing=Playing(words=frozenset({"chirps"})),
)
DISAGREE = Known(
    crow=Crow(played_cents=Measured(30, 4)), playing=Playing(words=frozenset({"flat"}))
)
LOST = Known(
    history=History(crow_lost="yes", last_cut="worse", cuts_since_measured=1),
    crow=Crow(speaks="no"),
)
CASES: Mapping[str, tuple[Known, Plan]] = {
    "nothing": (Known(), plan(Known())),
    "unmeasured": (Known(), plan(Known(), Act("act", "record"), notes=("measure-first",))),
    "heart": (HEAVY, plan(HEAVY, HEART)),
    "other-first": (
        HEAVY,
        plan(HEAVY, Act("act", "re-soak", answers=("heart-longer",))),
    ),
    "wished": (Known(), replace(plan(Known(), HEART), source="words")),
    "unasked": (Known(), plan(Known(), HEART)),
    "clip": (RATTLING, plan(RATTLING, SIDES, CLIP)),
    "clip-only": (RATTLING, plan(RATTLING, CLIP, SIDES)),
    "corner": (CHIRPING, plan(CHIRPING, CORNER)),
    "blunt": (Known(), plan(Known(), Act("act", "sharpen"))),
    "no-knife": (
        HEAVY,
        replace(plan(HEAVY), barred=(Barred("equalise-heart", "no-knife"),)),
    ),
    "disagree": (DISAGREE, plan(DISAGREE)),
    "crow-lost": (LOST, plan(LOST, Act("act", "record"))),
    **{
        name: (known, plan(known, Act("act", "retire")))
        for name, known in (
            ("crack", Known(trials=Trials(looked=True, look=frozenset({"crack-thread"})))),
            ("splinter", Known(trials=Trials(looked=True, look=frozenset({"splinter"})))),
        )
    },
    "others": (
        (others := Known(agreement=Agreement(others_reed=True))),
        plan(others),
    ),
}


@cache
def counsel(name: str) -> Counsel:
    """Return what the tool says of a made-up reed."""
    known, made = CASES[name]
    unmeasured = name == "unmeasured"
    return Counsel(
        name="Gull 7",
        known=known,
        plan=made,
        strokes=STROKES,
        blades="none" if unmeasured else "solved",
        style="" if unmeasured else "long",
        digest=hashlib.sha256(name.encode()).hexdigest(),
        notes=("no-style",) if unmeasured else (),
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
