"""A sentence: word-wrapped, selectable, first clause bold, outside text in it never read as HTML."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPalette
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from librarian.window.paint.fonts import TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import one_line, sentence_markup


class Sentence(QLabel):
    """A label of `px` text in ink, or in ink2 when `second`."""

    def __init__(self, look: Look, *, px: float = TEXT, second: bool = False, wraps: bool = True,
                 parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        self._px = px
        self._second = second
        self._said = ""
        self.setTextFormat(Qt.TextFormat.RichText)
        self.setWordWrap(wraps)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        look.changed.connect(self._dress)
        self._dress()

    def say(self, first: str, rest: str = "") -> None:
        """Show a sentence; `first` is bold. The accessible name is the plain sentence."""
        self._said = one_line(f"{first} {rest}".strip())
        self.setText(sentence_markup(first, rest))
        self.setAccessibleName(self._said)

    def say_plainly(self, text: str) -> None:
        """Show a sentence without a bold clause."""
        self.say("", text)

    @property
    def said(self) -> str:
        """What is shown, as plain text."""
        return self._said

    def _dress(self) -> None:
        self.setFont(self.look.fonts.get(self._px))
        palette = QPalette(self.palette())
        colour = self.look.palette.ink2 if self._second else self.look.palette.ink
        palette.setColor(QPalette.ColorRole.WindowText, colour)
        palette.setColor(QPalette.ColorRole.Text, colour)
        self.setPalette(palette)
