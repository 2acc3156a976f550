"""The group `library`: where it is and what is in it."""

from __future__ import annotations

import typer

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.here import Here
from librarian.cli.verb import verb


def add_to(app: typer.Typer) -> None:
    """Register the group `library`."""
    group = typer.Typer(help="The library file.", no_args_is_help=True)
    verb(group, "path")(path)
    app.add_typer(group, name="library")


def path(here: Here) -> None:
    """Say which file the library is, and how much is in it."""
    with here.opened() as library:
        found = answers.LibraryAbout(
            path=str(library.path),
            patches=library.total(),
            in_trash=library.total(trash=True),
            instruments=len(library.instruments()),
        )
    here.answer(
        found,
        clean(found.path),
        f"{found.patches} patches, {found.in_trash} in the trash, {found.instruments} instruments",
    )
