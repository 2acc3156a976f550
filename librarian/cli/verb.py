"""How a function becomes a verb: options that every verb has, and the one place where problems are shown.

    @verb(app, "rename")
    def rename(here: Here, patch: Patch, name: Name) -> Exit | None: ...

The verb also takes `--library PATH` and `--json`, before or after its own name. A `LibrarianError` becomes a sentence
and a hint on standard error (and an object with "ok": false on standard output with --json) and exit code 1.
"""

from __future__ import annotations

import functools
import inspect
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside, print_json
from librarian.cli.interrupts import verb_runs
from librarian.errors import BadInput, Cancelled, LibrarianError, OutsideProblem, Refused

LibraryOption = Annotated[
    Path | None,
    typer.Option("--library", metavar="PATH", help="The library file; without it, your own.", show_default=False),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer with one JSON object on standard output.")]

VerbBody = Callable[..., Exit | None]


def verb(app: typer.Typer, name: str, *, hidden: bool = False) -> Callable[[VerbBody], VerbBody]:
    """Register a function `(here, ...)` as a verb of `app`. It returns an exit code, or None for success."""

    def register(body: VerbBody) -> VerbBody:
        hints = get_type_hints(body, include_extras=True)
        own = [
            each.replace(annotation=hints[each.name])
            for each in inspect.signature(body).parameters.values()
            if each.name != "here"
        ]

        @functools.wraps(body)
        def run(context: typer.Context, library: Path | None, as_json: bool, **options: Any) -> None:
            given = context.obj if isinstance(context.obj, Given) else Given()
            here = Here(_path(context), library or given.library, as_json or given.as_json)
            code = _guarded(here, lambda: body(here, **options))
            if code != Exit.OK:
                raise typer.Exit(int(code))

        context = inspect.Parameter("context", inspect.Parameter.POSITIONAL_OR_KEYWORD, annotation=typer.Context)
        library = inspect.Parameter("library", inspect.Parameter.KEYWORD_ONLY, default=None, annotation=LibraryOption)
        as_json = inspect.Parameter("as_json", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=JsonOption)
        everything = [context, *(each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in own), library, as_json]
        run.__signature__ = inspect.Signature(everything)  # type: ignore[attr-defined]
        run.__annotations__ = {each.name: each.annotation for each in everything}
        del run.__wrapped__  # typer would read the signature of the body through it
        app.command(name, hidden=hidden)(run)
        return body

    return register


OpenWindow = Callable[[Sequence[str]], int]
"""What opens the window with these options and returns an exit code: given from above, the terminal knows no Qt."""


class Given:
    """What was said before the verb (`librarian --library PATH --json find storm`), and what opens the window."""

    def __init__(self, open_window: OpenWindow | None = None) -> None:
        self.open_window = open_window
        self.library: Path | None = None
        self.as_json = False


def _path(context: typer.Context) -> str:
    """The verb as typed, "chart check" for a verb of a group; without the name of the program."""
    names: list[str] = []
    at: Any = context
    while at.parent is not None:
        names.append(str(at.info_name))
        at = at.parent
    return " ".join(reversed(names))


def _guarded(here: Here, body: Callable[[], Exit | None]) -> Exit:
    try:
        with verb_runs():
            return _answered(here, body)
    except KeyboardInterrupt:
        if here.answered:  # no second object with --json
            aside("Ended by Ctrl+C after the answer was given.")
            return Exit.CANCELLED
        said = "Ended by Ctrl+C before the answer was given; what had been done by then is done."
        _problem(here, "cancelled", said, "")
        return Exit.CANCELLED


def _answered(here: Here, body: Callable[[], Exit | None]) -> Exit:
    try:
        code = body() or Exit.OK
        sys.stdout.flush()  # a reader that has gone is found out here, not at the end of the process
        return code
    except Cancelled as ended:
        _problem(here, "cancelled", str(ended), "")
        return Exit.CANCELLED
    except LibrarianError as problem:
        _problem(here, _kind(problem), str(problem), problem.hint)
        return Exit.COULD_NOT
    except BrokenPipeError:
        # The reader (`| head`) has enough. Python would complain again when it flushes at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.COULD_NOT


def _problem(here: Here, kind: str, sentence: str, hint: str) -> None:
    """The one place of the terminal where a problem is shown."""
    if here.as_json:
        problem = {"kind": kind, "sentence": sentence, "hint": hint}
        print_json({"verb": here.verb, "ok": False, "problem": problem})
    aside(clean(sentence, lines=True))
    if hint:
        aside(clean(hint, lines=True))


def _kind(problem: LibrarianError) -> str:
    for kind, name in ((OutsideProblem, "outside"), (BadInput, "bad input"), (Refused, "refused")):
        if isinstance(problem, kind):
            return name
    return "problem"
