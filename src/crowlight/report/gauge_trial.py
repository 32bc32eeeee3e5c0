"""A gauge study in words and numbers."""

from __future__ import annotations

import math
from typing import Any

from crowlight.bench.gauge_trial import GaugeTrial
from crowlight.report.words import Words, mark

__all__ = ["trial_plain", "trial_text"]


def trial_text(trial: GaugeTrial, words: Words) -> str:
    """Return a gauge study as lines of text, for a terminal."""
    s = trial.study
    lines = [
        f"{words.gauge(trial.instrument)}, {words.blade(trial.blade)}, {words.state(trial.state)}",
        "  "
        + words.say(
            mark("%(places)s points, %(mountings)s mountings, %(repeats)s readings of each"),
            places=s.places,
            mountings=s.mountings,
            repeats=s.repeats,
        ),
        "  "
        + words.say(
            mark("repeating a reading: %(value)s (%(low)s to %(high)s), one standard deviation"),
            value=words.thick(s.repeatability, 4),
            low=words.thin(s.repeatability_low, 4),
            high=words.thin(s.repeatability_high, 4),
        ),
        "  "
        + words.say(
            mark("taking the reed off and on again adds %(added)s; together %(whole)s"),
            added=words.thick(s.reproducibility, 4),
            whole=words.thick(s.gauge, 4),
        ),
    ]
    if math.isfinite(s.steps):
        lines.append(
            "  "
            + words.say(
                mark("over these points it tells %(steps)s thicknesses apart"),
                steps=max(math.floor(s.steps), 1),
            )
        )
    if trial.state.value == "wet":
        said = mark("A wet reed dries meanwhile; that counts as a difference between mountings.")
        lines.append(f"  {words(said)}")
    return "\n".join(lines)


def trial_plain(trial: GaugeTrial) -> dict[str, Any]:
    """Return a gauge study as plain values, in millimetres."""
    s = trial.study
    return {
        "instrument": trial.instrument,
        "blade": trial.blade.value,
        "state": trial.state.value,
        "places": s.places,
        "mountings": s.mountings,
        "repeats": s.repeats,
        **{
            f"{name}_mm": round(getattr(s, name) * 1e3, 6)
            for name in (
                "repeatability",
                "repeatability_low",
                "repeatability_high",
                "reproducibility",
                "gauge",
                "between",
            )
        },
        "steps": round(s.steps, 2) if math.isfinite(s.steps) else None,
        "interaction_pooled": s.pooled,
    }
