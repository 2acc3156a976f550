"""What `--traffic FILE` saves: the messages of a conversation, and in the head all that is needed to have it again.

The head holds the text of the chart and the sounds that were sent, so that a file from somebody else's machine can be
replayed here without their library: every bug report becomes a test.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from librarian import __version__
from librarian.cli.clean import clean
from librarian.cli.here import aside
from librarian.errors import Cancelled, LibrarianError, OutsideProblem
from librarian.transfer import Line
from librarian.transfer.before import NotKept
from librarian.transfer.meaning import Reader
from librarian.wire import traffic
from librarian.wire.cable import CableLost

Plain = dict[str, Any]


@dataclass
class Log:
    """The log of one line; `path` None: nobody wants it. Verbs say what they do before they do it, and how it ended.

    `held`: the conversations in turn, by names that `cli/replaying.py` knows, with options as plain JSON values. One
    that was ended from outside, by Ctrl+C or with its cable, says when: nothing that crossed the cable does.
    """

    path: Path | None
    held: list[Plain] = field(default_factory=list)

    def begins(self, conversation: str, **options: Any) -> None:
        """From now on this conversation runs."""
        self.held.append({"conversation": conversation, "options": options, "outcome": ""})

    def ends(self, outcome: str) -> None:
        """It came to its end, and this is what was said of it."""
        self.held[-1]["outcome"] = outcome

    @contextmanager
    def kept_from(self) -> Iterator[None]:
        """The last conversation runs in the block. One that ended because what was there could not be kept says so.

        Nothing on the cable tells that, and a replay has to end there too.
        """
        try:
            yield
        except NotKept as problem:
            self.held[-1]["options"]["not_kept"] = str(problem)
            self.ends(str(problem))
            raise

    @contextmanager
    def kept(self, line: Line, crossed: traffic.Traffic, *, asked: bool) -> Iterator[None]:
        """Save when the block ends, however it ends. `asked`: identity was asked first."""
        if self.path is None:
            yield
            return
        began = _began(line, asked=asked)
        reader = Reader(line.chart, line.address)
        try:
            yield
        except (LibrarianError, Cancelled) as problem:
            if not self.held:
                self.begins("identify")
            if not self.held[-1]["outcome"]:  # else it had come to its end, and the trouble was another one
                self._broke_off(problem, line.clock.now())
            try:
                self._save(crossed, began, reader)
            except LibrarianError as trouble:
                # What went wrong with the instrument matters more than that its log could not be saved.
                aside(clean(f"{trouble} {trouble.hint}".strip()))
            raise
        self._save(crossed, began, reader)

    def _broke_off(self, problem: LibrarianError | Cancelled, at: float) -> None:
        """The last conversation ended so. What a verb or a talk adds to a sentence is not the cause's own."""
        cause = problem.__cause__
        if isinstance(problem, Cancelled):
            self.held[-1]["ended"] = {"at": round(at, 6), "lost": "", "hint": ""}
            problem = cause if isinstance(cause, Cancelled) else problem
        elif isinstance(problem, CableLost):
            lost = cause if isinstance(cause, CableLost) else problem
            self.held[-1]["ended"] = {"at": round(at, 6), "lost": str(lost), "hint": lost.hint}
        self.ends(str(problem))

    def _save(self, crossed: traffic.Traffic, began: Mapping[str, Any], reader: Reader) -> None:
        assert self.path is not None
        crossings = crossed.after()
        if self.path.suffix.lower() == ".txt":
            save_text(self.path, traffic.as_text(crossings, lambda one: clean(reader.read(one).meaning)))
            return
        traffic.save(self.path, crossings, {**began, "conversations": self.held})


def writable(path: Path) -> None:
    """Before work of minutes: could this file be written at its end? Raises OutsideProblem where that is plain."""
    if path.is_dir() or not path.resolve().parent.is_dir():
        why = "it is a folder" if path.is_dir() else "there is no such folder"
        raise OutsideProblem(f"{path} cannot be written: {why}. Nothing was begun.", "Choose another place.")


def save_text(path: Path, text: str) -> None:
    """Write a text file. Raises OutsideProblem when that is not possible."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be written: {error.strerror}.", "Choose another place.") from error


def _began(line: Line, *, asked: bool) -> Plain:
    """How the line was before anything was sent."""
    return {
        "program": f"Librarian {__version__}",
        "instrument": line.name,
        "chart": line.chart.text,
        "address": {"channel": line.address.channel, "device": line.address.device},
        "cable": line.cable.name,
        "asked": asked,
        "twins": {str(device): name for device, name in line.twins.items()},
    }
