"""Answers of the models made up for tests of the pages, and jobs that return them at once."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

import numpy as np

from crowlight.bench.cuts import Cut, Foreseen, Lever, Leverage
from crowlight.bench.mechanics import BladesShown, CaneLeft, OutputShown
from crowlight.bench.tasks import run_task
from crowlight.bench.warm import Warmed
from crowlight.bench.whatif import Moved, Outcome
from crowlight.blade import OUTPUTS, Lumped
from crowlight.plan import contested_claims
from crowlight.reed import Blade, CaneState, Side

VALUES = {
    "rest_area": 3.27e-6,
    "rest_height": 0.7e-3,
    "area": 1.98e-6,
    "height": 0.43e-3,
    "tilt": -0.047,
    "unevenness": 0.007,
    "closing_pressure": 7640.0,
    "compliance": 3.34e-10,
    "stiffness": 1.74e7,
    "effective_area": 2.28e-5,
    "separation": 3.41,
    "mode_free": 1658.0,
    "mode_held": 3512.0,
    "mode_loaded": 3295.0,
}
ZONES = ("tip", "transition", "heart")


def shown(*, opening_known: bool = True) -> BladesShown:
    """Return an answer of the blade model."""
    assert set(VALUES) == set(OUTPUTS)
    tip, fraction = np.linspace(0.0, 22e-3, 12), np.linspace(-1.0, 1.0, 9)
    wave = -np.exp(-((tip[:, None] - 2e-3) ** 2) / 2e-5) * (1.0 - 0.5 * fraction[None, :] ** 2)
    wave = wave + 0.2 * (tip[:, None] > 15e-3)
    rows = tuple(map(tuple, wave.tolist()))
    across = np.linspace(-3.5e-3, 3.5e-3, 9)
    lens = tuple((0.35e-3 * (1 - (across / 3.5e-3) ** 2)).tolist())
    pressures = np.linspace(0.0, 7.6e3, 9)
    areas = 3.27e-6 - 0.9 * 3.27e-6 * pressures / 7.6e3
    return BladesShown(
        opening_known=opening_known,
        state=CaneState.WET,
        outputs=tuple(
            OutputShown(
                name=n,
                unit=OUTPUTS[n][0],
                value=v,
                low=v - 0.2 * abs(v),
                high=v + 0.25 * abs(v),
                level=0.9,
                method="sampled" if n == "compliance" else "linearised",
                shares={"rest opening": 0.6, "marked map": 0.3, "tie preload": 0.1},
                mesh_error=0.011,
            )
            for n, v in VALUES.items()
        ),
        pressures=tuple(pressures.tolist()),
        areas=tuple(areas.tolist()),
        heights=tuple((areas / 4.67e-3).tolist()),
        area_low=tuple((0.8 * areas).tolist()),
        area_high=tuple((1.2 * areas).tolist()),
        profile_across=tuple(across.tolist()),
        profile_rest=(lens, lens),
        profile_playing=(tuple(0.6 * x for x in lens), tuple(0.6 * x for x in lens)),
        playing_pressure=4e3,
        from_tip=tuple(tip.tolist()),
        fraction=tuple(fraction.tolist()),
        half_width=tuple((3.5e-3 - 0.05 * tip).tolist()),
        effects={
            n: {b: tuple(tuple(0.01 * VALUES[n] * v for v in row) for row in rows) for b in Blade}
            for n in ("closing_pressure", "stiffness")
        },
        flexibility_from_tip=tuple(tip[::-1].tolist()),
        flexibility_across=(-0.95, -0.5, 0.0, 0.5, 0.95),
        flexibility={
            b: tuple((float(2e-3 * np.exp(-x / 4e-3)),) * 5 for x in tip[::-1]) for b in Blade
        },
        cane_left=tuple(
            CaneLeft(zone=z, blade=b, least=0.012e-3, strokes=4) for z in ZONES for b in Blade
        ),
        modes={"free": (1658.0, 4000.0), "held": (3512.0,), "loaded": (3295.0,)},
        notes=("marked blade: a canned note",),
        lumped=Lumped(
            rest_area=3.27e-6,
            rest_height=0.7e-3,
            closing_pressure=7640.0,
            linear_closing_pressure=9800.0,
            stiffness=1.9e7,
            swept_volume=1.3e-12,
            effective_area=2.28e-5,
            mode=3512.0,
        ),
    )


def leverage() -> Leverage:
    """Return what cane off each zone does: each output falls by 1 % for 10 µm off a side."""
    slopes = tuple(-0.01 * abs(v) / 1e-5 for v in VALUES.values())
    moves = (0.0, 0.5e-3, 2e-3)
    return Leverage(
        names=tuple(VALUES),
        values=tuple(VALUES.values()),
        levers=tuple(
            Lever(zone=z, blade=b, side=s, slopes=slopes)
            for z in ZONES
            for b in Blade
            for s in Side
        ),
        moves=moves,
        moved={
            b: tuple(tuple(-100.0 * m * v for v in VALUES.values()) for m in moves) for b in Blade
        },
        clip=tuple(1e2 * v for v in VALUES.values()),
    )


def outcome() -> Outcome:
    """Return a cut solved in full: closing falls by 4.5 %, and whether tilt changes is open."""
    return Outcome(
        outputs={
            n: Moved(
                before=v,
                before_low=v - 0.2 * abs(v),
                before_high=v + 0.2 * abs(v),
                after=0.955 * v,
                after_low=0.955 * v - 0.2 * abs(v),
                after_high=0.955 * v + 0.2 * abs(v),
                change=-0.045 * v,
                change_low=-0.06 * abs(v),
                change_high=0.02 * abs(v) if n == "tilt" else -0.03 * abs(v),
            )
            for n, v in VALUES.items()
        },
        level=0.9,
        notes=("solved with a canned note",),
    )


def warmed() -> Warmed:
    """Return a cut solved from the reed as it is: closing falls by 4.3 %, all else by 4 %."""
    return Warmed(
        outputs={
            n: Foreseen(before=v, change=(-0.043 if n == "closing_pressure" else -0.04) * v)
            for n, v in VALUES.items()
        },
        curved=("area", "height", "closing_pressure"),
        area_error=1.4e-8,
        closing_error=0.004,
        notes=("marked blade: a canned note", "warmed with a canned note"),
    )


def _range(low: float, high: float) -> dict[str, Any]:
    return {
        "low": low,
        "middle": (low + high) / 2,
        "high": high,
        "straddles_zero": low < 0.0 < high,
    }


def travelled(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a journey does."""
    blank = inputs["state"] != "finished"
    heights = [0.0, 1000.0, 2310.0]
    band = [[0.0, 0.0, 0.0], [0.01, 0.02, 0.03], [0.02, 0.04, 0.06]]
    code, basis = ("open-more", "physics") if blank else ("no-thinning", "common practice")
    return {
        "from": {"name": inputs["home"].name, "altitude": inputs["home"].altitude},
        "to": {"name": inputs["destination"].name, "altitude": inputs["destination"].altitude},
        "state": inputs["state"],
        "direction": "up",
        "measured_reed": "blades" in inputs,
        "density_ratio": 0.77,
        "drier_by": {"low": 0.0, "middle": 0.03, "high": 0.06},
        "effects": [
            {
                "name": name,
                "unit": unit,
                "basis": "physics",
                "altitude": _range(0.025 * scale, 0.047 * scale),
                "temperature": _range(-4e-16, 4e-16),
                "moisture": _range(-0.098 * scale, 0.058 * scale),
                "together": _range(-0.068 * scale, 0.097 * scale),
            }
            for name, unit, scale in (("threshold", "1", 1.0), ("crow-pitch", "cents", 1e3))
        ],
        "compensation": (
            {
                "stiffness_alone": {"low": 0.93, "middle": 0.96, "high": 0.98},
                "opening_with": 1.3,
                "stiffness_with": 0.77,
                "left_over": {"low": 0.007, "middle": 0.012, "high": 0.019},
                "used": 200,
            }
            if blank
            else None
        ),
        "advice": [
            {
                "code": code,
                "text": "Aim for more opening in the cane." if blank else "Do not thin it.",
                "basis": basis,
                "limits": {"low": 1.0, "high": 1.3, "unit": "1"} if blank else None,
            }
        ],
        "learned": [],
        "claims": [
            {"code": c.code, "claim": c.claim, "counter": c.counter, "said": c.said}
            for c in contested_claims()
        ],
        "used": 197,
        "silent": 3,
        "chart": {
            "altitude": heights,
            "density_ratio": [1.0, 0.9, 0.77],
            "threshold": band,
            "low_threshold": band,
            "pitch": band,
            "crow_pitch": band,
        },
    }


def crow() -> dict[str, Any]:
    """Return a modelled crow."""
    return {
        "basis": "physics",
        "measured_reed": True,
        "sounding": 1.0,
        "threshold_pa": [2700.0, 3250.0, 3780.0],
        "pitch_hz": [880.0, 938.0, 982.0],
        "strip": {
            "pressure_over_threshold": [0.8, 1.1, 1.5, 2.0, 2.4],
            "regime": ["silent", "single", "octave", "rattling", "closed"],
            "frequency_hz": [None, 934.0, 467.0, None, None],
            "agreement": [1.0, 0.6, 0.4, 0.8, 1.0],
        },
        "hypothesis": "octave-by-period-doubling",
        "trust": "ratios-and-signs",
    }


class CannedJob:
    """A job that is done, or waits until it may be."""

    def __init__(self, value: Any, held: threading.Event | None) -> None:
        self._value = value
        self._held = held
        self.cancelled = False

    def progress(self) -> float:
        return 0.4 if self._held and not self._held.is_set() else 1.0

    def cancel(self) -> None:
        self.cancelled = True

    def result(self, timeout: float | None = None) -> Any:
        if self._held is not None and not self._held.wait(timeout or 20.0):
            raise TimeoutError
        return self._value


class CannedJobs:
    """Returns canned answers of the models; computes what else is asked.

    Parameters
    ----------
    held : threading.Event, optional
        Models give no answer before it is set.
    """

    def __init__(self, held: threading.Event | None = None) -> None:
        self.held = held
        self.asked: list[tuple[str, Mapping[str, Any]]] = []
        self.jobs: list[CannedJob] = []
        self.learned: list[dict[str, Any]] = []

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> CannedJob:
        self.asked.append((task, inputs))
        if task in {"mechanics", "leverage"} and not inputs.get("style"):
            return CannedJob(run_task(task, inputs, lambda _: None), None)  # it refuses
        match task:
            case "mechanics":
                value: Any = shown(opening_known=inputs.get("opening") is not None)
            case "leverage":
                value = leverage()
            case "what-if":
                assert isinstance(inputs["cut"], Cut)
                value = outcome()
            case "warm":
                assert isinstance(inputs["cut"], Cut)
                value = warmed()
            case "travel":
                value = travelled(inputs) | {"learned": self.learned}
            case "crow":
                value = crow()
            case "crow-sound":
                wave = np.sin(np.arange(4800) * 2 * np.pi * 940 / 48_000)
                value = {"samples": 0.5 * wave, "rate": 48_000}
            case _:
                return CannedJob(run_task(task, inputs, lambda _: None), None)
        self.jobs.append(CannedJob(value, self.held))
        return self.jobs[-1]

    def close(self) -> None:
        """Do nothing."""
