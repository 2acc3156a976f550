"""Tags and note of one patch, or tags of several, edited in place below the header; nothing modal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QObject, QStringListModel, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QCompleter, QGridLayout, QHBoxLayout, QLabel, QLineEdit, QPlainTextEdit, QWidget

from librarian.window.paint.fonts import SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import hairline
from librarian.window.parts.button import Button
from librarian.window.parts.field import Field
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.spec import ButtonSpec

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


class _LastTagCompleter(QCompleter):
    """Completes only the tag after the last comma."""

    def pathFromIndex(self, index: object) -> str:
        before, comma, _ = self.widget_text().rpartition(",")
        word = super().pathFromIndex(index)  # type: ignore[arg-type]
        return f"{before}{comma} {word}" if comma else word

    def splitPath(self, path: str) -> list[str]:
        return [path.rpartition(",")[2].strip()]

    def widget_text(self) -> str:
        widget = self.widget()
        return widget.text() if isinstance(widget, QLineEdit) else ""


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
        self._known = QStringListModel(self)
        completer = _LastTagCompleter(self._known, self)
        completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        self.tags.edit.setCompleter(completer)
        self.done = Button(look, ButtonSpec("done", "Done", primary=True), lambda _name: self.finish())
        self.leave = Button(look, ButtonSpec("leave", "Leave as it was", key="Esc"), lambda _name: self.abandon())
        self._labels = [QLabel("Tags"), QLabel("Note")]
        grid = QGridLayout(self)
        grid.setContentsMargins(14, 8, 14, 8)
        grid.setHorizontalSpacing(12)
        grid.addWidget(self._labels[0], 0, 0)
        grid.addWidget(self.tags, 0, 1)
        grid.addWidget(self._labels[1], 1, 0, Qt.AlignmentFlag.AlignTop)
        grid.addWidget(self.note, 1, 1)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(self.leave)
        buttons.addWidget(self.done)
        grid.addLayout(buttons, 2, 1)
        grid.setColumnStretch(1, 1)
        self.look_changed()
        self.hide()

    def show_details(self, details: Details) -> None:
        """Open with this patch, or these."""
        self._details = details
        self._known.setStringList(list(details.known_tags))
        self.tags.edit.setText(", ".join(details.tags))
        self.note.setPlainText(details.note or "")
        for widget in (self.note, self._labels[1]):
            widget.setVisible(details.note is not None)
        self.show()
        self.tags.take_focus()

    @property
    def patches(self) -> Sequence[int]:
        """The patches that are being edited; none while it is closed."""
        return self._details.patches if self._details is not None else ()

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
                popup = self.tags.edit.completer().popup()
                if popup is None or not popup.isVisible():
                    self.finish()
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
