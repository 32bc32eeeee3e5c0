"""One reed with one policy, from the first measurement to the last word."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from crowlight.calibrate.learning import Predicted
from crowlight.errors import CrowlightError
from crowlight.invented.trials.bench import STOP, Deed, Done, Policy, Result, Seen, Told
from crowlight.invented.trials.faults import CURABLE
from crowlight.invented.trials.feel import crow, distance, hear, inside, play, sensations
from crowlight.invented.trials.knife import Knife, clip, scrape
from crowlight.invented.trials.planner import Planner
from crowlight.invented.trials.rivals import FixedOrder, MatchStyle, Nothing, RandomScraping
from crowlight.invented.trials.seeds import VARIANTS, Variant
from crowlight.invented.trials.start import Start, gauge, start
from crowlight.invented.trials.truth import SIGNED, TrueReed, outputs_of
from crowlight.reed import Blade

__all__ = ["POLICIES", "run_one"]

POLICIES: Mapping[str, Callable[[], Policy]] = {
    "planner": Planner,
    "fixed order": FixedOrder,
    "match style": MatchStyle,
    "random": RandomScraping,
    "nothing": Nothing,
}
#: Cuts a policy may make, sittings it may take, and steps after which it is sent home.
MOST_CUTS, MOST_SITTINGS, MOST_STEPS = 8, 6, 80
#: Attention each deed takes [min]: setting up the gauge and seconds per reading besides.
_MINUTES: Mapping[str, float] = {
    "gauge": 2.0, "play": 3.0, "scrape": 1.0, "clip": 2.0, "squeeze": 2.0, "rest": 1.0,
    "other": 2.0,
}  # fmt: skip
_PER_READING, _CHECK = 5.0 / 60.0, 0.25
#: Cane rises overnight [m], less each night; the opening wanders (natural log).
_RISE, _FADES, _WANDERS = 1.5e-6, 0.6, 0.04
#: A squeeze reaches this share of what was wanted, and this share of it is there the next day.
_SQUEEZED, _KEPT = (0.6, 1.0), (0.4, 0.8)
#: A zone's floor is crossed when so much more of it lies below than did at the start.
_CROSSED = 0.08
#: What is worth hearing as better or worse in 15 seconds.
_HEARD = 0.25


@dataclass
class _Bench:
    """The reed on the bench; the only thing in a trial that changes."""

    begin: Start
    reed: TrueReed
    knife: Knife
    rng: np.random.Generator
    ruined: str = ""
    minutes: float = 0.0
    nights: int = 0
    _last: tuple[TrueReed, dict[str, float], dict[str, float]] | None = None

    def _now(self) -> tuple[TrueReed, dict[str, float], dict[str, float]]:
        if self._last is None or self._last[0] is not self.reed:
            player = self.begin.player
            outputs = outputs_of(self.begin.solved, self.reed)
            felt = sensations(self.reed, outputs, player.loved, player.wanted)
            self._last = (self.reed, outputs, felt)
        return self._last

    def felt(self) -> dict[str, float]:
        """Return the sensations of the reed as it is."""
        return self._now()[2]

    def outputs(self) -> dict[str, float]:
        """Return the outputs of the reed as it is."""
        return self._now()[1]


def run_one(policy: str, seed: int, variant: str = "usual") -> dict[str, Any]:
    """Let a policy finish the reed of a seed.

    Parameters
    ----------
    policy : str
        A key of `POLICIES`.
    seed : int
        Which reed.
    variant : str
        A key of `VARIANTS`.

    Returns
    -------
    dict
        Plain values, fit for one line of JSON.
    """
    of = VARIANTS[variant]
    begin = start(seed, of)
    rng = np.random.default_rng([8_213, seed])
    bench = _Bench(begin, begin.solved.reed, begin.player.knife.next_day(rng), rng)
    mind = np.random.default_rng([8_214, seed])
    chosen = POLICIES[policy]()
    seen = Seen(bench.reed.style, begin.player.gauged, half=of.half, player=begin.player.number)
    first = felt = bench.felt()
    pits: list[tuple[str, float]] = []
    shares: list[float] = []
    named: tuple[tuple[str, str, str, str], ...] | None = None
    failed = ""
    for _ in range(MOST_STEPS):
        try:
            deed = chosen.step(seen, mind)
        except CrowlightError as error:  # a policy that cannot say anything leaves the reed
            deed, failed = STOP, str(error)
        named = deed.named if named is None else named
        if deed.kind == "stop" or (deed.cuts and seen.cuts >= MOST_CUTS):
            break
        if deed.kind == "rest" and seen.sitting + 1 >= MOST_SITTINGS:
            break
        before, outputs = felt, bench.outputs() if deed.told else {}
        seen = _do(bench, deed, seen, of)
        felt = bench.felt()
        result = _check(before, felt, bench) if deed.cuts or deed.kind == "squeeze" else None
        seen = replace(seen, log=(*seen.log, Done(deed, result, seen.sitting)))
        if deed.kind == "rest":
            seen = replace(seen, sitting=seen.sitting + 1)
        if deed.cuts:
            shares.append(1.0 - distance(felt) / max(distance(before), 1e-9))
            pits.extend(_pits(deed.told, outputs, bench.outputs()))
        if bench.ruined:
            break
    return {
        "policy": policy,
        "seed": seed,
        "variant": variant,
        "inside_at_first": inside(first),
        "inside": inside(felt) and not bench.ruined,
        "ruined": bench.ruined or None,
        "distance_at_first": round(distance(first), 4),
        "distance": round(distance(felt), 4),
        "felt_at_first": {k: round(v, 2) for k, v in first.items()},
        "felt": {k: round(v, 2) for k, v in felt.items()},
        "cuts": seen.cuts,
        "clips": sum(d.deed.kind == "clip" for d in seen.log),
        "cane_mm3": round(_cane(begin.solved.reed, bench.reed), 4),
        "minutes": round(bench.minutes, 1),
        "nights": bench.nights,
        "shares": [round(s, 4) for s in shares],
        "faults": [[f.code, f.blade, f.side, f.size, f.faint] for f in begin.faults],
        "failed": failed or None,
        "curable": all(f.code in CURABLE for f in begin.faults),
        "named": None if named is None else [list(n) for n in named[:5]],
        "pits": [[name, round(p, 4)] for name, p in pits],
        "deeds": [
            " ".join(
                str(x)
                for x in (d.deed.kind, d.deed.zone, d.deed.part, len(d.deed.blades),
                          d.deed.strokes, d.result)
            )
            for d in seen.log
        ],
    }  # fmt: skip


def _do(bench: _Bench, deed: Deed, seen: Seen, of: Variant) -> Seen:
    """Do it, and return what is seen of it."""
    rng = bench.rng
    bench.minutes += _MINUTES[deed.kind] + (_CHECK if deed.cuts else 0.0)
    match deed.kind:
        case "gauge":
            found = gauge(bench.reed, rng, half=of.half, rough=of.rough)
            bench.minutes += _PER_READING * len(found.readings)
            return replace(seen, gauged=found)
        case "play":
            felt, ear = bench.felt(), bench.begin.player.ear
            heard = crow(felt, rng) if of.sound else None
            return replace(seen, playing=play(felt, ear, rng), crow=heard)
        case "scrape":
            after = scrape(bench.reed, deed, bench.knife, rng)
            bench.reed = after.reed
            bench.ruined = "torn" if after.torn else _crossed(bench, deed)
        case "clip":
            after = clip(bench.reed, deed.amount, rng)
            bench.reed = after.reed
            style = bench.reed.style
            short = style.thread_top + style.lengths["shortest_blade"].value
            bench.ruined = "torn" if after.torn else "short" if after.reed.length < short else ""
        case "squeeze":
            reached = float(rng.uniform(*_SQUEEZED)) * deed.amount
            kept = float(rng.uniform(*_KEPT)) * reached
            reed = bench.reed
            opening = float(np.clip(reed.opening + reached, 0.2e-3, 1.4e-3))
            bench.reed = replace(reed, opening=opening, settled=reed.settled + kept)
        case "rest":
            bench.reed = _overnight(bench.reed, bench.nights, rng)
            bench.nights += 1
            bench.knife = bench.knife.next_day(rng)
        case _:
            pass
    return seen


def _overnight(reed: TrueReed, nights: int, rng: np.random.Generator) -> TrueReed:
    rise = _RISE * _FADES**nights * max(1.0 + 0.7 * float(rng.standard_normal()), 0.0)
    drift = float(np.exp(0.01 + _WANDERS * rng.standard_normal()))
    opening = float(np.clip(reed.settled * drift, 0.2e-3, 1.4e-3))
    return replace(reed, thick=reed.thick + rise, opening=opening, settled=opening)


def _crossed(bench: _Bench, deed: Deed) -> str:
    """Return whether the floor of a zone was crossed by what was scraped, and of which."""
    reed, old = bench.reed, bench.begin.solved.reed
    floor = reed.floor()
    for zone, nodes in reed.zones().items():
        for b, blade in enumerate(Blade):
            if nodes.any() and blade in deed.blades:
                now = float((reed.thick[b] < floor)[nodes].mean())
                then = float((old.thick[b] < floor)[nodes].mean())
                if now > then + _CROSSED:
                    return f"floor of the {zone}"
    return ""


def _check(before: Mapping[str, float], after: Mapping[str, float], bench: _Bench) -> Result:
    """Return what 15 seconds of one slow swell tell this player."""
    ear = bench.begin.player.ear
    step = distance(hear(before, ear, bench.rng)) - distance(hear(after, ear, bench.rng))
    return "better" if step > _HEARD else "worse" if step < -_HEARD else "same"


def _pits(
    told: tuple[Told, ...], before: Mapping[str, float], after: Mapping[str, float]
) -> list[tuple[str, float]]:
    """Return where what happened lies in what was told, 0 to 1, by output."""
    found: list[tuple[str, float]] = []
    for t in told:
        if t.name in before and t.name in after and t.high > t.low:
            change = after[t.name] - before[t.name]
            change = change / before[t.name] if t.share and t.name not in SIGNED else change
            found.append((t.name, float(Predicted(t.low, t.middle, t.high).cdf(change))))
    return found


def _cane(old: TrueReed, new: TrueReed) -> float:
    """Cane taken off by the knife and with the clip [mm³]."""
    half = old.style.outline.half_width(old.along)
    cell = (old.along[1] - old.along[0]) * half[:, None] * (2.0 / 24.0)
    there = (old.along <= old.length)[:, None]
    left = (old.along <= new.length)[:, None]
    was = float((old.thick * there * cell).sum())
    now = float((np.minimum(new.thick, old.thick) * left * cell).sum())
    return (was - now) * 1e9
