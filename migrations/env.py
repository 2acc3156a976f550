"""Alembic's way in: the program hands over its open connection; `alembic` on the command line makes its own.

alembic -x library=PATH check        (from the folder that holds migrations/)
"""

from __future__ import annotations

from pathlib import Path

from alembic import context
from sqlalchemy import Connection

from librarian.collection import sqlite
from librarian.collection.schema import Base


def include_name(name: str | None, kind: str, _parents: object) -> bool:
    """Leave out what SQLite keeps for itself (full text index)."""
    return not (kind == "table" and name in sqlite.OWN_TABLES)


def run(connection: Connection) -> None:
    """Everything inside the caller's transaction: it happens or it does not."""
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        include_name=include_name,
        render_as_batch=True,
        compare_server_default=True,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


given: Connection | None = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    path = context.get_x_argument(as_dictionary=True).get("library")
    if not path:
        raise SystemExit("Say which library: alembic -x library=PATH …")
    engine = sqlite.open_engine(Path(path), pooled=False)
    with engine.connect().execution_options(begin="BEGIN IMMEDIATE") as made, made.begin():
        run(made)
