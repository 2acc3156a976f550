"""Numbers as people read and type them: SI prefixes, real minus sign, thin spaces, decimals."""

from __future__ import annotations

import math
import re

MINUS = "−"
THIN = "\N{THIN SPACE}"
MOST_DECIMALS = 6

_FAMILIES: dict[str, tuple[tuple[float, str], ...]] = {
    "frequency": ((1e6, "MHz"), (1e3, "kHz"), (1.0, "Hz")),
    "time": ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs")),
}
_FAMILY_OF = {unit: (family, factor) for family, steps in _FAMILIES.items() for factor, unit in steps}
_FAMILY_OF["us"] = ("time", 1e-6)

_SPOKEN: dict[str, dict[str, float]] = {
    "frequency": {"hz": 1.0, "hertz": 1.0, "k": 1e3, "khz": 1e3, "kilohertz": 1e3, "mhz": 1e6, "megahertz": 1e6},
    "time": {
        "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0,
        "m": 1e-3, "ms": 1e-3, "msec": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3,
        "µ": 1e-6, "µs": 1e-6, "us": 1e-6, "microsecond": 1e-6, "microseconds": 1e-6,
    },
}  # fmt: skip
_SAME = {
    "%": {"percent", "per cent"}, "ct": {"cent", "cents"}, "st": {"semitone", "semitones", "semi", "semis"},
    "dB": {"decibel", "decibels"}, "°": {"deg", "degree", "degrees"}, "oct": {"octave", "octaves"},
}  # fmt: skip

_NUMBER = re.compile(r"([+-]?)\s*(\d[\d\s]*(?:[.,]\d+)?|[.,]\d+)(?:e([+-]?\d{1,2}))?")


def plain(text: str) -> str:
    """Typed text made comparable: real minus and dashes to a hyphen, all spaces to one blank, folded case."""
    text = " ".join(text.split()).casefold()  # split knows every kind of space
    # Folding turns the micro sign into the Greek letter: turn it back.
    return text.translate({ord(MINUS): "-", ord("–"): "-", ord("—"): "-", ord("μ"): "µ"})


def digits(number: float, decimals: int | None) -> str:
    """A number with real minus sign and thin spaces. `decimals` None: two significant digits, wholes unrounded."""
    places = _natural(number) if decimals is None else decimals
    text = f"{abs(number):,.{places}f}".replace(",", THIN)
    if decimals is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    negative = number < 0 and any(digit in "123456789" for digit in text)
    return (MINUS if negative else "") + text


def _natural(number: float) -> int:
    size = abs(number)
    if size >= 9.95 or size == 0.0:
        return 0
    if size >= 0.995:
        return 1
    return min(MOST_DECIMALS, 1 + math.ceil(-math.log10(size)))


def scaled(number: float, unit: str) -> tuple[float, str]:
    """The number in the unit of its family that reads best: (1200, "Hz") is (1.2, "kHz"). Others stay as they are."""
    found = _FAMILY_OF.get(unit)
    if found is None or number == 0.0:
        return number, unit
    family, factor = found
    size = abs(number) * factor
    steps = _FAMILIES[family]
    for step, name in steps:
        if size >= step * 0.9995:  # 999.6 ms is 1 s: what would round up to 1000 takes the larger unit
            return number * factor / step, name
    step, name = steps[-1]
    return number * factor / step, name


def quantity(
    number: float, unit: str, decimals: int | None, *, signed: bool = False, prefix: bool = True, moving: bool = False
) -> str:
    """Number and unit as people read them: "642 Hz", "1.2 kHz", "−3 ct", "+7 st", "90°".

    `moving`: the decimals belong to `unit`; in a larger or smaller unit there are as many more or fewer (1234 ms is
    1.234 s), without zeros at the end.
    """
    own = number
    if prefix:
        number, unit = scaled(number, unit)
    if moving and decimals is not None and number != own:
        places = decimals + round(math.log10(abs(own / number)))
        text = digits(number, min(max(places, 0), MOST_DECIMALS))
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = digits(number, decimals)
    if signed and number > 0 and any(digit in "123456789" for digit in text):
        text = "+" + text
    if not unit:
        return text
    return text + unit if unit == "°" else f"{text} {unit}"


def spoken(text: str, unit: str) -> float | None:
    """The number that a person typed, in `unit`; None when it is no number with that unit (or none).

    Taken: "2k", "2 kHz", "2000", "-3", "−3", "+7 st", "1.5 s", "1,5 s", "1 200", case-blind.
    """
    typed = plain(text)
    own = plain(unit)
    if own and any(letter.isdigit() for letter in own) and typed.endswith(own):
        typed = typed.removesuffix(own)  # a unit such as "1/8" would be read on as digits
    match = _NUMBER.match(typed)
    if match is None:
        return None
    sign, mantissa, power = match.groups()
    number = _decimal(mantissa)
    if power:
        number *= 10.0 ** int(power)
    factor = _factor(typed[match.end() :].strip(), unit)
    if factor is None:
        return None
    return (-number if sign == "-" else number) * factor


def _decimal(text: str) -> float:
    compact = text.replace(" ", "")
    whole, comma, rest = compact.partition(",")
    if comma and len(rest) == 3 and whole.strip("0"):
        compact = whole + rest  # 1,200: thousands
    return float(compact.replace(",", "."))


def _factor(suffix: str, unit: str) -> float | None:
    """What a typed unit multiplies the number by, to have it in `unit`."""
    if not suffix or suffix == plain(unit):
        return 1.0
    found = _FAMILY_OF.get(unit)
    if found is not None:
        family, factor = found
        typed = _SPOKEN[family].get(suffix)
        return None if typed is None else typed / factor
    if suffix in _SAME.get(unit, ()):
        return 1.0
    return 1000.0 if suffix in {"k", "k" + plain(unit)} else None
