"""Advice: what may be wrong with a reed and what to do next, and the log of what was done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

from crowlight.bench.advice_kinds import Guess
from crowlight.bench.answering import Answering
from crowlight.bench.done import Deed, advised_entry, after_check, deed_of
from crowlight.bench.guesses import Scored, scored_guesses
from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.outcomes import BestMoment, Changed, best_moment, changed_by
from crowlight.bench.payload import Followed, Payload
from crowlight.bench.ports import Appended, Entry, NewEntry
from crowlight.bench.posted import check_may_cut
from crowlight.bench.sending import Entered, Sending
from crowlight.bench.state import state_of
from crowlight.errors import Conflict, InputError, NotFound

if TYPE_CHECKING:  # they load the blade model, which most of the desk does without
    from crowlight.bench.counsel import Counsel
    from crowlight.bench.desk import Desk

__all__ = ["Advice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The use cases of advice; part of a `crowlight.bench.desk.Desk`.

    Nothing here changes a reed's log but `did`, `something_else`, `rest`, `after` and `guess`.
    """

    desk: Desk

    # --- what the tool says -----------------------------------------------------------------------

    def plan(self, key: str | UUID) -> Counsel:
        """Return findings and the next cut of a kept reed.

        Every step works with what there is: without readings, words and taps still rank what may be
        wrong, no cut is offered, and measuring comes first.

        Parameters
        ----------
        key : str or UUID
            The reed.

        Returns
        -------
        Counsel
            Kept by everything it was worked out from: asking again is cheap.

        Raises
        ------
        NotFound
            If there is no such reed.
        """
        return Answering(desk=self.desk).counsel(self.desk.records.reed(key))

    def shown(self, key: str | UUID, digest: str) -> Counsel:
        """Return the advice somebody saw, by its digest.

        Raises
        ------
        Conflict
            If it is no longer kept and would come out otherwise now.
        """
        kept = Answering(desk=self.desk).kept(digest)
        if kept is not None:
            return kept
        now = self.plan(key)
        if digest and now.digest != digest:
            msg = "the advice has changed since it was shown; look at it again, then write it down"
            raise Conflict(msg)
        return now

    # --- what was done ----------------------------------------------------------------------------

    def did(
        self,
        key: str | UUID,
        option: int | None = None,
        *,
        deed: Deed | None = None,
        digest: str = "",
        **sending: Unpack[Sending],
    ) -> Appended:
        """Write down that an option was followed, with the advice it was part of.

        Parameters
        ----------
        key : str or UUID
            The reed.
        option : int, optional
            Which option; the advised one if not given.
        deed : Deed, optional
            What was done otherwise than offered: strokes, clip, words.
        digest : str
            Of the advice that was shown; that of now if empty.
        **sending
            See `crowlight.bench.sending.Sending`.

        Raises
        ------
        InputError
            If there is no such option, or leaving it is to be written down.
        Conflict
            If somebody wrote in between, or the advice is another by now.
        """
        counsel = self.shown(key, digest)
        chosen = counsel.plan.advised if option is None else option
        if not 0 <= chosen < len(counsel.plan.options):
            msg = f"option {chosen} is not one of the {len(counsel.plan.options)} that were offered"
            raise InputError(msg)
        advice = self._advice_of(key, counsel, sending.get("at"))
        payload = deed_of(counsel.plan.options[chosen], deed or Deed(), advice.uuid, chosen)
        return self._append(key, advice, payload, **sending)

    def something_else(
        self,
        key: str | UUID,
        payload: Any,
        *,
        digest: str = "",
        **sending: Unpack[Sending],
    ) -> Appended:
        """Write down what was done instead of what was advised.

        Parameters
        ----------
        key : str or UUID
            The reed.
        payload : Cut, Clip, Rest or Treated
            What was done.
        digest, **sending
            As in `did`.
        """
        advice = self._advice_of(key, self.shown(key, digest), sending.get("at"))
        instead = payload.model_copy(update={"advised": advice.uuid, "option": None})
        return self._append(key, advice, instead, **sending)

    def rest(
        self,
        key: str | UUID,
        *,
        digest: str = "",
        **sending: Unpack[Sending],
    ) -> Appended:
        """Write down that it is rested: the last of the options."""
        counsel = self.shown(key, digest)
        last = len(counsel.plan.options) - 1
        return self.did(key, last, digest=counsel.digest, **sending)

    def after(
        self,
        key: str | UUID,
        result: str,
        *,
        follows: UUID | None = None,
        recording: UUID | None = None,
        remark: str = "",
        **sending: Unpack[Sending],
    ) -> Appended:
        """Write down how it was afterwards: better, the same or worse.

        Parameters
        ----------
        key : str or UUID
            The reed.
        result : {"better", "same", "worse"}
            One slow swell afterwards.
        follows : UUID, optional
            What was done; the latest thing if not given.
        recording : UUID, optional
            The entry of a recording made for it.
        remark : str
            In words.
        **sending
            As in `did`.

        Raises
        ------
        InputError
            If nothing was done to this reed yet, or the result is none of the three.
        """
        reed = self.desk.records.reed(key)
        state = state_of(self.desk.records.entries(reed.uuid))
        payload = after_check(state, result, follows=follows, recording=recording, remark=remark)
        return self.desk.write(key, payload, **sending)

    def guess(
        self,
        key: str | UUID,
        guess: Guess,
        **sending: Unpack[Sending],
    ) -> Counsel:
        """Commit a hunch, then let the tool speak; both are written down and scored later.

        Returns
        -------
        Counsel
            What the tool says, as `plan` would.
        """
        self.desk.write(key, guess, **sending)
        counsel = self.plan(key)
        advice = self._advice_of(key, counsel, sending.get("at"))
        reed = self.desk.records.reed(key)
        if advice.uuid not in {e.uuid for e in self.desk.records.entries(reed.uuid)}:
            self.desk.records.append(reed.uuid, [advice])
        return counsel

    def _advice_of(self, key: str | UUID, counsel: Counsel, at: datetime | None) -> NewEntry:
        reed = self.desk.records.reed(key)
        entries = self.desk.records.entries(reed.uuid)
        liked = self.desk.records.reed(counsel.liked).uuid if counsel.liked else None
        now = at or self.desk.clock.now()
        return advised_entry(reed, counsel, entries, at=now, liked=liked)

    def _append(
        self,
        key: str | UUID,
        advice: NewEntry,
        payload: Any,
        *,
        expected_seq: int | None = None,
        **entered: Unpack[Entered],
    ) -> Appended:
        """Write advice and deed, both or neither; the advice only once."""
        reed = self.desk.records.reed(key)
        there = {e.uuid: e for e in self.desk.records.entries(reed.uuid)}
        deed = self.desk.new_entry(payload, **entered)
        kept = there.get(deed.uuid)
        if kept is not None and _bare(kept.payload) == _bare(payload):
            # the reply to the first sending was lost; the advice may be another one by now
            return Appended(entries=(kept,), added=0)
        if isinstance(payload, Cut | Clip):
            check_may_cut(self.desk.records, reed)
        both = [deed] if advice.uuid in there else [advice, deed]
        return self.desk.records.append(reed.uuid, both, expected_seq=expected_seq)

    # --- what came of it --------------------------------------------------------------------------

    def what_changed(self, key: str | UUID, done: UUID | None = None) -> Changed:
        """Compare what was predicted of a cut with what was found since.

        Parameters
        ----------
        key : str or UUID
            The reed.
        done : UUID, optional
            The entry of the cut; the latest one if not given.

        Raises
        ------
        NotFound
            If nothing was done to this reed, or it has no such entry.
        """
        reed = self.desk.records.reed(key)
        entries = self.desk.records.entries(reed.uuid)
        text = self.desk.style_text(state_of(entries).described.style)
        found = changed_by(entries, done, style_text=text)
        if found is None:
            msg = f"reed {reed.name!r} has no such cut, clip, rest or treatment; look at its log"
            raise NotFound(msg)
        return found

    def best_moment(self, key: str | UUID) -> BestMoment | None:
        """Return when a reed was liked best so far, and what has gone since; None if never."""
        reed = self.desk.records.reed(key)
        return best_moment(self.desk.records.entries(reed.uuid))

    def guesses(self, maker: UUID | None = None) -> Scored:
        """Score the hunches and the advice of a maker's reeds by what came of them."""
        return scored_guesses(self._logs(maker))

    def _logs(self, maker: UUID | None) -> list[tuple[Entry, ...]]:
        records = self.desk.records
        if maker is not None:
            reeds = records.latest_reeds(maker, 200)
        else:
            from crowlight.bench.ports import ReedQuery

            rows = records.reeds(ReedQuery(limit=200)).rows
            reeds = tuple(records.reed(row.uuid) for row in rows)
        return [records.entries(reed.uuid) for reed in reeds]


def _bare(payload: Payload) -> Payload:
    """Return what was done without the advice it followed."""
    if not isinstance(payload, Followed):
        return payload
    return payload.model_copy(update={"advised": None, "option": None})
