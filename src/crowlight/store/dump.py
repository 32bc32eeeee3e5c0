"""The rows of a PostgreSQL database out and in, by its own COPY command."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, func, inspect, select, text

from crowlight.store.database import migrate
from crowlight.store.schema import metadata

__all__ = ["copy_rows", "load_tables"]


def _raw(connection: Connection) -> Any:
    """Return psycopg's own connection."""
    return connection.connection.driver_connection


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def copy_rows(connection: Connection, table: str, columns: Iterable[str]) -> Iterator[bytes]:
    """Yield the rows of a table in COPY's text format."""
    connection.execute(select(1))  # begins the transaction, and with it the one moment we see
    keys = _quoted(column.name for column in metadata.tables[table].primary_key)
    statement = f'SELECT {_quoted(columns)} FROM "{table}" ORDER BY {keys}'  # noqa: S608 - own names
    with _raw(connection).cursor() as cursor, cursor.copy(f"COPY ({statement}) TO STDOUT") as rows:
        for piece in rows:
            yield bytes(piece)


def load_tables(
    connection: Connection, revision: str, tables: Mapping[str, tuple[list[str], Iterable[bytes]]]
) -> None:
    """Replace everything in the database by `tables`, within the transaction of `connection`.

    Parameters
    ----------
    connection : Connection
        In a transaction; if that is not committed, everything is as it was.
    revision : str
        Revision the rows were dumped at; they are migrated to the latest.
    tables : mapping
        Columns and rows of each table, referenced tables first.
    """
    connection.execute(select(1))
    for table in inspect(connection).get_table_names():
        connection.execute(text(f'DROP TABLE "{table}" CASCADE'))
    connection.execute(text("DROP FUNCTION entry_append_only, reading_append_only"))
    migrate(connection, revision)
    with _raw(connection).cursor() as cursor:
        for table, (columns, pieces) in tables.items():
            with cursor.copy(f'COPY "{table}" ({_quoted(columns)}) FROM STDIN') as rows:
                for piece in pieces:
                    rows.write(piece)
    migrate(connection)
    for table in metadata.sorted_tables:
        if "id" in table.c:
            # The next number after the restored ones.
            connection.execute(
                select(
                    func.setval(
                        func.pg_get_serial_sequence(table.name, "id"),
                        func.coalesce(func.max(table.c.id), 1),
                        func.max(table.c.id).is_not(None),
                    )
                )
            )
