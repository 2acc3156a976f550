"""What every drawer has: a title, Close, what it says, its content, and its buttons at the foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from librarian.window.paint.fonts import TEXT, TITLE
from librarian.window.paint.look import Look
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.flow import FlowLayout
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec


class _Buttons(Lookful):
    """A row of buttons that wraps before it is cut."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(look, parent)
        self.buttons: dict[str, Button] = {}
        self._flow = FlowLayout(self)

    def show_buttons(self, specs: Sequence[ButtonSpec]) -> None:
        """Other buttons; those of the same name stay the same widget, so that the focus stays on them."""
        if [spec.name for spec in specs] != list(self.buttons):
            for button in self.buttons.values():
                self._flow.removeWidget(button)
                button.hide()
                button.deleteLater()
            self.buttons = {}
            for spec in specs:
                button = Button(self.look, spec, self.pressed.emit, parent=self)
                self._flow.addWidget(button)
                button.show()
                self.buttons[spec.name] = button
        for spec in specs:
            if self.buttons[spec.name].spec != spec:
                self.buttons[spec.name].set_spec(spec)
        self.setVisible(bool(specs))
        self.updateGeometry()

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._flow.heightForWidth(width)


class Drawer(Lookful):
    """A drawer with `title`. Content goes into `body`. `closed`: the person is done; `pressed` (name of a button).

    `foremost`: the widget that takes the focus when the drawer opens.
    """

    closed = Signal()
    pressed = Signal(str)

    def __init__(self, look: Look, title: str, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.title = Sentence(look, px=TITLE)
        self.title.say(title)
        self.setAccessibleName(title)
        self.close_button = Button(look, ButtonSpec("close", "Close", key="Esc"), lambda _name: self.closed.emit())
        self.saying = Sentence(look, px=TEXT, second=True)
        self.saying.hide()
        self.foremost: QWidget | None = None
        self._disabled: Mapping[str, str] = {}
        top = QHBoxLayout()
        top.setContentsMargins(14, 0, 12 - FRAME, 0)
        top.addWidget(self.title, 1, Qt.AlignmentFlag.AlignVCenter)
        top.addWidget(self.close_button)
        said = QHBoxLayout()
        said.setContentsMargins(14, 0, 14, 6)
        said.addWidget(self.saying)
        self.body = QVBoxLayout()
        self.body.setContentsMargins(0, 0, 0, 0)
        self.body.setSpacing(0)
        self._buttons = _Buttons(look, self)
        self._buttons.pressed.connect(self.pressed)
        foot = QHBoxLayout()
        foot.setContentsMargins(14 - FRAME, 6, 12 - FRAME, 8)
        foot.addWidget(self._buttons)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 8, 0, 0)
        column.setSpacing(2)
        column.addLayout(top)
        column.addLayout(said)
        column.addLayout(self.body, 1)
        column.addLayout(foot)
        self._buttons.show_buttons(())

    def say(self, first: str, rest: str = "") -> None:
        """What stands under the title; `first` is bold."""
        self.saying.say(first, rest)
        self.saying.setVisible(bool(first or rest))

    def show_buttons(self, *specs: ButtonSpec) -> None:
        """The buttons at the foot."""
        self._buttons.show_buttons([
            replace(spec, reason=self._disabled.get(spec.name, spec.reason)) for spec in specs
        ])

    def disable(self, reasons: Mapping[str, str]) -> None:
        """These buttons cannot work in this drawer, whatever it shows: each name with its reason."""
        self._disabled = reasons

    @property
    def buttons(self) -> dict[str, Button]:
        """The buttons at the foot by name."""
        return self._buttons.buttons

    def padded(self, *widgets: QWidget, stretch_last: bool = True) -> None:
        """Put widgets side by side into the body, with the drawer's margins."""
        row = QHBoxLayout()
        row.setContentsMargins(14, 0, 12, 6)
        row.setSpacing(8)
        for widget in widgets:
            row.addWidget(widget)
        if stretch_last:
            row.addStretch(1)
        self.body.addLayout(row)

    def take_focus(self) -> None:
        """Focus goes to what matters most in here."""
        target = self.foremost or self.close_button
        take = getattr(target, "take_focus", None)
        if callable(take) and target.isVisible():
            take()
        else:
            (target if target.isVisible() and target.isEnabled() else self.close_button).setFocus(
                Qt.FocusReason.OtherFocusReason
            )

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()
