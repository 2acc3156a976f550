"""The look in force: palette, fonts and motion, followed from the system or overridden, told to every widget."""

from __future__ import annotations

from typing import Literal

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QAccessibilityHints, QGuiApplication, QPalette, QStyleHints
from PySide6.QtWidgets import QApplication

from librarian.window.paint.fonts import Fonts
from librarian.window.paint.palette import DARK, LIGHT, Palette, dimmed, high_contrast, is_dark, qt_palette

Choice = Literal["system", "light", "dark"]

_HELD: list[QStyleHints | QAccessibilityHints] = []


def _accessibility() -> QAccessibilityHints:
    """The system's wishes. PySide drops the child's wrapper with the parent's, and finds the dead one again later:
    both wrappers are therefore held for good."""
    hints = QGuiApplication.styleHints()
    wishes = hints.accessibility()
    if not _HELD:
        _HELD.extend((hints, wishes))
    return wishes


class Look(QObject):
    """Shared by all widgets of one window. `changed` is emitted after `palette` or `fonts` became another one.

    The system decides until `choose` says otherwise; `dim` and `on_stage` are for dark rooms. With the platform's
    high-contrast setting its own colours are taken, whatever was chosen.
    """

    changed = Signal()

    def __init__(self, choice: Choice = "system", base_px: float | None = None) -> None:
        super().__init__()
        self._system = QPalette(QGuiApplication.palette())
        self._base_px = base_px
        self.choice: Choice = choice
        self.dimmer = False
        self.stage_dark = False
        self.reduced_motion = False
        self.contrast: bool | None = None
        self.fonts = Fonts(base_px)
        self.palette: Palette = LIGHT
        self._settle()
        hints = QGuiApplication.styleHints()
        hints.colorSchemeChanged.connect(self._settle)
        _accessibility().contrastPreferenceChanged.connect(self._read_system_again)

    def choose(self, choice: Choice) -> None:
        """Follow the system, or stay light or dark."""
        self.choice = choice
        self._settle()

    def dim(self, on: bool) -> None:
        """One step less light."""
        self.dimmer = on
        self._settle()

    def on_stage(self, on: bool) -> None:
        """Dark while the stage view is open, whatever else was chosen."""
        self.stage_dark = on
        self._settle()

    def set_contrast(self, on: bool | None) -> None:
        """High contrast on or off; None follows the system."""
        self.contrast = on
        self._settle()

    def set_base(self, px: float | None) -> None:
        """Another text size; None is the system's."""
        self._base_px = px
        self.fonts = Fonts(px)
        self.changed.emit()

    @property
    def motion_ms(self) -> int:
        """How long a mark takes to its new place; 0 with reduced motion."""
        return 0 if self.reduced_motion else 120

    def _wants_contrast(self) -> bool:
        if self.contrast is not None:
            return self.contrast
        return bool(_accessibility().contrastPreference() == Qt.ContrastPreference.HighContrast)

    def _wants_dark(self) -> bool:
        if self.stage_dark:
            return True
        if self.choice != "system":
            return self.choice == "dark"
        scheme = QGuiApplication.styleHints().colorScheme()
        if scheme == Qt.ColorScheme.Unknown:
            return is_dark(self._system)
        return bool(scheme == Qt.ColorScheme.Dark)

    def _read_system_again(self) -> None:
        # An empty palette gives the application the platform's own colours back; then they can be read.
        QGuiApplication.setPalette(QPalette())
        self._system = QPalette(QGuiApplication.palette())
        self._settle()
        self.changed.emit()

    def _settle(self) -> None:
        palette = DARK if self._wants_dark() else LIGHT
        if self._wants_contrast():
            palette = high_contrast(self._system)
        if self.dimmer:
            palette = dimmed(palette)
        if palette != self.palette:
            self.palette = palette
            self.changed.emit()

    def dress(self, application: QApplication) -> None:
        """Give Qt's own painting (menus, fields, tool tips) these colours and this font, now and at every change."""
        application.setStyle("Fusion")

        def put() -> None:
            application.setPalette(qt_palette(self.palette))
            application.setFont(self.fonts.get())

        put()
        self.changed.connect(put)
