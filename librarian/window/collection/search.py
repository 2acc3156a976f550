"""The search line: typing asks after 150 ms, completions below it, a wrong word marked with what would be right."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from librarian.window.collection.completions import CompletionList
from librarian.window.collection.state import Completion, SearchProblem
from librarian.window.paint.fonts import TEXT
from librarian.window.paint.look import Look
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.field import INSIDE, Field
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import quoted

WAIT_MS = 150
PLACEHOLDER, SHORT_PLACEHOLDER = "Name, tag, note, value or likeness", "Name, tag, note or value"


class _Problem(Lookful):
    """The sentence below the field, a bar at its left, the nearest right word on a button."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(look, parent)
        self.sentence = Sentence(look)
        self.button = Button(look, ButtonSpec("use", "Use"), visible_height=26)
        column = QVBoxLayout(self)
        column.setContentsMargins(12 - FRAME, 2, 0, 2)
        self.sentence.setContentsMargins(FRAME, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.sentence)
        column.addWidget(self.button, 0, Qt.AlignmentFlag.AlignLeft)
        column.setAlignment(self.button, Qt.AlignmentFlag.AlignLeft)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(1, 2, 3, self.height() - 4, self.colours.broken)
        painter.end()


class SearchLine(Lookful):
    """`query_changed`: the text, after a rest of 150 ms or at once on Return; `left_downwards`: Down without
    completions, the list takes the focus."""

    query_changed = Signal(str)
    left_downwards = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.field = Field(look, PLACEHOLDER, "Search", self)
        self.problem_area = _Problem(look, self)
        self.completions = CompletionList(look, self)
        self._problem: SearchProblem | None = None
        self._told = ""
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(WAIT_MS)
        self._timer.timeout.connect(self._tell)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addWidget(self.field)
        column.addWidget(self.problem_area)
        self.problem_area.hide()
        self.field.edit.textEdited.connect(self._edited)
        self.field.edit.focus_changed.connect(self._focus_changed)
        self.field.key.connect(self._key)
        self.completions.taken.connect(self._take)
        self.problem_area.button.clicked.connect(self._use_suggestion)

    @property
    def text(self) -> str:
        """What stands in the field."""
        return self.field.edit.text()

    def set_text(self, text: str) -> None:
        """Another query from outside (a button that widens the search); asks at once."""
        self.field.edit.setText(text)
        self._tell()

    def show_problem(self, problem: SearchProblem | None) -> None:
        """Mark a word that cannot be read, or none."""
        self._problem = problem
        if problem is None:
            self.field.mark_wrong(0, 0)
        else:
            self.field.mark_wrong(problem.start, problem.length)
            self.problem_area.sentence.say_plainly(problem.sentence)
            if problem.suggestion:
                self.problem_area.button.set_spec(ButtonSpec("use", f"Use {quoted(problem.suggestion)}", key="Tab"))
            self.problem_area.button.setVisible(bool(problem.suggestion))
        self.problem_area.setVisible(problem is not None)

    def offer(self, completions: Sequence[Completion]) -> None:
        """Show completions while the field has the focus."""
        self.completions.offer(completions if self.field.edit.hasFocus() else (), self.field)

    def take_focus(self) -> None:
        """Focus goes to the field."""
        self.field.take_focus()

    def _edited(self) -> None:
        # What was wrong in the old text says nothing about the new one.
        self.field.mark_wrong(0, 0)
        self._timer.start()

    def _tell(self) -> None:
        self._timer.stop()
        self._told = self.text
        self.query_changed.emit(self.text)

    def _focus_changed(self, has: bool) -> None:
        if not has:
            self.completions.hide()

    def _take(self, completion: Completion) -> None:
        self.completions.offer((), self.field)
        self.field.edit.setText(completion.query)
        self._tell()

    def _use_suggestion(self) -> None:
        if self._problem is not None and self._problem.query:
            self.field.edit.setText(self._problem.query)
            self.field.edit.setFocus(Qt.FocusReason.OtherFocusReason)
            self._tell()

    def _key(self, event: QKeyEvent) -> None:
        if event.modifiers() not in {Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier}:
            return
        key, offered = event.key(), self.completions.isVisible()
        if offered and key in {Qt.Key.Key_Down, Qt.Key.Key_Up}:
            self.completions.step(1 if key == Qt.Key.Key_Down else -1)
        elif offered and key == Qt.Key.Key_Escape:
            self.completions.hide()
        elif offered and (key == Qt.Key.Key_Tab or (key in _RETURNS and self.completions.has_mark)):
            taken = self.completions.current()
            if taken is not None:
                self._take(taken)
        elif key == Qt.Key.Key_Tab and self._problem is not None and self._problem.query:
            self._use_suggestion()
        elif key == Qt.Key.Key_Down:
            self.left_downwards.emit()
        elif key in _RETURNS:
            self._tell()
        else:
            return
        event.accept()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        room = self.width() - 2 * INSIDE - 6
        fits = self.fonts.metrics(TEXT).horizontalAdvance(PLACEHOLDER) <= room
        self.field.edit.setPlaceholderText(PLACEHOLDER if fits else SHORT_PLACEHOLDER)

    def sizeHint(self) -> QSize:
        return QSize(296, super().sizeHint().height())


_RETURNS = {Qt.Key.Key_Return, Qt.Key.Key_Enter}
