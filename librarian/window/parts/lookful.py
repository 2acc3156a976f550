"""What every widget of the window has in common: the look, and repainting when it changes."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from librarian.window.paint.fonts import Fonts
from librarian.window.paint.look import Look
from librarian.window.paint.palette import Palette


class Lookful(QWidget):
    """A widget that paints with a `Look`. `look_changed` is called once the palette or the fonts are others."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        look.changed.connect(self._look_has_changed)

    @property
    def colours(self) -> Palette:
        """The palette in force."""
        return self.look.palette

    @property
    def fonts(self) -> Fonts:
        """The fonts in force."""
        return self.look.fonts

    def _look_has_changed(self) -> None:
        self.look_changed()
        self.updateGeometry()
        self.update()

    def look_changed(self) -> None:
        """For subclasses: what depends on palette or fonts beyond painting."""
