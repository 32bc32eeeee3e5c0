"""Photographs that are sent with a form: kept once, and shown as pictures and nothing else."""

from __future__ import annotations

import hashlib
from uuid import UUID

from crowlight.bench.workshop_kinds import Photo
from crowlight.errors import Conflict, CrowlightError
from crowlight.web.sending import Bench, Sent, status_of, trouble_of
from crowlight.web.typing_in import Trouble

__all__ = ["PICTURE_HEADERS", "keep_sent"]

#: A picture is shown and nothing else: no script, no style, no frame, no sniffing of its type.
PICTURE_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Cache-Control": "private, max-age=3600",
}


def keep_sent(bench: Bench, reed: UUID, shows: str, sent: Sent) -> tuple[int, list[Trouble]]:
    """Keep the photograph of a form; sending the same form again is harmless.

    Returns
    -------
    status : int
        For the answer; 303 if it is kept.
    troubles : list of Trouble
        Why it is not; empty if it is.
    """
    name, data = sent.files["photo"]
    try:
        _keep_once(bench, reed, data, shows, sent)
    except CrowlightError as error:
        status, trouble = status_of(error), trouble_of(error, bench.words)
        text = f"{name[:60]}: {trouble.text}"
        return status, [Trouble("photo" if status == 422 else "", text)]
    return 303, []


def _keep_once(bench: Bench, reed: UUID, data: bytes, shows: str, sent: Sent) -> None:
    try:
        bench.desk.posted.keep_photo(
            reed,
            data,
            shows=shows,
            remark=sent.one("remark"),
            uuid=sent.uuid,
            expected_seq=sent.seen,
        )
    except Conflict:
        photos = (e for e in bench.desk.posted.photos(reed) if e.uuid == sent.uuid)
        kept = next(photos, None)
        if kept is None or not isinstance(kept.payload, Photo):
            raise
        told = {"digest": hashlib.sha256(data).hexdigest(), "media_type": kept.payload.media_type}
        told |= {"shows": shows, "remark": sent.one("remark")}
        if Photo.model_validate(told) != kept.payload:
            raise
