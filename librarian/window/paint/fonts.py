"""The type scale: the system's own font, in sizes that are factors of its size.

All sizes here are named by what they measure at the usual base of 13 px; a system with larger text enlarges
them all. The fixed font is only for bytes and chart text.
"""

from __future__ import annotations

from functools import lru_cache

from PySide6.QtGui import QFont, QFontDatabase, QFontInfo, QFontMetricsF

USUAL_BASE = 13
TINY, SMALL, TEXT, BODY, TITLE, NAME, HEADLINE = 10, 11, 12, 13, 15, 18, 26
CONDENSED = 85


class Fonts:
    """Fonts by size and weight. `base`: the system font's size in px, never under 13 (so labels never under 11)."""

    def __init__(self, base: float | None = None) -> None:
        general = QFontDatabase.systemFont(QFontDatabase.SystemFont.GeneralFont)
        if base is None:
            base = QFontInfo(general).pixelSize()
        self.base = max(float(USUAL_BASE), float(base))
        self._general = general
        self._fixed = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
        self.get = lru_cache(maxsize=256)(self._make)
        self.metrics = lru_cache(maxsize=256)(self._measure)

    @property
    def factor(self) -> float:
        """How much larger than usual the system's text is, 1.0 or more."""
        return self.base / USUAL_BASE

    def room(self, px: float) -> int:
        """A height that holds text (given at the usual base), enlarged with the system's text; whole px."""
        return round(px * self.factor)

    def _make(
        self, px: float = BODY, *, bold: bool = False, fixed: bool = False, condensed: bool = False,
        underline: bool = False,
    ) -> QFont:
        font = QFont(self._fixed if fixed else self._general)
        font.setPixelSize(max(1, round(px * self.factor)))
        font.setBold(bold)
        font.setUnderline(underline)
        if condensed:
            # Scaled letters, not a condensed family: that family is not there on most systems.
            font.setStretch(CONDENSED)
        font.setFeature(QFont.Tag("tnum"), 1)
        return font

    def _measure(
        self, px: float = BODY, *, bold: bool = False, fixed: bool = False, condensed: bool = False,
        underline: bool = False,
    ) -> QFontMetricsF:
        return QFontMetricsF(self._make(px, bold=bold, fixed=fixed, condensed=condensed, underline=underline))
