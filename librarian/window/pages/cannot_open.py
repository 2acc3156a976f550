"""When the library cannot be opened: what is wrong, what to do, and another try, for whoever has no terminal."""

from __future__ import annotations

from PySide6.QtCore import QEventLoop, Qt, Signal
from PySide6.QtGui import QCloseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from librarian.errors import LibrarianError
from librarian.window.paint.fonts import BODY, TITLE
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import button_row
from librarian.window.parts.button import Button
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec


class CannotOpen(Lookful):
    """A small window of its own. `answered` (True: try again) when a button was pressed or it was closed."""

    answered = Signal(bool)

    def __init__(self, look: Look, problem: LibrarianError, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.setWindowTitle("Librarian")
        self._done = False
        self.title = Sentence(look, px=TITLE)
        self.title.say("The library could not be opened.")
        self.sentence = Sentence(look, px=BODY)
        self.sentence.say(str(problem), problem.hint)
        pressed = lambda name: self._answer(again=name == "again")  # noqa: E731 - one line for two buttons
        self.again = Button(look, ButtonSpec("again", "Try again", primary=True), pressed)
        self.leave = Button(look, ButtonSpec("leave", "Close"), pressed)
        column = QVBoxLayout(self)
        column.setContentsMargins(24, 20, 24, 16)
        column.setSpacing(12)
        column.addWidget(self.title)
        column.addWidget(self.sentence)
        column.addStretch(1)
        column.addLayout(button_row((self.again, self.leave)))
        self.resize(560, 220)
        self.again.setFocus(Qt.FocusReason.OtherFocusReason)

    def _answer(self, *, again: bool) -> None:
        if not self._done:
            self._done = True
            self.answered.emit(again)
            self.close()

    def closeEvent(self, event: QCloseEvent) -> None:
        self._answer(again=False)
        event.accept()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()


def another_try(look: Look, problem: LibrarianError) -> bool:
    """Show it until the person answers; True: try once more."""
    window, loop, answers = CannotOpen(look, problem), QEventLoop(), []

    def answered(again: bool) -> None:
        answers.append(again)
        loop.quit()

    window.answered.connect(answered)
    window.show()
    loop.exec()
    return answers == [True]
