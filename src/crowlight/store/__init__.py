"""Records in a database, sounds and pictures in files, results that can be computed again."""

from crowlight.store.backup import BackedUp, Restored, restore_backup, write_backup
from crowlight.store.blobs import FileBlobs
from crowlight.store.records import SqlRecords, open_records
from crowlight.store.results import FileResults
from crowlight.store.takes import FileTakes

__all__ = [
    "BackedUp",
    "FileBlobs",
    "FileResults",
    "FileTakes",
    "Restored",
    "SqlRecords",
    "open_records",
    "restore_backup",
    "write_backup",
]
