"""The group `search`: lines that are worth keeping."""

from __future__ import annotations

from typing import Annotated

import typer

from librarian.cli import answers
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.verb import verb
from librarian.collection import Library
from librarian.errors import BadInput

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="What the search is called.")]


def add_to(app: typer.Typer) -> None:
    """Register the group `search`."""
    group = typer.Typer(help="Searches kept under a name: librarian find --saved NAME.", no_args_is_help=True)
    verb(group, "save")(save)
    verb(group, "list")(listing)
    verb(group, "forget")(forget)
    app.add_typer(group, name="search")


def save(
    here: Here,
    name: NameArgument,
    words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="As for find, in quotes for your shell.")],
) -> None:
    """Keep a search; the same name replaces what it said before."""
    with here.opened() as library:
        query = " ".join(words)
        for problem in library.find(query).problems:
            aside(problem.sentence)
        library.save_search(name, query)
        _answer(here, library)


def listing(here: Here) -> None:
    """List the kept searches."""
    with here.opened(only_to_read=True) as library:
        _answer(here, library)


def forget(here: Here, name: NameArgument) -> None:
    """Take a kept search away."""
    with here.opened() as library:
        found = [row.id for row in library.saved_searches() if row.name == name]
        if not found:
            raise BadInput(f"No search is called “{name}”.", "They are listed by: librarian search list")
        library.forget_search(found[0])
        _answer(here, library)


def saved_line(library: Library, name: str) -> str:
    """The line that is kept under a name. Raises BadInput when there is none."""
    for row in library.saved_searches():
        if row.name == name:
            return row.text
    raise BadInput(f"No search is called “{name}”.", "They are listed by: librarian search list")


def _answer(here: Here, library: Library) -> None:
    rows = library.saved_searches()
    made = table("Name", "Search")
    for row in rows:
        made.add_row(cell(row.name, bold=True), cell(row.text))
    found = answers.SavedSearches(searches=[answers.SavedSearch(name=row.name, query=row.text) for row in rows])
    here.answer(found, made if rows else "No search is kept.")
