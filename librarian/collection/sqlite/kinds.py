"""SQLite keeps any kind of value in any column: a number in place of a text is damage that no pragma tells."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, func, or_, select

from librarian.collection.schema import Base

_KINDS = {int: "integer", str: "text", bytes: "blob"}


def of_a_wrong_kind(connection: Connection) -> Iterator[tuple[str, int]]:
    """Tables with cells that hold nothing of their column's kind, and in how many rows. Reads every row."""
    for table in Base.metadata.sorted_tables:
        rows = int(connection.execute(_strange_rows(table)).scalar_one())
        if rows:
            yield table.name, rows


def _strange_rows(table: Table) -> Select[int]:
    return select(func.count()).select_from(table).where(or_(*map(_is_strange, table.columns)))


def _is_strange(column: Column[object]) -> ColumnElement[bool]:
    kinds = [_KINDS[column.type.python_type], *(["null"] if column.nullable else [])]
    return func.typeof(column).not_in(kinds)
