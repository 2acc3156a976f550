"""The caution before a sound may become loud: asked once per instrument and day, in place, before anything is sent."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from PySide6.QtCore import QSettings

from librarian.window.areas import Areas
from librarian.window.parts.notice import loudness_notice


class Caution:
    """Asks in the place of the values. `library` keeps the answers of different libraries apart."""

    def __init__(self, areas: Areas, settings: QSettings, library: str) -> None:
        self._areas, self._settings, self._library = areas, settings, library
        self._answered: Callable[[], None] | None = None

    @property
    def asked(self) -> bool:
        """True while the question stands."""
        return self._answered is not None

    def before(self, instrument: int, act: Callable[[], None]) -> None:
        """Do this once the monitors are down; at once when that was said today."""
        key = f"monitors/{self._library}/{instrument}".replace("\\", "/")
        today = datetime.now().astimezone().date().isoformat()
        if self._settings.value(key) == today:
            act()
            return

        def answered() -> None:
            self._settings.setValue(key, today)
            act()

        self._areas.show_band(loudness_notice(), self._drop)
        self._answered = answered

    def _drop(self) -> None:
        self._answered = None

    def answer(self, *, down: bool) -> None:
        """The person answered; without `down` nothing is sent."""
        act, self._answered = self._answered, None
        self._areas.show_band(None)
        self._areas.focus_area("header")
        if down and act is not None:
            act()
