"""Arrangements that several pages and drawers have in common."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QListView,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from librarian.window.paint.look import Look
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.scroll import ThinScrollBar


def button_row(buttons: Iterable[Button]) -> QHBoxLayout:
    """Buttons side by side, the first one's text at the edge of what stands above."""
    row = QHBoxLayout()
    row.setContentsMargins(-FRAME, 0, 0, 0)
    for button in buttons:
        row.addWidget(button)
    row.addStretch(1)
    return row


def form(rows: Sequence[tuple[str, QWidget]]) -> tuple[QGridLayout, list[QLabel]]:
    """Labels with what is filled in beside them; each label takes to its widget."""
    grid = QGridLayout()
    grid.setHorizontalSpacing(16)
    grid.setVerticalSpacing(12)
    labels = []
    for row, (text, widget) in enumerate(rows):
        label = QLabel(text)
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setBuddy(widget)
        labels.append(label)
        grid.addWidget(label, row, 0)
        grid.addWidget(widget, row, 1)
    grid.setColumnStretch(1, 1)
    return grid, labels


def on_page(page: QWidget, column: QVBoxLayout, *, width: int, top: int) -> None:
    """A column of at most this width at the left of a page, with air around it."""
    column.setSpacing(16)
    column.addStretch(1)
    holder = QWidget()
    holder.setLayout(column)
    holder.setMaximumWidth(width)
    outer = QHBoxLayout(page)
    outer.setContentsMargins(48, top, 48, 24)
    outer.addWidget(holder, 1)
    outer.addStretch(1)


def as_rows(view: QListView, look: Look) -> None:
    """A list of rows of one height without a frame; the bar lies over it, so that a chosen row reaches the edge."""
    view.setFrameShape(QFrame.Shape.NoFrame)
    view.setUniformItemSizes(True)
    view.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
    view.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    bar = ThinScrollBar(look)
    bar.overlays = True
    view.setVerticalScrollBar(bar)
    view.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
    view.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)


def text_to_read(look: Look, name: str) -> QPlainTextEdit:
    """Lines to look at and to copy from, not to write in."""
    made = QPlainTextEdit()
    made.setReadOnly(True)
    made.setTabChangesFocus(True)
    made.setFrameShape(QFrame.Shape.NoFrame)
    made.setVerticalScrollBar(ThinScrollBar(look))
    made.setAccessibleName(name)
    return made
