"""The colours, light and dark, and the three ways in which they may be bent: dimmed, high contrast, mixed.

Every pair of text and ground has a contrast of 4.5 or more, every mark that means something 3 or more
(WCAG 2.2 formula); every two of ink, ring, B, live and broken stay 12 or more apart (CIEDE2000) for full
protan, deutan and tritan vision. tests/gui/test_palette.py measures both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from PySide6.QtGui import QColor, QPalette


@dataclass(frozen=True)
class Palette:
    """One set of colours. `tints`: False when plates behind cells are left out (high contrast)."""

    dark: bool
    ground: QColor
    sheet: QColor
    well: QColor
    select: QColor
    line: QColor
    ring: QColor
    ink: QColor
    ink2: QColor
    b: QColor
    b_tint: QColor
    live: QColor
    live_tint: QColor
    broken: QColor
    broken_tint: QColor
    tints: bool = True


LIGHT = Palette(
    dark=False,
    ground=QColor("#E3E9E5"),
    sheet=QColor("#FAFBF9"),
    well=QColor("#EEF2EF"),
    select=QColor("#D8E2DC"),
    line=QColor("#BDC8C1"),
    ring=QColor("#727E78"),
    ink=QColor("#151D1A"),
    ink2=QColor("#4A5650"),
    b=QColor("#1452C4"),
    b_tint=QColor("#DCE6FA"),
    live=QColor("#A84300"),
    live_tint=QColor("#FCE9D6"),
    broken=QColor("#6E0A5A"),
    broken_tint=QColor("#F6E1F0"),
)

DARK = Palette(
    dark=True,
    ground=QColor("#0C1211"),
    sheet=QColor("#141C1A"),
    well=QColor("#101716"),
    select=QColor("#2B3A35"),
    line=QColor("#36443F"),
    ring=QColor("#76877F"),
    ink=QColor("#E8EDE8"),
    ink2=QColor("#A5B3AC"),
    b=QColor("#7CC4FF"),
    b_tint=QColor("#16304B"),
    live=QColor("#FFCB3D"),
    live_tint=QColor("#3A2C0A"),
    broken=QColor("#FF8A78"),
    broken_tint=QColor("#44201A"),
)

DIMMER_SHARE = 0.2


def mix(colour: QColor, other: QColor, share: float) -> QColor:
    """`colour` with `share` (0 to 1) of `other` mixed in, by sRGB components."""
    keep = 1.0 - share
    return QColor(
        round(colour.red() * keep + other.red() * share),
        round(colour.green() * keep + other.green() * share),
        round(colour.blue() * keep + other.blue() * share),
    )


def with_alpha(colour: QColor, share: float) -> QColor:
    """`colour` at the given opacity, 0 to 1."""
    clear = QColor(colour)
    clear.setAlphaF(share)
    return clear


def dimmed(palette: Palette) -> Palette:
    """One step darker to the eye in a dark room: whatever shines is mixed 20 % into the sheet."""
    return replace(
        palette,
        ink=mix(palette.ink, palette.sheet, DIMMER_SHARE),
        ink2=mix(palette.ink2, palette.sheet, DIMMER_SHARE),
        b=mix(palette.b, palette.sheet, DIMMER_SHARE),
        live=mix(palette.live, palette.sheet, DIMMER_SHARE),
        broken=mix(palette.broken, palette.sheet, DIMMER_SHARE),
    )


def is_dark(system: QPalette) -> bool:
    """True when a platform's own palette writes light on dark."""
    window = system.color(QPalette.ColorRole.Window)
    text = system.color(QPalette.ColorRole.WindowText)
    return window.lightnessF() < text.lightnessF()


def high_contrast(system: QPalette) -> Palette:
    """The platform's window, text and highlight colours; no tints. Shapes alone then tell the marks apart."""
    window = system.color(QPalette.ColorRole.Window)
    text = system.color(QPalette.ColorRole.WindowText)
    highlight = system.color(QPalette.ColorRole.Highlight)
    return Palette(
        dark=is_dark(system),
        ground=window,
        sheet=window,
        well=window,
        select=window,
        line=text,
        ring=text,
        ink=text,
        ink2=text,
        b=highlight,
        b_tint=window,
        live=text,
        live_tint=window,
        broken=text,
        broken_tint=window,
        tints=False,
    )


def qt_palette(colours: Palette) -> QPalette:
    """The same colours for what Qt paints by itself: menus, text fields, tool tips, native scroll bars."""
    role = QPalette.ColorRole
    made = QPalette()
    for which, colour in (
        (role.Window, colours.ground),
        (role.WindowText, colours.ink),
        (role.Base, colours.sheet),
        (role.AlternateBase, colours.well),
        (role.Text, colours.ink),
        (role.PlaceholderText, colours.ink2),
        (role.Button, colours.sheet),
        (role.ButtonText, colours.ink),
        (role.BrightText, colours.sheet),
        (role.Highlight, colours.ink),
        (role.HighlightedText, colours.sheet),
        (role.ToolTipBase, colours.sheet),
        (role.ToolTipText, colours.ink),
        (role.Link, colours.b),
        (role.LinkVisited, colours.b),
        (role.Light, colours.sheet),
        (role.Midlight, colours.well),
        (role.Mid, colours.line),
        (role.Dark, colours.ring),
        (role.Shadow, colours.line),
    ):
        made.setColor(which, colour)
    for which in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, which, colours.ring)
    return made
