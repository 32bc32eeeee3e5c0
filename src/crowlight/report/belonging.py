"""What the log of a reed says when it goes into a batch, or to another maker or player."""

from __future__ import annotations

from collections.abc import Mapping
from uuid import UUID

from crowlight.bench.ports import Reed
from crowlight.report.words import Words, mark

__all__ = ["given_said", "put_said", "taken_said"]


def put_said(reed: Reed, batch: str, names: Mapping[UUID, str], words: Words) -> str:
    """Say that a reed is put into a batch.

    Parameters
    ----------
    reed : Reed
        As it was.
    batch : str
        The name of the batch.
    names : mapping of UUID to str
        The names of the batches that were kept before.
    words : Words
        The language.
    """
    old = names.get(reed.batch, "") if reed.batch else ""
    if old:
        text = mark("Put into the batch “%(batch)s”; it was of “%(old)s”.")
        return words.say(text, batch=batch, old=old)
    return words.say(mark("Put into the batch “%(batch)s”."), batch=batch)


def taken_said(batch: str, words: Words) -> str:
    """Say that a reed is taken out of the batch of this name."""
    return words.say(mark("Taken out of the batch “%(batch)s”."), batch=batch)


def given_said(was: Reed, now: Reed, names: Mapping[UUID, str], words: Words) -> str:
    """Say what changed in whose a reed is; empty if nothing did.

    Makers and players are not named: a log is never changed, and a person may be erased.

    Parameters
    ----------
    was, now : Reed
        Before and after.
    names : mapping of UUID to str
        The names of the batches.
    words : Words
        The language.
    """
    said: list[str] = []
    if was.maker != now.maker:
        said.append(words.say(_MAKER[was.maker is not None, now.maker is not None]))
    if was.player != now.player:
        said.append(words.say(_PLAYER[was.player is not None, now.player is not None]))
    if was.batch != now.batch and now.batch:
        said.append(put_said(was, names.get(now.batch, ""), names, words))
    elif was.batch != now.batch and was.batch:
        said.append(taken_said(names.get(was.batch, ""), words))
    return " ".join(said)


#: By whether there was one before, and whether there is one now.
_MAKER: Mapping[tuple[bool, bool], str] = {
    (False, True): mark("Its maker was written down."),
    (True, True): mark("Its maker was changed to another."),
    (True, False): mark("Its maker was taken away: nobody is written down."),
}
_PLAYER: Mapping[tuple[bool, bool], str] = {
    (False, True): mark("Its player was written down."),
    (True, True): mark("Its player was changed to another."),
    (True, False): mark("Its player was taken away: nobody is written down."),
}
