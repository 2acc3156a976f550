"""Learning a dump: what to do next, what moved in the newest one, how all of them are read, and the fields found."""

from __future__ import annotations

from collections.abc import Iterator

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from librarian.chart.language.writing import value_text
from librarian.chart.learn.dumps import Finding, Found, Moved
from librarian.chart.learn.sums import SumGuess
from librarian.window.pages.learn.subjects import DumpView
from librarian.window.paint.fonts import NAME
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import button_row
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted

_MOST_MOVED = 40
_MOST_TRIED = 3
DONE = "Nothing is left to tell apart: write the chart."


class DumpSheet(Lookful):
    """`pressed`: write, ask, skip, back, panel, leave. `told` (text): what the person typed as the answer."""

    pressed = Signal(str)
    told = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.view = DumpView(None)
        self.question = Sentence(look, px=NAME)
        self.state = Sentence(look)
        self.typed = Field(look, "what you called it, then Enter", "Answer")
        self.request = Field(
            look, "the message that asks for the dump, if you know it: F0 7D 10 11 F7", "Message that asks for the dump"
        )
        self.ask = Button(look, ButtonSpec("ask", "Ask for the dump"), self.pressed.emit)
        self.skip = Button(look, ButtonSpec("skip", "Cannot do this"), self.pressed.emit)
        self.back = Button(look, ButtonSpec("back", "Forget the last dump"), self.pressed.emit)
        self.list = LineList(look, "What the dumps say")
        self.write = Button(look, ButtonSpec("write", "Write the chart"), self.pressed.emit)
        self.panel = Button(look, ButtonSpec("panel", "Back to the panel"), self.pressed.emit)
        self.leave = Button(look, ButtonSpec("leave", "Not now", key="Esc"), self.pressed.emit)
        self._build()
        self.request.edit.textChanged.connect(lambda _text: self._settle())
        self.request.edit.returnPressed.connect(self.ask.click)
        self.typed.edit.returnPressed.connect(self._typed)
        self.show_view(self.view)

    def _build(self) -> None:
        acts = QHBoxLayout()
        acts.setSpacing(0)
        acts.addWidget(self.request, 1)
        acts.addSpacing(8 - FRAME)
        for button in (self.ask, self.skip, self.back):
            acts.addWidget(button)
        buttons = button_row((self.write, self.panel, self.leave))
        buttons.setContentsMargins(-FRAME, 4, 0, 0)
        buttons.setSpacing(0)
        column = QVBoxLayout(self)
        column.setContentsMargins(24, 12, 24, 10)
        column.setSpacing(8)
        column.addWidget(self.question)
        column.addWidget(self.typed)
        column.addWidget(self.state)
        column.addLayout(acts)
        column.addWidget(self.list, 1)
        column.addLayout(buttons)

    def begin(self) -> None:
        """A new session."""
        self.show_view(DumpView(None))

    def show_view(self, view: DumpView) -> None:
        """What is known now."""
        same = view.question == self.view.question and view.dumps == self.view.dumps
        self.view = view
        question = view.question
        if question is not None:
            self.question.say(question.sentence)
        else:
            self.question.say(DONE if view.dumps else "Waiting for the first dump.")
        self.typed.setVisible(question is not None and bool(question.asks))
        if question is not None and question.asks and not same:
            self.typed.edit.setPlaceholderText(question.asks)
            self.typed.edit.clear()
        told = counted(view.dumps, "dump")
        self.state.say(f"{told} heard." if view.dumps else "No dump yet.", view.trouble or self._found())
        self.list.show_lines(list(self._lines()), keep=True)
        self._settle()

    def say(self, first: str, rest: str = "") -> None:
        """What is being worked out, or what cannot be."""
        self.state.say(first, rest)

    def take_focus(self) -> None:
        """Focus goes to what is wanted next."""
        if self.typed.isVisible():
            self.typed.take_focus()
        elif self.request.edit.text().strip():
            self.ask.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.request.take_focus()

    # -- within

    def _found(self) -> str:
        finding = self.view.finding
        if finding is None:
            return "Press what sends a dump on the instrument, or let the program ask for it."
        clear = sum(len(one.guesses) == 1 for one in finding.controls.values())
        some = sum(bool(one.guesses) for one in finding.controls.values())
        return f"{some} of {counted(len(finding.controls), 'control')} found, {clear} of them beyond doubt."

    def _lines(self) -> Iterator[Line]:
        view = self.view
        if view.moved:
            yield Line("What moved in the last dump", heading=True)
            for moved in view.moved[:_MOST_MOVED]:
                yield _moved(moved, view.labels)
            if len(view.moved) > _MOST_MOVED:
                yield Line(f"and {counted(len(view.moved) - _MOST_MOVED, 'more byte')}")
        finding = view.finding
        if finding is None:
            return
        yield Line("How the dumps are read", heading=True)
        yield from _reading(finding, view.dumps)
        yield Line("Controls", heading=True)
        for name, found in finding.controls.items():
            yield _control(found, view.labels.get(name, name))

    def _settle(self) -> None:
        view = self.view
        text = self.request.edit.text().strip()
        reason = "" if text else "Write the message that asks for the dump first."
        self.ask.set_spec(ButtonSpec("ask", "Ask for the dump", primary=bool(text), reason=reason))
        can = view.question is not None and view.question.kind != "first"
        self.skip.set_spec(ButtonSpec("skip", "Cannot do this", reason="" if can else "Nothing is asked."))
        some = "" if view.dumps else "There is no dump yet."
        self.back.set_spec(ButtonSpec("back", "Forget the last dump", reason=some))
        trouble = view.trouble or some
        self.write.set_spec(
            ButtonSpec("write", "Write the chart", primary=not text, key="Ctrl+Return", reason=trouble)
        )

    def _typed(self) -> None:
        text = self.typed.edit.text()
        if text.strip():
            self.told.emit(text)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        enter = event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}
        if enter and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.write.click()
        else:
            super().keyPressEvent(event)


def _moved(moved: Moved, labels: dict[str, str]) -> Line:
    where = f"Data byte {moved.at}, unpacked" if moved.unpacked else f"Byte {moved.at + 1} of the message"
    owner = labels.get(moved.owner, moved.owner) or "not explained"
    bits = "bit" if " " not in moved.bits and "-" not in moved.bits else "bits"
    return Line(
        where, f"{bits} {moved.bits} · {moved.before:02X} became {moved.after:02X}", owner,
        None if moved.owner else "unknown",
    )  # fmt: skip


def _reading(finding: Finding, dumps: int) -> Iterator[Line]:
    reading = finding.reading
    packing = "plain, 7 bits a byte" if reading.packing == "plain" else f"packed as {reading.packing}"
    place = f"Data in bytes {reading.start + 1} to {reading.end}, {packing}"
    yield Line(place, f"{reading.images.shape[1]} data bytes")
    sums = [*finding.sums, *([finding.inner] if finding.inner is not None else [])]
    for one in sums:
        yield _sum(one, fits=True)
    if not sums:
        yield Line("No checksum was found", "" if dumps > 3 else "It takes at least four different dumps to tell.")
    for one in finding.tried[:_MOST_TRIED]:
        yield _sum(one, fits=False)
    for at in finding.unexplained:
        yield Line(f"Byte {at + 1} changes with everything", "no checksum that is known fits; it is kept as it comes",
                   mark="unknown")  # fmt: skip


def _sum(one: SumGuess, *, fits: bool) -> Line:
    over = "the unpacked data" if one.unpacked else f"bytes {one.first + 1} to {one.end}"
    where = "at the end of the packed data" if fits and one.at < 0 else f"byte {one.at + 1}"
    start = f", from {one.start}" if one.start else ""
    return Line(
        f"{'Checksum' if fits else 'Not'} {one.kind} over {over}{start}", f"{where}, {one.form.bits} bits",
        f"{one.agree} of {one.of} agree", "equal" if fits else "different",
    )  # fmt: skip


def _control(found: Found, label: str) -> Line:
    if found.guesses:
        where = value_text(dict(found.guesses[0].keys))
        count = len(found.guesses)
        return Line(label, where, "certain" if count == 1 else f"likeliest of {count}", "A" if count == 1 else None)
    if found.moved:
        return Line(label, "its bits move, but cannot be told apart yet", "not yet", "unknown")
    return Line(label, "has not changed a dump yet", "", "unknown")
