"""What a verb replaces in an instrument where it cannot be kept: not without a yes, and saved as a file if possible.

The library may be read-only, or its disk full, while the sound that is wanted is in it; or the answers of an instrument
cannot be believed. A first run ends before anything is sent; who agrees has another one, which goes on.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from librarian.chart import Chart
from librarian.cli.asking import agreed
from librarian.cli.beside import save_beside
from librarian.cli.clean import clean
from librarian.cli.here import Here, aside
from librarian.collection import InstrumentRow
from librarian.errors import LibrarianError
from librarian.messages import Version
from librarian.transfer.before import NotKept, panel_name

T = TypeVar("T")
Save = Callable[[], Path]

_OPTION = "--unkept"
UnkeptOption = Annotated[
    bool,
    typer.Option(
        _OPTION,
        help="Go on where what is in it now cannot be kept in the library; it is saved as a file in this folder if "
        "that is possible, else it is lost.",
    ),
]


@dataclass
class Unkept:
    """One run of a verb. `question`: asked of the person ("Recall all the same?"); `agreed`: by the option, beforehand.

    `files`: where it is saved instead; `said`: what was told of that, and of what is lost.
    """

    here: Here
    row: InstrumentRow
    question: str
    agreed: bool
    files: list[Path] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    _settled: list[object] = field(default_factory=list)
    _open: tuple[object, Save | None] | None = None

    def agreed_to(self, converse: Callable[[], T]) -> T:
        """Have a conversation; again each time that it ended in NotKept and the person goes on.

        Raises NotKept where nobody can be asked, Cancelled where they do not go on: then nothing was sent.
        """
        while True:
            self._open = None
            try:
                return converse()
            except NotKept as problem:
                if self._open is None:
                    raise
                if self.here.as_json or not sys.stdin.isatty():
                    problem.hint = f"{problem.hint} Or say {_OPTION} to go on all the same.".lstrip()
                    raise
                self._ask(problem, *self._open)

    def keep(self, chart: Chart, before: Version, take: Callable[[], object], tag: str, note: str) -> None:
        """`take` keeps `before` in the library. Where it fails: raises NotKept, or if agreed to, saves it as a file."""
        try:
            take()
        except LibrarianError as problem:
            name = before.name.strip() or panel_name(before.taken)
            self._without(
                problem,
                (before.values, before.received),
                lambda: save_beside("before", self.row, chart, before, name, tags=[tag], note=note),
            )

    def lose(self, what: str) -> None:
        """Something cannot even be read, and will be lost. Raises NotKept, or if agreed to, says so."""
        hint = "Capture by hand first what shall not be lost; or leave its controls alone and try again."
        self._without(LibrarianError(what, hint), what, None)

    def _without(self, problem: LibrarianError, key: object, save: Save | None) -> None:
        if key in self._settled:
            return
        if not self.agreed:
            self._open = key, save
            said = f"What is in {self.row.name} now could not be kept, so it was not replaced. {problem}"
            raise NotKept(said, problem.hint) from problem
        self._settled.append(key)
        self.said.append(f"{problem} {self._instead(save)}".rstrip())
        aside(clean(self.said[-1]))

    def _ask(self, problem: NotKept, key: object, save: Save | None) -> None:
        # Saved before the question, so that what it says is true; with a no it is in the instrument as well.
        instead = self._instead(save)
        aside(clean(f"{problem} {problem.hint}".rstrip()))
        agreed(
            f"{instead} {self.question}".lstrip(),
            yes=False,
            option=_OPTION,
            declined=f"Nothing was sent; {self.row.name} is as it was.",
        )
        self._settled.append(key)
        self.said.append(f"{problem.__cause__} {instead}".rstrip())

    def _instead(self, save: Save | None) -> str:
        """What becomes of it."""
        if save is None:
            return ""
        try:
            path = save()
        except LibrarianError as problem:
            return f"Nor could it be saved as a file, so it is lost if this goes on. {problem}"
        self.files.append(path)
        return f"What is in {self.row.name} now is saved as {path} instead; librarian import takes it into a library."
