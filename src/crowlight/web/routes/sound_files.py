"""What a recording's page loads: the sound itself, in whole or in part, and its pictures."""

from __future__ import annotations

import re
import unicodedata
from uuid import UUID

from fastapi import APIRouter, Request
from starlette.responses import Response

from crowlight.bench.listening import Listening
from crowlight.bench.recordings import KeptRecording, recordings_of
from crowlight.errors import NotFound
from crowlight.report.charts import chart_svg
from crowlight.report.sound_charts import intonation_chart, spectrogram_svg
from crowlight.report.words import mark
from crowlight.web.security import POLICY_REPORT
from crowlight.web.sending import Bench, UseBench

__all__ = ["kept_recording", "part_of", "plain_name", "router"]

router = APIRouter(include_in_schema=False)

#: The sound of an entry never changes.
_KEEP = "private, max-age=604800, immutable"
_PICTURE = {"Content-Security-Policy": POLICY_REPORT, "Cache-Control": "private, max-age=3600"}


def kept_recording(bench: Bench, reed: UUID, entry: UUID) -> KeptRecording:
    """Return a recording of a reed.

    Raises
    ------
    NotFound
        If the reed has no such recording, or it was withdrawn.
    """
    entries = bench.desk.records.entries(bench.desk.records.reed(reed).uuid)
    for kept in recordings_of(entries):
        if kept.entry.uuid == entry:
            return kept
    raise NotFound(bench.words(mark("This reed has no such recording; look at its log.")))


@router.get("/reeds/{reed}/sounds/{entry}/sound.flac")
def flac(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Return the kept sound."""
    payload = kept_recording(bench, reed, entry).payload
    data = bench.desk.blobs.get(payload.digest)
    return part_of(request, data, "audio/flac", tag=payload.digest)


@router.get("/reeds/{reed}/sounds/{entry}/sound.wav")
def wav(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Return the kept sound for browsers that do not play FLAC."""
    payload = kept_recording(bench, reed, entry).payload
    sounds = bench.desk.sounds
    data = sounds.to_wav(sounds.read(bench.desk.blobs.get(payload.digest)))
    return part_of(request, data, "audio/wav", tag=f"{payload.digest}-wav")


@router.get("/reeds/{reed}/sounds/{entry}/original")
def original(request: Request, reed: UUID, entry: UUID, bench: UseBench) -> Response:
    """Return the file as it came, to be saved: never shown, whatever it holds."""
    payload = kept_recording(bench, reed, entry).payload
    digest = payload.original or payload.digest
    answer = part_of(request, bench.desk.blobs.get(digest), "application/octet-stream", tag=digest)
    name = plain_name(str(payload.settings.get("file") or "recording"))
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def plain_name(name: str) -> str:
    r"""Return a file name that any file system and any header takes.

    Examples
    --------
    >>> plain_name('..\\"Möwe"\r\nSet-Cookie: a=b.wav')
    'Mowe-Set-Cookie-a-b.wav'
    """
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    safe = re.sub(r"[^A-Za-z0-9._]+", "-", re.sub(r".*[/\\]", "", ascii_only)).strip("-._")
    return safe[-80:].lstrip("-._") or "recording"


def part_of(request: Request, data: bytes, kind: str, *, tag: str) -> Response:
    """Return bytes, or the one part of them that was asked for (RFC 9110, section 14).

    Several parts at once, and units other than bytes, are answered with the whole.
    """
    etag = f'"{tag}"'
    headers = {"Accept-Ranges": "bytes", "ETag": etag, "Cache-Control": _KEEP}
    if request.headers.get("if-none-match") == etag:
        return Response(status_code=304, headers=headers)
    asked = request.headers.get("range", "")
    found = re.fullmatch(r"bytes=\s*([0-9]{0,15})-([0-9]{0,15})\s*", asked)
    fresh = request.headers.get("if-range", etag) == etag
    if not found or not fresh or found.groups() == ("", ""):
        return Response(data, media_type=kind, headers=headers)
    size, (first, last) = len(data), found.groups()
    start = int(first) if first else max(size - int(last), 0)
    stop = min(int(last) + 1, size) if first and last else size
    if first and last and int(last) < int(first):  # not a range at all
        return Response(data, media_type=kind, headers=headers)
    if start >= size or start >= stop:
        headers["Content-Range"] = f"bytes */{size}"
        return Response(status_code=416, headers=headers)
    headers["Content-Range"] = f"bytes {start}-{stop - 1}/{size}"
    return Response(data[start:stop], 206, media_type=kind, headers=headers)


@router.get("/reeds/{reed}/sounds/{entry}/spectrogram.svg")
def spectrogram(
    reed: UUID, entry: UUID, bench: UseBench, dark: bool = False, narrow: bool = False
) -> Response:
    """Return the spectrogram of a recording with its octave lines."""
    kept = kept_recording(bench, reed, entry)
    heard = Listening(desk=bench.desk).hear(kept, reed).heard
    sound = bench.desk.sounds.read(bench.desk.blobs.get(kept.payload.digest))
    svg = spectrogram_svg(
        sound.sound, sound.rate, heard, words=bench.words, dark=dark, narrow=narrow
    )
    return Response(svg, media_type="image/svg+xml", headers=_PICTURE)


@router.get("/reeds/{reed}/sounds/{entry}/intonation.svg")
def intonation(reed: UUID, entry: UUID, bench: UseBench, dark: bool = False) -> Response:
    """Return the intonation chart of played notes."""
    kept = kept_recording(bench, reed, entry)
    heard = Listening(desk=bench.desk).hear(kept, reed).heard
    if not heard.get("intonation"):
        raise NotFound(bench.words(mark("There are no notes in this recording.")))
    svg = chart_svg(intonation_chart(heard, words=bench.words, dark=dark))
    return Response(svg, media_type="image/svg+xml", headers=_PICTURE)
