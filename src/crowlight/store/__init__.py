"""Records in a database, sounds and pictures in files, results that can be computed again."""

from crowlight.store.records import SqlRecords, open_records

__all__ = ["SqlRecords", "open_records"]
