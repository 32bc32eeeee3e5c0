"""Reeds made together, and the figures of the whole workshop: what the desk does with them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from crowlight.bench.batch_facts import facts_of
from crowlight.bench.kinds import Note
from crowlight.bench.ports import Batch, Maker, Reed, ReedQuery
from crowlight.bench.state import state_of
from crowlight.bench.tasks import result_key, task_named
from crowlight.bench.workshop_kinds import MAKING
from crowlight.errors import NotFound
from crowlight.reed import Repeatability

if TYPE_CHECKING:  # they load the statistics, which most of the desk does without
    from crowlight.batch.figures import Figures
    from crowlight.bench.batch_found import BatchFound
    from crowlight.bench.batch_reed import BatchReed
    from crowlight.bench.desk import Desk
    from crowlight.bench.gauge_trial import GaugeTrial

__all__ = ["OTHERS", "BatchLine", "BatchShown", "Batches"]

#: Most reeds of the same maker that good and poor ones are looked for among, besides the batch.
OTHERS = 60
_EACH = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLine:
    """One batch in the list: its maker's name and how many reeds it has."""

    batch: Batch
    maker: str
    reeds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShown:
    """A batch with what it tells.

    Parameters
    ----------
    batch : Batch
        Which.
    maker : Maker or None
        Who made it, if that is known.
    names : mapping of UUID to str
        The reeds' names.
    invented : bool
        Whether any of them was made up.
    found : BatchFound
        What it tells.
    """

    batch: Batch
    maker: Maker | None
    names: Mapping[UUID, str]
    invented: bool
    found: BatchFound


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a batch's answer follows from; `told` stands for all of it."""

    batch: Batch
    maker: UUID | None
    reeds: tuple[Reed, ...]
    others: tuple[Reed, ...]
    rests: Mapping[UUID | None, Mapping[str, Any]]
    told: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batches:
    """Batches and the workshop's figures; part of a `crowlight.bench.desk.Desk`."""

    desk: Desk

    def all(self) -> tuple[BatchLine, ...]:
        """Return all batches by name."""
        makers = {p.uuid: p.name for p in self.desk.people.all() if isinstance(p, Maker)}
        return tuple(
            BatchLine(
                batch=b,
                maker=makers.get(b.maker, "") if b.maker else "",
                reeds=self.desk.reeds(ReedQuery(batch=b.name, limit=1)).total,
            )
            for b in self.desk.people.batches()
        )

    def reeds_of(self, batch: Batch) -> tuple[Reed, ...]:
        """Return the reeds of a batch by name."""
        records, found = self.desk.records, list[Reed]()
        while True:
            page = records.reeds(
                ReedQuery(
                    batch=batch.name,
                    sort="name",
                    descending=False,
                    offset=len(found),
                    limit=_EACH,
                )
            )
            found += [records.reed(r.uuid) for r in page.rows]
            if not page.rows or len(found) >= page.total:
                # two batches may have one name
                return tuple(r for r in found if r.batch == batch.uuid)

    def move(
        self,
        reeds: Sequence[UUID],
        to: Batch | None,
        *,
        said: Callable[[Reed], str],
        sent: UUID,
    ) -> int:
        """Put reeds into a batch, or out of the one they are of; each tells so in its own log.

        Batches are ordinary rows, so that their names can be changed; the log keeps what was done.

        Parameters
        ----------
        reeds : sequence of UUID
            Which; those that are there already are left alone.
        to : Batch or None
            The batch; None for none.
        said : callable
            From a reed as it was to what its log is to say.
        sent : UUID
            Of what was sent: sending it again does only what is still to be done.

        Returns
        -------
        int
            How many were moved.

        Raises
        ------
        NotFound
            If one of them is not kept; then none is moved.
        """
        records = self.desk.records
        kept = [records.reed(uuid) for uuid in dict.fromkeys(reeds)]
        moving = [r for r in kept if r.batch != (to.uuid if to else None)]
        for reed in moving:
            entry = uuid5(sent, str(reed.uuid))
            # the note first: what breaks off in between is done by sending again
            if all(e.uuid != entry for e in records.entries_of_kinds({Note.kind}, reed=reed.uuid)):
                self.desk.write(reed.uuid, Note(text=said(reed)), uuid=entry)
            self.desk.people.assign(reed.uuid, batch=to.uuid if to else None)
        return len(moving)

    def of(self, key: str | UUID) -> BatchShown:
        """Say what a batch has in common and what differs in it.

        Parameters
        ----------
        key : str or UUID
            The batch.

        Returns
        -------
        BatchShown
            What it tells; kept, so that it is worked out again only after something changed.

        Raises
        ------
        NotFound
            If there is no such batch, or it has no reeds.
        """
        asked = self._asked(key)
        if (known := self._known(asked)) is not None:
            return known
        reeds, others = (
            [self._reed(r, asked.rests[r.maker]) for r in some]
            for some in (asked.reeds, asked.others)
        )
        batches = {str(r.uuid): str(r.batch or "") for r in (*asked.reeds, *asked.others)}
        inputs = {"batch": asked.batch.uuid, "reeds": reeds, "others": others, "batches": batches}
        return self._shown(asked, self.desk.computed("batch", inputs, told=asked.told))

    def kept(self, key: str | UUID) -> BatchShown | None:
        """Return what a batch tells if nothing needs to be worked out for it; raises as `of`."""
        return self._known(self._asked(key))

    def done(self, key: str | UUID) -> float:
        """Return the share of the reeds, 0 to 1, that are measured out already; raises as `of`."""
        asked = self._asked(key)
        every = (*asked.reeds, *asked.others)
        keys = [result_key("batch-reed", self._told(r, asked.rests[r.maker])) for r in every]
        return sum(self.desk.results.get(k) is not None for k in keys) / len(keys)

    def _asked(self, key: str | UUID) -> _Asked:
        """Gather what a batch's answer follows from, without reading an entry."""
        batch = self.desk.people.batch(key)
        reeds = self.reeds_of(batch)
        if not reeds:
            msg = f"batch {batch.name!r} has no reeds yet; give it some with: crowlight assign"
            raise NotFound(msg)
        maker = batch.maker or next((r.maker for r in reeds if r.maker), None)
        own = {r.uuid for r in reeds}
        latest = self.desk.records.latest_reeds(maker, OTHERS + len(own)) if maker else ()
        others = tuple(r for r in latest if r.uuid not in own)[:OTHERS]
        rests = self._rests({r.maker for r in (*reeds, *others)})
        told = {
            "batch": str(batch.uuid),
            "rests": [rests[maker] for maker in sorted(rests, key=str)],
            "reeds": [f"{r.uuid}:{r.seq}" for r in reeds],
            "others": [f"{r.uuid}:{r.seq}" for r in others],
            "batches": [str(r.batch or "") for r in (*reeds, *others)],
        }
        return _Asked(batch, maker, reeds, others, rests, told)

    def _known(self, asked: _Asked) -> BatchShown | None:
        codec = task_named("batch").load()[1]
        known = self.desk.results.get(result_key("batch", asked.told))
        return None if known is None else self._shown(asked, codec.from_bytes(known))

    def _shown(self, asked: _Asked, found: BatchFound) -> BatchShown:
        people = {p.uuid: p for p in self.desk.people.all() if isinstance(p, Maker)}
        return BatchShown(
            batch=asked.batch,
            maker=people.get(asked.maker) if asked.maker else None,
            names={r.uuid: r.name for r in asked.reeds},
            invented=any(r.invented for r in asked.reeds),
            found=found,
        )

    def _rests(self, makers: Collection[UUID | None]) -> dict[UUID | None, dict[str, Any]]:
        """Return what the numbers of a maker's reeds rest on besides the reed's own entries.

        The maker's repeatability is taken to two digits: it moves a little with every new reed,
        and a whole batch must not be worked out anew for that.
        """
        # a style is never changed, so that its uuid stands for what it says
        styles = [str(s.uuid) for s in self.desk.styles()]
        return {
            maker: {
                "gauges": {
                    code: [float(f"{r.standard_deviation:.2g}"), _one_digit(r.dof)]
                    for code, r in sorted(self.desk.gauges(maker).items())
                },
                "styles": styles,
            }
            for maker in makers
        }

    def _told(self, reed: Reed, rest: Mapping[str, Any]) -> dict[str, Any]:
        return {"reed": f"{reed.uuid}:{reed.seq}", **rest}

    def _reed(self, reed: Reed, rest: Mapping[str, Any]) -> BatchReed:
        told = self._told(reed, rest)
        codec = task_named("batch-reed").load()[1]
        if (known := self.desk.results.get(result_key("batch-reed", told))) is not None:
            return codec.from_bytes(known)
        state = state_of(self.desk.records.entries(reed.uuid, up_to=reed.seq))
        inputs = self.desk.reed_inputs(reed, state)
        inputs["gauges"] = {c: Repeatability(sd, dof) for c, (sd, dof) in rest["gauges"].items()}
        inputs |= {"uuid": reed.uuid, "seq": reed.seq, "facts": facts_of(state)}
        return self.desk.computed("batch-reed", inputs, sticky=str(reed.uuid), told=told)

    def gauge_trials(self, reed: str | UUID) -> tuple[GaugeTrial, ...]:
        """Say how well gauge and hand repeat themselves; see `crowlight.bench.gauge_trial`."""
        from crowlight.bench.gauge_trial import gauge_trials

        kept = self.desk.records.reed(reed)
        return gauge_trials(kept.name, state_of(self.desk.records.entries(kept.uuid)))

    # --- the workshop -----------------------------------------------------------------------------

    def figures(self) -> Figures:
        """Work out what the workshop's work yields, over all reeds of its own making.

        Posted reeds, which others made, do not count.
        """
        from crowlight.batch.figures import workshop_figures
        from crowlight.bench.making import KINDS_LOOKED_AT, made_reeds

        entries = self.desk.records.plain_entries(KINDS_LOOKED_AT)
        return workshop_figures(made_reeds(entries), stages=len(MAKING))


def _one_digit(count: int) -> int:
    """Return a count with all but its first digit taken off.

    Examples
    --------
    >>> _one_digit(7), _one_digit(96), _one_digit(143)
    (7, 90, 100)
    """
    unit = 10 ** (len(str(count)) - 1)
    return count // unit * unit
