"""Records in a database, sounds and pictures in files, results that can be computed again."""

from crowlight.store.blobs import FileBlobs
from crowlight.store.records import SqlRecords, open_records
from crowlight.store.results import FileResults

__all__ = ["FileBlobs", "FileResults", "SqlRecords", "open_records"]
