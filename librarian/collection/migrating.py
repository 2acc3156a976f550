"""Bring a library file to the schema of this program: it happens whole, or it does not happen.

Alembic is imported only when there is something to do, so that opening an up-to-date library costs nothing.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection

from librarian import shipped

from .problems import LibraryProblem


def migrations_folder() -> Path:
    """`migrations/` beside the package in the repository, inside the package when installed from a wheel."""
    try:
        return shipped.folder("migrations")
    except FileNotFoundError as error:
        raise LibraryProblem(
            "This installation lacks its migrations folder, so no library can be made or brought up to date.",
            "Install Librarian again.",
        ) from error


def upgrade(connection: Connection, target: str = "head") -> None:
    """Run every migration up to `target` inside the caller's transaction. Foreign keys must be off."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, target)
