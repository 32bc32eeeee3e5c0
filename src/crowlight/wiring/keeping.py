"""Backups and exports of a folder of records."""

from __future__ import annotations

from pathlib import Path

from crowlight.files.export import Exported, write_export
from crowlight.store import BackedUp, FileBlobs, Restored, restore_backup, write_backup
from crowlight.wiring.desks import BLOBS, DATABASE, data_folder, open_store

__all__ = ["back_up", "bring_back", "export_everything"]


def back_up(folder: Path | None, target: Path) -> BackedUp:
    """Write everything in a folder of records into one file."""
    with open_store(folder) as (records, blobs):
        return write_backup(records, blobs, target)


def bring_back(folder: Path | None, archive: Path, *, replace: bool = False) -> Restored:
    """Put back what a backup holds; see `crowlight.store.restore_backup`."""
    place = data_folder(folder)
    return restore_backup(archive, place / DATABASE, FileBlobs(place / BLOBS), overwrite=replace)


def export_everything(folder: Path | None, target: Path) -> Exported:
    """Write everything a user owns as CSV and JSON."""
    with open_store(folder) as (records, blobs):
        return write_export(records.everything(), target, blob=blobs.get)
