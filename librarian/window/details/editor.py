"""Tags and note of one patch, or tags of several, edited in place below the header; nothing modal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QPlainTextEdit, QWidget

from librarian.window.paint.fonts import SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import hairline
from librarian.window.parts.button import Button
from librarian.window.parts.field import Field
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import figures, listed

NOTE_LINES = 3


@dataclass(frozen=True)
class Details:
    """What is edited. `tags`: those that all the `patches` have; `note` is None for several patches."""

    patches: tuple[int, ...]
    tags: tuple[str, ...] = ()
    note: str | None = ""
    known_tags: tuple[str, ...] = ()


def split_tags(text: str) -> tuple[str, ...]:
    """Tags typed with commas between them, blanks around them dropped, each once."""
    return tuple(dict.fromkeys(word for word in (part.strip() for part in text.split(",")) if word))


def offered_tags(text: str, known: Sequence[str], most: int = 5) -> tuple[str, ...]:
    """Known tags that begin as the tag being typed (after the last comma) does, not counting those typed already."""
    typed = text.rpartition(",")[2].strip().casefold()
    if not typed:
        return ()
    there = {tag.casefold() for tag in split_tags(text)}
    found = (tag for tag in known if tag.casefold().startswith(typed) and tag.casefold() not in there)
    return tuple(islice(found, most))


class DetailsEditor(Lookful):
    """`tags_given` (patch ids, tags to add, tags to remove), `note_given` (patch id, text), `closed`."""

    tags_given = Signal(object, object, object)
    note_given = Signal(int, str)
    closed = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self._details: Details | None = None
        self.tags = Field(look, "act 1, storm, drone", "Tags, with commas between them")
        self.note = QPlainTextEdit()
        self.note.setAccessibleName("Note")
        self.note.setTabChangesFocus(True)
        self.note.installEventFilter(self)
        self.tags.edit.installEventFilter(self)
        self.offer = Sentence(look, second=True)
        self.tags.edit.textEdited.connect(self._offer)
        self.done = Button(look, ButtonSpec("done", "Done", primary=True), lambda _name: self.finish())
        self.leave = Button(look, ButtonSpec("leave", "Leave as it was", key="Esc"), lambda _name: self.abandon())
        self._labels = [QLabel("Tags"), QLabel("Note")]
        for label in self._labels:
            label.setTextFormat(Qt.TextFormat.PlainText)
        grid = QGridLayout(self)
        grid.setContentsMargins(14, 8, 14, 8)
        grid.setHorizontalSpacing(12)
        grid.addWidget(self._labels[0], 0, 0)
        grid.addWidget(self.tags, 0, 1)
        grid.addWidget(self.offer, 1, 1)
        grid.addWidget(self._labels[1], 2, 0, Qt.AlignmentFlag.AlignTop)
        grid.addWidget(self.note, 2, 1)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(self.leave)
        buttons.addWidget(self.done)
        grid.addLayout(buttons, 3, 1)
        grid.setColumnStretch(1, 1)
        self.look_changed()
        self.hide()

    def show_details(self, details: Details) -> None:
        """Open with this patch, or these."""
        self._details = details
        self.tags.edit.setText(", ".join(details.tags))
        self.note.setPlainText(details.note or "")
        for widget in (self.note, self._labels[1]):
            widget.setVisible(details.note is not None)
        count = len(details.patches)
        self._labels[0].setText("Tags" if count == 1 else f"Tags of {figures(count)}")
        self._offer()
        self.show()
        self.tags.take_focus()

    @property
    def patches(self) -> Sequence[int]:
        """The patches that are being edited; none while it is closed."""
        return self._details.patches if self._details is not None else ()

    def _offer(self) -> None:
        known = self._details.known_tags if self._details is not None else ()
        found = offered_tags(self.tags.edit.text(), known)
        self.offer.say_plainly(f"Down takes {found[0]}; there are {listed(found)}." if found else "")
        self.offer.setVisible(bool(found))

    def _take_offered(self) -> bool:
        known = self._details.known_tags if self._details is not None else ()
        text = self.tags.edit.text()
        found = offered_tags(text, known)
        if not found:
            return False
        before, comma, _typed = text.rpartition(",")
        self.tags.edit.setText(f"{before}{comma} {found[0]}" if comma else found[0])
        self._offer()
        return True

    def finish(self) -> None:
        """Give what changed, and close."""
        details = self._details
        if details is None:
            return
        typed = split_tags(self.tags.edit.text())
        add = tuple(tag for tag in typed if tag not in details.tags)
        remove = tuple(tag for tag in details.tags if tag not in typed)
        note = self.note.toPlainText()
        self._close()
        if add or remove:
            self.tags_given.emit(details.patches, add, remove)
        if details.note is not None and note != details.note:
            self.note_given.emit(details.patches[0], note)

    def abandon(self) -> None:
        """Close; nothing changes."""
        if self._details is not None:
            self._close()

    def _close(self) -> None:
        self._details = None
        self.hide()
        self.closed.emit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            if event.key() == Qt.Key.Key_Escape:
                self.abandon()
                return True
            enter = event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}
            strong = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
            if enter and (strong or watched is self.tags.edit):
                self.finish()
                return True
            if event.key() == Qt.Key.Key_Down and watched is self.tags.edit and self._take_offered():
                return True
        return super().eventFilter(watched, event)

    def look_changed(self) -> None:
        for label in self._labels:
            label.setFont(self.fonts.get(SMALL))
        self.note.setFont(self.fonts.get(TEXT))
        self.note.setFixedHeight(round(self.note.fontMetrics().lineSpacing() * NOTE_LINES + 12))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.well)
        hairline(painter, self.colours.line, 0, self.height() - 1, self.width(), self.height() - 1)
        painter.end()
