"""What an import would do, before anything is kept: every sound of the files with what becomes of it."""

from __future__ import annotations

from typing import Literal, Protocol

from librarian.window.paint.look import Look
from librarian.window.paint.marks import Mark
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.segments import Segments
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, figures

Kind = Literal["all", "new", "changed", "same", "not understood"]
KINDS: tuple[Kind, ...] = ("all", "new", "changed", "same", "not understood")
CHANGED = (
    ("version", "Changed ones become new versions"), ("new", "Changed ones become patches of their own"),
    ("skip", "Changed ones are left out"),
)
_MARKS: dict[str, Mark | None] = {"changed": "changed", "same": "equal"}


class SoundRow(Protocol):
    """One sound of the files, as `files.intake` gives it."""

    status: str
    name: str
    instrument: str
    known: int
    of: int
    where: str
    others: tuple[str, ...]


class LeftRow(Protocol):
    """What was not understood in one place of a file."""

    source: str
    name: str
    reason: str
    kept_before: bool


class Lines:
    """The rows of one kind; made when they are painted."""

    def __init__(self, sounds: list[SoundRow], left: list[LeftRow]) -> None:
        self._sounds, self._left = sounds, left

    def __len__(self) -> int:
        return len(self._sounds) + len(self._left)

    def line(self, row: int) -> Line:
        """The row at a place: the sounds first, then what was not understood."""
        if row < len(self._sounds):
            return sound_line(self._sounds[row])
        return left_line(self._left[row - len(self._sounds)])


def sound_line(row: SoundRow) -> Line:
    """One sound with its instrument, how complete it is, and where it stands."""
    whole = f"complete, {row.of} of {row.of}" if row.known == row.of else f"{row.known} of {row.of}"
    parts = [row.instrument, whole, row.where]
    if row.others:
        parts.insert(1, f"or {' or '.join(row.others)}")
    return Line(row.name, " · ".join(part for part in parts if part), row.status, _MARKS.get(row.status),
                strong=row.status == "new")


def left_line(row: LeftRow) -> Line:
    """One piece that no chart understands."""
    right = "kept before" if row.kept_before else "not understood"
    return Line(row.name or row.source, f"{row.reason} · {row.source}" if row.name else row.reason, right, "unknown")


class ImportDrawer(Drawer):
    """`import` and `leave` are its buttons; `kinds.chosen`, `changed.chosen`, `target.chosen`, `moment` its choices."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Import")
        self.kinds = Segments(look, "What is shown")
        self.list = LineList(look, "What the files hold")
        self.foremost = self.list
        self.tags = Field(look, "tags for all of them, with commas between", "Tags for all of them")
        self.moment = Field(look, "moment in the recording: its end, or 1:02, 12.5s, 1920", "Moment in the recording")
        self.moment.hide()
        self.changed = Choice(look, "What becomes of changed sounds")
        self.target = Choice(look, "Which instrument they belong to")
        for choice in (self.changed, self.target):
            choice.hide()
        self.padded(self.kinds)
        self.body.addWidget(self.list, 1)
        self.body.addSpacing(6)
        self.padded(self.target)
        self.padded(self.changed)
        self.padded(self.moment, stretch_last=False)
        self.padded(self.tags, stretch_last=False)

    def show_counts(self, counts: dict[str, int], kind: Kind) -> None:
        """How many there are of each kind, and which one is shown."""
        total = sum(counts.values())
        words = {"all": f"All {figures(total)}", "new": f"New {figures(counts['new'])}",
                 "changed": f"Changed {figures(counts['changed'])}", "same": f"Same {figures(counts['same'])}",
                 "not understood": f"Not read {figures(counts['not understood'])}"}
        there = [name for name in KINDS if name in {"all", kind} or counts.get(name)]
        self.kinds.show_segments([(name, words[name]) for name in there], kind)

    def show_choices(self, *, changed: str, any_changed: bool, targets: tuple[tuple[str, str], ...], target: str,
                     recording: bool) -> None:
        """What can be chosen for these files."""
        self.changed.show_options(CHANGED, changed)
        self.changed.setVisible(any_changed)
        self.target.show_options(targets, target)
        self.target.setVisible(len(targets) > 1)
        self.moment.setVisible(recording)

    def show_act(self, count: int, left: int, reason: str) -> None:
        """The buttons, with how much would be kept."""
        what = counted(count, "sound")
        if count and left:
            words = f"Import {what} and keep {counted(left, 'piece')}"
        elif left and not count:
            words = f"Keep {counted(left, 'piece')} for later"
        else:
            words = f"Import {what}"
        self.show_buttons(
            ButtonSpec("import", words, primary=True, reason=reason), ButtonSpec("leave", "Not now")
        )
