"""What every verb is given: the library it works on, and how it answers.

Answers go to standard output: text for people, or one JSON object with `--json`. Everything else (problems, hints,
progress) goes to standard error, so that an answer can be piped.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from rich.console import Console
from rich.table import Table
from rich.text import Text

from librarian.cli.clean import clean
from librarian.cli.reading import chart_text
from librarian.collection import Library
from librarian.errors import LibrarianError

_LONGEST_CELL = 200


@dataclass
class Here:
    """One run of one verb. `library` None: the person's own library in the platform's data folder.

    `answered`: the answer was given.
    """

    verb: str
    library: Path | None = None
    as_json: bool = False
    answered: bool = False
    _opened: Library | None = field(default=None, repr=False)

    @contextmanager
    def opened(self, *, only_to_read: bool = False) -> Iterator[Library]:
        """The library, opened once for this run and closed at its end.

        `only_to_read`: the verb changes nothing, so it works on a library that cannot be written too.
        """
        if self._opened is not None:
            yield self._opened
            return
        with Library.open(self.library, read_chart=chart_text, only_to_read=only_to_read) as library:
            library.protect(_not_backed_up)
            self._opened = library
            try:
                yield library
            finally:
                self._opened = None

    def answer(self, found: BaseModel, *shown: str | Table | Text) -> None:
        """Answer once: `found` as JSON under its documented keys, or `shown` for people (text is already clean)."""
        if self.as_json:
            print_json({"verb": self.verb, "ok": True, **found.model_dump(mode="json")})
        else:
            show(*shown)
        self.answered = True

    def say(self, *shown: str | Table | Text) -> None:
        """Something on the way that is no part of the answer; not with --json."""
        if not self.as_json:
            show(*shown)


def _not_backed_up(problem: LibrarianError) -> None:
    aside(clean(f"No backup was made before this change; the work goes on. {problem} {problem.hint}".rstrip()))


def show(*shown: str | Table | Text) -> None:
    """To standard output; a string is plain text, no markup is obeyed."""
    console = _console()
    for each in shown:
        if isinstance(each, str):
            console.out(each, highlight=False)
        elif sys.stdout.isatty():
            console.print(each)
        else:
            with console.capture() as drawn:
                console.print(each)
            console.out("\n".join(line.rstrip() for line in drawn.get().splitlines()), highlight=False)


def aside(sentence: str) -> None:
    """To standard error, for people, whatever the form of the answer."""
    Console(stderr=True, markup=False, emoji=False, highlight=False, soft_wrap=True).print(sentence)


def print_json(found: Mapping[str, Any]) -> None:
    """One object on standard output, ASCII only: whatever a name holds, no terminal obeys it."""
    sys.stdout.write(json.dumps(found, ensure_ascii=True, indent=2) + "\n")


def table(*columns: str, right: tuple[int, ...] = ()) -> Table:
    """An empty table in our style: no frame, head underlined, numbers right-aligned."""
    made = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for place, title in enumerate(columns):
        made.add_column(title, justify="right" if place in right else "left", overflow="fold")
    return made


def cell(text: str, *, bold: bool = False) -> Text:
    """Text from outside as a cell of a table; cut, as every row is as wide as the longest."""
    return Text(clean(text, longest=_LONGEST_CELL), style="bold" if bold else "")


def _console() -> Console:
    # Piped, there is no width to keep to: rows stay whole for grep and cut.
    wide = None if sys.stdout.isatty() else 10_000
    return Console(markup=False, emoji=False, highlight=False, width=wide)
