"""The command `librarian`: its verbs put together, and the way in."""

from __future__ import annotations

import functools
import io
import sys
from collections.abc import Callable
from typing import Annotated

import typer
from typer.main import get_command

from librarian import __version__
from librarian.cli.here import show
from librarian.cli.verb import Given, JsonOption, LibraryOption, OpenWindow
from librarian.cli.verbs import (
    arrange,
    banks,
    bringup,
    carrying,
    charts,
    compare,
    conversation,
    demo,
    exchange,
    explain,
    keeping,
    learning,
    library,
    look,
    past,
    recalling,
    replay,
    searches,
    setup,
    tidy,
    unread,
)

VERBS = (
    demo, setup, conversation, recalling, banks, bringup, replay, keeping, look, compare, arrange, carrying, library,
    charts, explain, learning, exchange, unread, past, tidy, searches,
)  # fmt: skip


def prepared(open_window: OpenWindow | None = None) -> Callable[[], object]:
    """What runs the command line and ends the process with its exit code, put together and not yet begun.

    `open_window` is what `librarian window` calls.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal without Unicode shows a question mark for what it cannot show, and nothing fails.
            stream.reconfigure(errors="replace")
    return functools.partial(get_command(build()), prog_name="librarian", obj=Given(open_window))


def say_version(asked: bool) -> None:
    """Say the version and end."""
    if asked:
        show(f"Librarian {__version__}")
        raise typer.Exit


def build() -> typer.Typer:
    """A fresh application with every verb."""
    app = typer.Typer(
        name="librarian",
        help="A patch librarian over standard MIDI: capture, keep, find, compare and recall sounds.",
        no_args_is_help=True,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )

    @app.callback()
    def before_the_verb(
        context: typer.Context,
        library: LibraryOption = None,
        as_json: JsonOption = False,
        version: Annotated[  # noqa: ARG001 - said by its callback, before a verb is missed
            bool, typer.Option("--version", help="Say which version this is.", is_eager=True, callback=say_version)
        ] = False,
    ) -> None:
        given = context.obj if isinstance(context.obj, Given) else Given()
        given.library = library
        given.as_json = as_json
        context.obj = given

    for group in VERBS:
        group.add_to(app)
    return app
