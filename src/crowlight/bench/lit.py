"""A reed against the light: its photographs, where it was marked in them, what they tell."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

import numpy as np

from crowlight.bench.light_kinds import LightMarks
from crowlight.bench.mapping import placed_style
from crowlight.bench.ports import Appended, Entry, Report
from crowlight.bench.sending import Sending
from crowlight.bench.state import ReedState, current, state_of
from crowlight.bench.tasks import result_key, task_named
from crowlight.bench.workshop_kinds import Photo
from crowlight.errors import NotFound
from crowlight.look import Frame, Look, Marks, measure
from crowlight.reed.styles import STYLE_CODES

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk

__all__ = ["Light", "LightFound", "Lit", "light"]

#: Whose outline is taken for a reed without a style: a width that is off on both sides alike does
#: not change a ratio of sides.
_USUAL = "long"


@dataclass(frozen=True, slots=True, kw_only=True)
class LightFound:
    """What was measured in a photograph.

    Parameters
    ----------
    look : Look
        The measurement.
    columns, rows : int
        Size of the picture it was made in, which its outlines count in [pixels].
    notes : tuple of str
        What was in doubt about the file; see `crowlight.bench.pixels.Pixels`.
    """

    look: Look
    columns: int
    rows: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Lit:
    """A photograph, the marks in it, and what they tell.

    Parameters
    ----------
    photo, marked : Entry
        The entries of both.
    marks : LightMarks
        What the second one says.
    found : LightFound
        The measurement.
    style : str
        Code of the style whose zones are told; empty if the reed has none.
    tip : float
        Where the tip lies, from the bottom rim [m].
    length_known : bool
        Whether that was measured before the photograph was kept; else it is today's, or a style's.
    """

    photo: Entry
    marked: Entry
    marks: LightMarks
    found: LightFound
    style: str
    tip: float
    length_known: bool


def light(inputs: Mapping[str, Any], report: Report = lambda _: None) -> LightFound:
    """Measure one photograph.

    Parameters
    ----------
    inputs : mapping
        ``light`` and ``clipped`` (ndarray, shape (n_rows, n_columns)), ``notes``; ``marks``, four
        points as shares of width and height: tip left, tip right, foot left, foot right; ``tip``
        and ``foot`` [m]; ``style``, ``style_text`` and ``length`` for the outline, and ``zones``,
        whether its zones are asked for.
    report : callable
        Not called: it takes less than a second.
    """
    del report
    picture = np.asarray(inputs["light"], float)
    rows, columns = picture.shape
    points = [(x * columns, y * rows) for x, y in inputs["marks"]]
    marks = Marks(**dict(zip(_POINTS, points, strict=True)))
    style = placed_style(inputs["style"], inputs["length"], inputs["style_text"])
    frame = Frame(tip=inputs["tip"], foot=inputs["foot"], outline=style.outline)
    zones = style.zones if inputs["zones"] else ()
    look = measure(picture, inputs["clipped"], marks, frame, zones=zones)
    return LightFound(look=look, columns=columns, rows=rows, notes=tuple(inputs["notes"]))


_POINTS = ("tip_left", "tip_right", "foot_left", "foot_right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Reeds against the light; part of a `crowlight.bench.desk.Desk`."""

    desk: Desk

    def keep(self, key: str | UUID, data: bytes, **sending: Unpack[Sending]) -> Entry:
        """Keep a photograph against the light; one that is kept already is not kept twice.

        Raises
        ------
        InputError
            If it is no picture that can be shown; nothing was kept.
        """
        digest = hashlib.sha256(data).hexdigest()
        for e in self.desk.posted.photos(key):
            if isinstance(e.payload, Photo) and e.payload.digest == digest:
                return e
        return self.desk.posted.keep_photo(key, data, shows="light", **sending).entries[0]

    def mark(self, key: str | UUID, marks: LightMarks, **sending: Unpack[Sending]) -> Appended:
        """Keep where a reed lies in one of its photographs.

        Raises
        ------
        NotFound
            If the reed has no such photograph.
        """
        self._photo(key, marks.photo)
        return self.desk.write(key, marks, **sending)

    def marked(self, key: str | UUID, photo: UUID | None = None) -> Entry | None:
        """Return the marks that were set last, in one photograph or in any that still counts."""
        reed = self.desk.records.reed(key)
        entries = current(self.desk.records.entries(reed.uuid))
        photos = {e.uuid for e in entries if isinstance(e.payload, Photo)}
        wanted = photos if photo is None else photos & {photo}
        found = [
            e for e in entries if isinstance(e.payload, LightMarks) and e.payload.photo in wanted
        ]
        return max(found, key=lambda e: e.seq, default=None)

    def look(self, key: str | UUID, photo: UUID | None = None) -> Lit | None:
        """Measure a photograph as it was marked last.

        Parameters
        ----------
        key : str or UUID
            The reed.
        photo : UUID, optional
            One of its photographs; the one that was marked last if not given.

        Returns
        -------
        Lit or None
            None if nothing was marked.

        Raises
        ------
        NotFound
            If there is no such reed or photograph.
        InputError
            If the photograph cannot be measured, or the reed's length does not fit its style.
        """
        reed = self.desk.records.reed(key)
        if photo is not None:
            self._photo(key, photo)
        marked = self.marked(key, photo)
        if marked is None or not isinstance(marked.payload, LightMarks):
            return None
        marks = marked.payload
        shot = self._photo(key, marks.photo)
        entries = self.desk.records.entries(reed.uuid)
        then = state_of(entries, up_to=shot.seq)
        asked = self._asked(state_of(entries), then, marks)
        assert isinstance(shot.payload, Photo)  # noqa: S101  # `_photo` returns nothing else
        found = self._found(shot.payload.digest, asked, sticky=str(reed.uuid))
        return Lit(
            photo=shot,
            marked=marked,
            marks=marks,
            found=found,
            style=asked["style"] if asked["zones"] else "",
            tip=asked["tip"],
            length_known=then.length is not None,
        )

    def _asked(self, now: ReedState, then: ReedState, marks: LightMarks) -> dict[str, Any]:
        """Gather what measuring needs besides the picture: the length is that of its day."""
        own = now.described.style
        if own not in STYLE_CODES and not self.desk.style_text(own):
            own = ""  # nothing is known of a style of this name
        code = own or _USUAL
        text = self.desk.style_text(code)
        length = then.length if then.length is not None else now.length
        style = placed_style(code, length, text)
        top = next((s.lengths.thread_top for s in (then, now) if s.lengths), None)
        foot = style.thread_top if top is None else top
        return {
            "style": code,
            "style_text": text,
            "zones": bool(own),
            "length": length,
            "tip": style.length,
            "foot": foot if marks.reach is None else style.length - marks.reach,
            "marks": tuple(getattr(marks, name) for name in _POINTS),
        }

    def _found(self, digest: str, asked: Mapping[str, Any], *, sticky: str) -> LightFound:
        told = {"digest": digest, **asked}
        known = self.desk.results.get(result_key("light", told))
        if known is not None:
            return task_named("light").load()[1].from_bytes(known)
        seen = self.desk.pictures.read(self.desk.blobs.get(digest))
        inputs = {**asked, "light": seen.light, "clipped": seen.clipped, "notes": seen.notes}
        return self.desk.computed("light", inputs, sticky=sticky, told=told)

    def _photo(self, key: str | UUID, photo: UUID) -> Entry:
        for e in self.desk.posted.photos(key):
            if e.uuid == photo:
                return e
        msg = "this reed has no such photograph; look at its page"
        raise NotFound(msg)
