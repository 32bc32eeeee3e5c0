"""How much closer an act is expected to bring a reed, and how likely it is to do lasting harm.

Every act is tried on the same drawn reeds with the same drawn strokes (common random numbers), so
that differences between acts are not drowned by chance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from crowlight.plan.cut.chance import USUAL_LIMITS, Z95, Chance, Limits
from crowlight.plan.cut.correcting import Correcting
from crowlight.plan.cut.features import Features, features
from crowlight.plan.cut.now import ReedNow
from crowlight.plan.cut.options import MOST_CANE, Act
from crowlight.plan.cut.shapes import GUARDED, Earlier, Part, taken_off
from crowlight.plan.cut.strokes import StrokeSize
from crowlight.plan.cut.target import Goal, Target
from crowlight.reed import Blade

__all__ = ["Harm", "Scales", "Tried"]

Real = NDArray[np.float64]

#: A place counts as touched where the shape reaches this share of the most. Beyond the zone that is
#: scraped, what spills over must besides be more than the gauge may be off.
TOUCHED = 0.25
#: What spills over may take so much off the thinnest tenth of a neighbour without counting at all;
#: and so much, all cuts together, without having to be sure, of a guarded zone on average [m] (our
#: choice): little by little adds up, and no gauge sees it.
_NOTHING, _LITTLE = 0.3e-6, 1e-6
#: How many times as much as taken to may spill over into spine, rails or bark, where a tenth is but
#: a guess (our choice).
_GUARD = 1.5
#: The floor is judged by the thinnest places touched in a zone, this share of them: a zone ends
#: where its neighbour begins, and its very edge is not yet its own.
_THINNEST = 0.1
#: How far off a zone may begin, standard deviation, and how far off a cut may land [m] (our
#: choice): on a slope of 0.2 that is 0.03 mm of thickness, and an edge cut in full, not by half.
_LINE, _MISS = 0.15e-3, 0.25e-3
#: Doubt of a slope of the blade model, standard deviation as a share of it (our choice: tested to
#: a few per cent against solving anew, but cane and rest shape vary more than the model says).
_SLOPE = 0.2
#: How far what each side of each blade does to an output is off, standard deviation as a share: no
#: hand scrapes two sides alike, and slopes of balance and closing hang on unevenness too small to
#: measure. So wide that four in five intervals held what happened on invented reeds; ours, no
#: source beside them.
_QUARTER: Mapping[str, float] = {
    "closing_pressure": 0.58, "tilt": 0.13, "unevenness": 0.30, "separation": 0.30,
    "compliance": 0.10,
}  # fmt: skip
_QUARTERS = 0.28
#: The same for what treats all alike and for a clip, as a share of what the slopes say: what it
#: does to balance, they cannot tell the sign of; and what it does to the rest.
_BALANCE, _CLIPPED = 1.6, 0.2
#: Scatter of a clip made against a stop [m] (common practice, no source).
_CLIP = 0.03e-3
#: Chance that one stroke tears or nicks what it is on (a guess; common practice, no source): where
#: the tip's corners are worked on, elsewhere in the tip, and behind it.
_TEAR: Mapping[str, float] = {"corner": 0.004, "tip": 0.002, "": 0.0002}
#: The same for a clip.
_NICK = 0.01


@dataclass(frozen=True, slots=True)
class Harm:
    """How likely an act is to do lasting harm, by what.

    Parameters
    ----------
    floor, length : float
        Probability of crossing the floor of a zone, or the shortest length or tip; from the map
        and the strokes.
    tear : float
        Of tearing or nicking; common practice, no source.
    """

    floor: float = 0.0
    length: float = 0.0
    tear: float = 0.0

    @property
    def total(self) -> float:
        """Of any of them, taken as independent."""
        return 1.0 - (1.0 - self.floor) * (1.0 - self.length) * (1.0 - self.tear)

    @property
    def crossing(self) -> float:
        """The part a plan can keep small by cutting elsewhere or less."""
        return max(self.floor, self.length)


@dataclass(frozen=True)
class Tried:
    """An act tried on all drawn reeds.

    Parameters
    ----------
    act : Act
        The act.
    gain : ndarray, shape (n,)
        How much closer to the target each drawn reed comes, in tolerances.
    change : ndarray, shape (n, n_outputs)
        Change of each output, as the model has it.
    harm : Harm
        Of lasting harm.
    """

    act: Act
    gain: Real
    change: Real
    harm: Harm

    @property
    def expected(self) -> float:
        """Expected gain."""
        return float(self.gain.mean())

    @property
    def better(self) -> float:
        """Probability of coming closer at all; a half where nothing changes."""
        return float((self.gain > 0).mean() + 0.5 * (self.gain == 0).mean())


class Scales:
    """Weighs acts on one reed against one target.

    Parameters
    ----------
    reed : ReedNow
        The reed.
    target : Target
        What to come close to. Goals the reed has no number for are left out.
    strokes : StrokeSize
        Cane per light stroke.
    chance : Chance
        Common random numbers.
    limits : Limits
        What may be risked.
    correcting : Correcting, optional
        What the maker's own cuts put right: it counts in the gain. What is told stays the model's.

    Notes
    -----
    The distance of a reed is the sum over goals of ``weight (sqrt(1 + z²) - 1)``, z the deviation
    in tolerances: quadratic near the target, linear far off, so one bad number does not drown the
    rest. It is convex in the cane taken off where outputs are linear in it.

    Tilt and unevenness of the opening hang on unevenness of thickness that no gauge sees. They are
    aimed at no more finely than they are known, and what treats sides and blades alike is not
    credited with moving them; evenness of thickness counts in full.
    """

    def __init__(
        self,
        reed: ReedNow,
        target: Target,
        strokes: StrokeSize,
        chance: Chance,
        limits: Limits = USUAL_LIMITS,
        *,
        earlier: Sequence[Earlier] = (),
        correcting: Correcting | None = None,
    ) -> None:
        self._correcting = correcting
        self.reed, self.target, self.limits = reed, target, limits
        self._strokes, self._chance = strokes, chance
        self._taken = taken_off(reed, earlier)
        self._line = _LINE * np.abs(np.gradient(reed.mean, reed.along, axis=1))
        self.features: Features = features(reed)
        known = [*reed.names, *self.features.names, "length"]
        goals = [g for g in target.goals if g.name in known]
        self._columns = [known.index(g.name) for g in goals]
        self._wanted = np.array([g.value for g in goals])
        self._tolerance = np.array([self._fine(g) for g in goals])
        self._weight = np.array([g.weight for g in goals])
        self._sums = self.features.of(reed.draws)
        self._now = self._state(reed.now, self._sums, reed.length)
        self._far = self.distance(self._now)

    def _fine(self, goal: Goal) -> float:
        """Return how finely a goal is aimed at: balance no more than it is known."""
        names = self.reed.names
        if goal.name not in names or not self.reed.signed[names.index(goal.name)]:
            return goal.tolerance
        return math.hypot(goal.tolerance, float(self.reed.now[:, names.index(goal.name)].std()))

    def _state(self, outputs: Real, sums: Real, length: Real) -> Real:
        every = np.concatenate([outputs, sums, length[:, None]], axis=1)
        return every[:, self._columns]

    def distance(self, state: Real) -> Real:
        """Return how far states are from the target, shape (n,)."""
        z = (state - self._wanted) / self._tolerance
        return (np.sqrt(1.0 + z**2) - 1.0) @ self._weight

    @property
    def distances(self) -> Real:
        """How far the drawn reeds are from the target now, shape (n,)."""
        return self._far

    def amount(self, act: Act) -> tuple[Real, Real, float, float]:
        """Return cane and clip taken off each drawn reed, and their middles [m]."""
        z = self._chance
        none = np.zeros(len(self.reed.draws))
        if act.kind == "clip":
            return none, np.maximum(act.clip + _CLIP * z.clips, 0.0), 0.0, act.clip
        if act.kind == "scrape":
            middle = act.strokes * self._strokes.median
            return self._strokes.cane(act.strokes, z.strokes), none, middle, 0.0
        return none, none, 0.0, 0.0

    def change(self, act: Act, solved: Mapping[str, float] | None = None) -> Real:
        """Return the change of the outputs of each drawn reed, shape (n, n_outputs).

        Parameters
        ----------
        act : Act
            The act.
        solved : mapping of str to float, optional
            Change of outputs found by solving the reed after the act at its middle amount; then
            the lines go through it, and are doubted by what they were off.
        """
        reed = self.reed
        cane, clip, middle, clipped = self.amount(act)
        if not act.cuts:
            return np.zeros(reed.now.shape)
        slope = reed.by_clip if act.kind == "clip" else -self._slopes(act)
        size, at = (clip, clipped) if act.kind == "clip" else (cane, middle)
        doubt = _SLOPE * slope  # with its sign: a mirrored reed must come out mirrored
        if solved:
            exact = np.array([solved.get(n, np.nan) for n in reed.names]) / at
            known = np.isfinite(exact)
            off = exact - slope
            doubt = np.where(known & (np.abs(off) > np.abs(doubt)), off, doubt)
            slope = np.where(known, exact, slope)
        if not act.lopsided:
            slope, doubt = (np.where(reed.signed, 0.0, x) for x in (slope, doubt))
        step = size[:, None] * (slope + doubt * self._chance.slopes)
        return reed.changed(step, np.zeros(len(step)))

    def _slopes(self, act: Act) -> Real:
        shape = np.zeros(self.reed.mean.shape) if act.shape is None else act.shape
        return np.tensordot(self.reed.by_cane, shape, axes=3)

    def surely_short(self, act: Act) -> bool:
        """Whether as much again would surely still help, and it is not too much for one test.

        For a clip: whether the reed would surely still be longer than wanted.
        """
        cane, _, middle, _ = self.amount(act)
        if act.kind == "clip":
            wanted = next((g.value for g in self.target.goals if g.name == "length"), math.inf)
            return float((self.reed.length - 2 * act.clip > wanted).mean()) >= self.limits.sure
        if not cane.any() or middle > MOST_CANE:
            return False
        twice = act.with_amount(2 * act.strokes)
        once, again = (self.gain(a, self.change(a)) for a in (act, twice))
        return float((again > once).mean()) >= self.limits.sure

    def uneven(self, act: Act) -> Real:
        """Return how much is added to the doubt of each output as told, shape (n_outputs,).

        A standard deviation, in the output's unit, for an uneven hand and slopes that cannot be
        trusted. It counts in what is told, not in the choice: it leans to neither side.
        """
        reed = self.reed
        if act.kind == "clip":
            return np.where(reed.signed, _BALANCE, _CLIPPED) * np.abs(reed.by_clip * act.clip)
        if act.shape is None:
            return np.zeros(len(reed.names))
        columns = (reed.by_cane * act.shape).sum(axis=2)
        u = reed.fraction
        sides = np.stack([u < 0.0, u > 0.0], axis=1) + 0.5 * (u == 0.0)[:, None]
        quarters = columns @ sides
        share = np.array([_QUARTER.get(name, _QUARTERS) for name in reed.names])
        sd = share * np.sqrt((quarters**2).sum(axis=(1, 2)))
        if not act.lopsided:
            sd = np.hypot(sd, np.where(reed.signed, np.abs(quarters.sum(axis=(1, 2))), 0.0))
        return self.amount(act)[2] * sd

    def gain(self, act: Act, change: Real) -> Real:
        """Return how much closer each drawn reed comes, shape (n,)."""
        if not act.cuts:
            return np.zeros(len(self.reed.draws))
        cane, clip, _, _ = self.amount(act)
        sums = self._sums
        if act.shape is not None:
            sums = sums - cane[:, None] * self.features.of(act.shape)
        after = self._state(self.reed.now + change, sums, self.reed.length - clip)
        return self._far - self.distance(after)

    def try_out(self, act: Act, solved: Mapping[str, float] | None = None) -> Tried:
        """Return an act tried on all drawn reeds."""
        change = self.change(act, solved)
        return Tried(act, self.gain(act, self._corrected(act, change)), change, self.harm(act))

    def _corrected(self, act: Act, change: Real) -> Real:
        if self._correcting is None:
            return change
        reed, uneven = self.reed, self.uneven(act)
        return self._correcting.change(act, reed.names, change, now=reed.now, uneven=uneven)

    def harm(self, act: Act) -> Harm:
        """Return how likely an act is to do lasting harm."""
        if not act.cuts:
            return Harm()
        cane, clip, middle, clipped = self.amount(act)
        if act.kind == "clip":
            return Harm(length=self._too_short(clip, clipped), tear=_NICK)
        spoilt = np.zeros(len(cane), bool)
        crossed = False
        for blade, nodes in self.touched(act):
            shape = (act.shape if act.shape is not None else self.reed.mean * 0)[blade][nodes]
            limit = self.reed.floor[nodes] + self.limits.gauge
            # the mean of the thinnest few is concave in the thickness: spreading the draws can only
            # add to those that cross
            after = self.reed.draws[:, blade][:, nodes] - limit - cane[:, None] * shape
            spoilt |= _thinnest(after) < 0.0
            best = self.reed.mean[blade][nodes] - limit - middle * shape
            crossed |= bool(_thinnest(best[None])[0] <= 0.0)
        share = float(spoilt.mean())
        crossed |= self._edges_under(act, middle)
        return Harm(floor=max(share, 0.5) if crossed else share, tear=_tear(act))

    def _edges_under(self, act: Act, middle: float) -> bool:
        """Whether a cut may bring a zone to its floor through what the chance above leaves out.

        That is what spills over into a neighbour, and all of it in a transition, whose slope turns
        a doubt of the line it begins at into one of thickness. What counts is what a cut as heavy
        and as near as may well be does to the thinnest tenth of the whole zone on the drawn reeds:
        a map drawn smooth is never as thin there as the cane. While all cuts together took but a
        little there, that must stay above the floor on average; else one standard deviation sure,
        and in a transition 95 % sure. From a guarded zone all cuts together may take a little on
        average, and more only while 95 % sure: a spine is often at its floor along both edges.
        """
        if act.shape is None:
            return False
        heavy = middle * math.exp(self._strokes.spread)
        nearer = _landing(act.shape, self.reed.along)
        for b in range(len(Blade)):
            for name, nodes in self.reed.where.items():
                own, guarded = name == act.zone, name in GUARDED
                shape = (act.shape if guarded else nearer)[b][nodes]
                bounded = (b, name) in self._above and shape.any()
                if not bounded or (own and name != "transition"):
                    continue
                spill, taken = heavy * shape, self._taken[b][nodes]
                above = self._above[b, name]
                if guarded:
                    much = _GUARD * float((spill + taken).mean()) > _LITTLE
                    if much and not _surely(_thinnest(above - _GUARD * spill), Z95):
                        return True
                    continue
                at_first, now, left = (_thinnest(above + x) for x in (taken, 0.0, -spill))
                much = own or float((at_first - left).mean()) > _LITTLE
                z = (Z95 if name == "transition" else 1.0) if much else 0.0
                if float((now - left).mean()) > _NOTHING and not _surely(left, z):
                    return True
        return False

    @cached_property
    def _above(self) -> dict[tuple[int, str], Real]:
        """Cane above the floor on the drawn reeds, lines where they may lie, shape (n, nodes) [m].

        By blade and zone; a zone without a floor has none.
        """
        above: dict[tuple[int, str], Real] = {}
        for name, nodes in self.reed.where.items():
            floor = self.reed.floor[nodes]
            if not nodes.any() or floor.max() <= 0.0:
                continue
            for b in range(len(Blade)):
                line = self._chance.lines[:, None] * self._line[b][nodes]
                above[b, name] = self.reed.draws[:, b][:, nodes] - floor - self.limits.gauge - line
        return above

    def touched(self, act: Act) -> list[tuple[int, NDArray[np.bool_]]]:
        """Return blade and nodes of the part of every zone an act takes cane from."""
        if act.shape is None:
            return []
        middle = self.amount(act)[2]
        spill = max(TOUCHED, self.limits.gauge / middle) if middle > 0 else TOUCHED
        return [
            (b, touched)
            for b in range(len(Blade))
            for name, nodes in self.reed.where.items()
            if (touched := nodes & (act.shape[b] > (TOUCHED if name == act.zone else spill))).any()
        ]

    def _too_short(self, clip: Real, clipped: float) -> float:
        """Probability of clipping past the shortest blade, or into a tip too short to speak."""
        style = self.reed.style
        least = style.thread_top + style.lengths["shortest_blade"].value
        if "transition" in self.reed.where and "tip" in style.lengths:
            zone = style.zone("transition")
            middle = 0.5 * (zone.start[0] + zone.stop[0])
            least = max(least, middle + style.lengths["tip"].low)
        share = float((self.reed.length - clip < least).mean())
        middle_length = style.length - clipped
        return max(share, 0.5) if middle_length <= least else share

    def cane_left(self, act: Act) -> dict[tuple[str, Blade], float]:
        """Return cane above the floor after an act, by zone and blade [m], 95 % sure."""
        cane, _, _, _ = self.amount(act)
        out: dict[tuple[str, Blade], float] = {}
        for name, nodes in self.reed.where.items():
            if self.reed.floor[nodes].max() <= 0.0:
                continue
            limit = self.reed.floor[nodes] + self.limits.gauge
            for b, blade in enumerate(Blade):
                after = self.reed.draws[:, b][:, nodes] - limit
                if act.shape is not None:
                    after = after - cane[:, None] * act.shape[b][nodes]
                out[name, blade] = float(np.quantile(_thinnest(after), 0.05))
        return out

    def thicker(self, act: Act) -> float:
        """Return how sure it is that what is cut is thicker than what it is to be made like.

        Returns
        -------
        float
            On one side: compared with the other side of the same blade. All over one blade: with
            the place of the other blade that lies across the opening. 1 for acts that treat all
            alike; 0 if the best estimate says otherwise.
        """
        if not act.lopsided or act.shape is None:
            return 1.0
        least = 1.0
        others: list[Real] = []
        if act.part.lopsided:
            others.append(act.shape[..., ::-1])
        if len(act.blades) == 1 and not act.part.lopsided:
            # across the opening: left as seen of one blade faces right as seen of the other
            others.append(act.shape[::-1, :, ::-1])
        own = act.shape * self.reed.area
        for other in others:
            weight = (own - other * self.reed.area) / own.sum()
            best = float((self.reed.mean * weight).sum())
            drawn = self.reed.draws.reshape(len(self.reed.draws), -1) @ weight.ravel()
            least = min(least, float((drawn > 0.0).mean()) if best > 0.0 else 0.0)
        return least


def spread_out(reed: ReedNow, factor: float) -> ReedNow:
    """Return a reed known less well: the same draws, further from their best estimate."""
    middle = float(reed.style.length)
    return replace(
        reed,
        draws=reed.mean + factor * (reed.draws - reed.mean),
        length=middle + factor * (reed.length - middle),
    )


def _surely(margin: Real, z: float) -> bool:
    """Whether the mean of a margin is more than z of its standard deviations above nothing."""
    return float(margin.mean()) > z * float(margin.std())


def _landing(shape: Real, along: Real) -> Real:
    """Return the most a cut may take at each place if it lands off along the reed."""
    rows = max(1, round(_MISS / float(np.abs(np.diff(along)).mean())))
    found = shape.copy()
    for k in range(1, rows + 1):
        found[:, k:] = np.maximum(found[:, k:], shape[:, :-k])
        found[:, :-k] = np.maximum(found[:, :-k], shape[:, k:])
    return found


def _thinnest(margin: Real) -> Real:
    """Mean of the smallest tenth of the nodes, shape (n,) for (n, nodes)."""
    k = max(1, int(_THINNEST * margin.shape[1]))
    return np.partition(margin, k - 1, axis=1)[:, :k].mean(axis=1)


def _tear(act: Act) -> float:
    corners = (Part.SIDES, Part.CORNERS, Part.LEFT_CORNER, Part.RIGHT_CORNER, Part.LEFT, Part.RIGHT)
    place = "" if act.zone != "tip" else "corner" if act.part in corners else "tip"
    return 1.0 - (1.0 - _TEAR[place]) ** (act.strokes * len(act.blades))
