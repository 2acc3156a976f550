"""Colour arithmetic for the tests alone, so that the palette is measured by something it does not use itself."""

from __future__ import annotations

from math import atan2, cos, degrees, exp, hypot, radians, sin, sqrt

from PySide6.QtGui import QColor

Triple = tuple[float, float, float]

# Full dichromacy, severity 1.0: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color
# Vision Deficiency", 2009, table of the authors; applied to linear RGB.
BLINDNESS: dict[str, tuple[Triple, Triple, Triple]] = {
    "full colour": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def linear(colour: QColor) -> Triple:
    """sRGB to linear light (IEC 61966-2-1)."""
    def one(value: float) -> float:
        return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4

    return one(colour.redF()), one(colour.greenF()), one(colour.blueF())


def luminance(colour: QColor) -> float:
    """Relative luminance, WCAG 2.2."""
    r, g, b = linear(colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: QColor, other: QColor) -> float:
    """Contrast ratio, WCAG 2.2: (L1 + 0.05) / (L2 + 0.05)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def seen_by(colour: QColor, kind: str) -> Triple:
    """Linear RGB as somebody of this vision sees it, clipped to what a screen can show."""
    rgb = linear(colour)
    return tuple(  # type: ignore[return-value]
        min(1.0, max(0.0, sum(factor * part for factor, part in zip(row, rgb, strict=True)))) for row in BLINDNESS[kind]
    )


def lab(rgb: Triple) -> Triple:
    """Linear sRGB to CIELAB under D65 (CIE 15:2004)."""
    r, g, b = rgb
    x = (0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047
    y = 0.2126729 * r + 0.7151522 * g + 0.0721750 * b
    z = (0.0193339 * r + 0.1191920 * g + 0.9503041 * b) / 1.08883

    def f(value: float) -> float:
        return value ** (1 / 3) if value > 216 / 24389 else (24389 / 27 * value + 16) / 116

    return 116 * f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))


def ciede2000(one: Triple, other: Triple) -> float:
    """Colour difference, CIE 142-2001, as written out by Sharma, Wu, Dalal 2005."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean = (hypot(a1, b1) + hypot(a2, b2)) / 2
    g = 0.5 * (1 - sqrt(mean**7 / (mean**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = hypot(a1, b1), hypot(a2, b2)
    h1 = degrees(atan2(b1, a1)) % 360 if c1 else 0.0
    h2 = degrees(atan2(b2, a2)) % 360 if c2 else 0.0
    turn = 0.0
    if c1 * c2:
        turn = h2 - h1
        turn -= 360 if turn > 180 else -360 if turn < -180 else 0
    dl, dc, dh = l2 - l1, c2 - c1, 2 * sqrt(c1 * c2) * sin(radians(turn / 2))
    lm, cm = (l1 + l2) / 2, (c1 + c2) / 2
    if not c1 * c2:
        hm = h1 + h2
    elif abs(h1 - h2) <= 180:
        hm = (h1 + h2) / 2
    else:
        hm = (h1 + h2 + 360) / 2 if h1 + h2 < 360 else (h1 + h2 - 360) / 2
    t = (1 - 0.17 * cos(radians(hm - 30)) + 0.24 * cos(radians(2 * hm)) + 0.32 * cos(radians(3 * hm + 6))
         - 0.20 * cos(radians(4 * hm - 63)))
    sl = 1 + 0.015 * (lm - 50) ** 2 / sqrt(20 + (lm - 50) ** 2)
    sc, sh = 1 + 0.045 * cm, 1 + 0.015 * cm * t
    rt = -2 * sqrt(cm**7 / (cm**7 + 25.0**7)) * sin(radians(60 * exp(-(((hm - 275) / 25) ** 2))))
    return sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh))
