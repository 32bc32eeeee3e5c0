"""Other reeds an advice looks at: the one a player loves, the maker's good ones, the batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from crowlight.bench.advice_kinds import Wish
from crowlight.bench.inputs import blade_inputs
from crowlight.bench.known import wish_of
from crowlight.bench.ports import Maker, Reed, ReedQuery
from crowlight.bench.state import ReedState, state_of
from crowlight.errors import InputError, NotFound, OutsideModel
from crowlight.judge.findings import Known, Support, Where, rank

if TYPE_CHECKING:
    from crowlight.bench.advise import Wanted
    from crowlight.bench.desk import Desk
    from crowlight.bench.shape import Kept

__all__ = ["Neighbours"]

#: Good reeds that are averaged, and how many there must be.
MOST_GOOD, LEAST_GOOD = 4, 2
#: Reeds of a batch that are looked at.
MOST_MATES = 6
#: Reeds of a player that are looked through for the one they love.
MOST_LOVED = 30
#: Groups of findings that a batch may share.
_SHARED = frozenset({"tip", "blend", "heart", "balance", "before-the-knife", "opening"})


@dataclass(frozen=True, kw_only=True)
class Neighbours:
    """Looks at other reeds for one reed; joined to a desk."""

    desk: Desk
    reed: Reed
    state: ReedState

    def wanted(self) -> Wanted:
        """Return what this player wants, from the best source there is."""
        from crowlight.bench.advise import Wanted

        wish = wish_of(self.state)
        loved = wish.loved if wish else None
        scales = (None, None, None)
        if wish is not None:
            scales = (wish.easy_resistant, wish.covered_bright, wish.closed_open)
        loved = loved or self._loved_elsewhere()
        if loved is not None and loved != self.reed.uuid:
            try:
                other = self.desk.records.reed(loved)
                return Wanted(loved=self._shape(other, solve=True), name=other.name, words=scales)
            except (NotFound, InputError):
                pass  # not kept, or not measured: then it cannot be aimed at
        return Wanted(words=scales, good=self._good())

    def _loved_elsewhere(self) -> UUID | None:
        """Return the reed this player said they love, whichever reed it was said of."""
        people = self.desk.records.people()
        player = next((p for p in people if p.uuid == self.reed.player), None)
        if player is None:
            return None
        found: list[tuple[Any, UUID]] = []
        for row in self.desk.reeds(ReedQuery(text=player.name, limit=MOST_LOVED)).rows:
            other = self.desk.records.reed(row.uuid)
            if other.player == player.uuid and other.uuid != self.reed.uuid:
                for e in state_of(self.desk.records.entries(other.uuid)).entries:
                    if isinstance(e.payload, Wish) and e.payload.loved is not None:
                        found.append((e.happened_at, e.payload.loved))
        return max(found)[1] if found else None

    def _good(self) -> tuple[Kept, ...]:
        """Return the maker's best graded other reeds of this style."""
        from crowlight.bench.desk import LIKED

        people = self.desk.records.people()
        maker = next((p for p in people if p.uuid == self.reed.maker), None)
        code = self.state.described.style
        if not isinstance(maker, Maker) or not code:
            return ()
        query = ReedQuery(text=maker.name, sort="grade", descending=True, limit=20)
        shapes: list[Kept] = []
        for row in self.desk.reeds(query).rows:
            fits = (row.grade or 0) >= LIKED and row.readings and row.style == code
            if fits and row.uuid != self.reed.uuid and row.invented == self.reed.invented:
                try:
                    shapes.append(self._shape(self.desk.records.reed(row.uuid)))
                except (InputError, OutsideModel):
                    continue
            if len(shapes) == MOST_GOOD:
                break
        return tuple(shapes) if len(shapes) >= LEAST_GOOD else ()

    def _shape(self, reed: Reed, *, solve: bool = False) -> Kept:
        """Return the shape of a kept reed.

        Raises
        ------
        InputError
            If it cannot be mapped.
        """
        state = state_of(self.desk.records.entries(reed.uuid))
        inputs = blade_inputs(self.desk.reed_inputs(reed, state), state)
        return self.desk.computed(
            "reed-shape", {**inputs, "solve": solve}, sticky=str(self.reed.uuid)
        )

    def batch_alike(self) -> tuple[int, int] | None:
        """Count other reeds of the batch that show, by shape alone, what this one shows first."""
        batch = self.reed.batch
        if batch is None or not self.state.readings:
            return None
        named = next((b.name for b in self.desk.records.batches() if b.uuid == batch), "")
        rows = self.desk.reeds(ReedQuery(batch=named, limit=MOST_MATES + 1)).rows
        mates = [row.uuid for row in rows if row.uuid != self.reed.uuid and row.readings]
        first = self._first(self.reed) if mates else None
        if first is None:
            return None
        told: list[bool] = []
        for uuid in mates[:MOST_MATES]:
            mate = self.desk.records.reed(uuid)
            if mate.batch == batch and (shown := self._supported(mate)) is not None:
                told.append(first in shown)
        return (sum(told), len(told)) if told else None

    def _supported(self, reed: Reed) -> tuple[tuple[str, Where], ...] | None:
        """Return what the shape of a reed alone shows with fair support; None without a map."""
        try:
            found = rank(Known(geometry=self._shape(reed).doubted))
        except (InputError, OutsideModel):
            return None
        named = (Support.FAIR, Support.STRONG)
        return tuple(
            (r.finding.code, r.where)
            for r in found.ranked
            if r.support in named and r.finding.group in _SHARED
        )

    def _first(self, reed: Reed) -> tuple[str, Where] | None:
        return next(iter(self._supported(reed) or ()), None)
