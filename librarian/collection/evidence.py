"""Is it the library that is damaged, or is the program wrong? Asked only after something stumbled, and by the check."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sqlalchemy import Connection, create_engine, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import StaticPool

from . import sqlite
from .migrating import upgrade
from .schema import Counter

_TABLES = "SELECT name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite~_%' ESCAPE '~'"

#: Nobody has counted that far.
_NEVER = 1 << 48


def is_damaged(connection: Connection) -> bool:
    """Whether the file holds what this program can never have written. Reads every row."""
    try:
        return bool(
            changed_tables(connection)
            or any(sqlite.of_a_wrong_kind(connection))
            or sqlite.broken_references(connection)
            or not counters_are_whole(connection)
            or sqlite.check_file(connection)
        )
    except (DBAPIError, ValueError, TypeError):
        return True  # what cannot even be looked through is not whole


def changed_tables(connection: Connection) -> list[str]:
    """Tables and indexes that are not described as the migrations made them, in a library of the present schema."""
    here = _described(connection)
    return sorted(name for name, described in _made_by_the_migrations().items() if here.get(name) != described)


@cache
def _made_by_the_migrations() -> Mapping[str, str | None]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with engine.begin() as fresh:
            upgrade(fresh)
            return _described(fresh)
    finally:
        engine.dispose()


def _described(connection: Connection) -> dict[str, str | None]:
    return {row.name: row.sql for row in connection.execute(text(_TABLES))}


def counters_are_whole(connection: Connection) -> bool:
    """Every library has both, and they were counted up one by one."""
    found = {
        row.name: row.value for row in connection.execute(text(f"SELECT name, value FROM {Counter.__tablename__}"))
    }
    return all(isinstance(value := found.get(name), int) and 0 <= value < _NEVER for name in ("change", "epoch"))
