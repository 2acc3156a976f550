"""The page: one of three sheets, and the cable's state above it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QStackedWidget, QVBoxLayout, QWidget

from librarian.window.pages.learn.begin import BeginSheet
from librarian.window.pages.learn.dumpsheet import DumpSheet
from librarian.window.pages.learn.panelsheet import PanelSheet
from librarian.window.paint.fonts import TITLE
from librarian.window.paint.look import Look
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence


class LearnPage(Lookful):
    """`left`: Esc. `heading` names what is being learnt while one of the two sheets is open."""

    left = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.heading = Sentence(look, px=TITLE)
        self.begin = BeginSheet(look)
        self.panel = PanelSheet(look)
        self.dumps = DumpSheet(look)
        self.sheets = QStackedWidget()
        for sheet in (self.begin, self.panel, self.dumps):
            self.sheets.addWidget(sheet)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 10, 0, 0)
        column.setSpacing(0)
        self.heading.setContentsMargins(24, 0, 24, 0)
        column.addWidget(self.heading)
        column.addWidget(self.sheets, 1)
        self.heading.hide()

    def show_sheet(self, sheet: BeginSheet | PanelSheet | DumpSheet, heading: str = "", rest: str = "") -> None:
        """This sheet, with the focus in it."""
        self.heading.say(heading, rest)
        self.heading.setVisible(bool(heading))
        self.sheets.setCurrentWidget(sheet)
        self.take_focus()

    def take_focus(self) -> None:
        """Focus goes to the sheet's first field."""
        sheet = self.sheets.currentWidget()
        assert isinstance(sheet, (BeginSheet, PanelSheet, DumpSheet))
        sheet.take_focus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()
