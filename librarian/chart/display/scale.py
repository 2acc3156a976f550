"""The display scale of one parameter: exact value to text, text to exact value, signed differences."""

from __future__ import annotations

from librarian.chart.display.curve import Curve, build_curve
from librarian.chart.display.notes import note_name, note_number
from librarian.chart.display.numbers import digits, plain, quantity, spoken
from librarian.chart.language.display import DisplayTable
from librarian.chart.nearest import nearest
from librarian.errors import BadInput

_MOST_REMEMBERED = 16_384
_LONGEST_TYPED = 80
_LONGEST_TOLD = 40


class Scale:
    """Compiled once per parameter. `low` and `high` are inclusive; texts carry the unit and a real minus sign."""

    __slots__ = (
        "_texts",
        "_words",
        "curve",
        "decimals",
        "form",
        "high",
        "low",
        "middle_c",
        "moving",
        "positions",
        "prefix",
        "signed",
        "unit",
    )

    def __init__(self, low: int, high: int, table: DisplayTable | None = None, positions: tuple[str, ...] = ()) -> None:
        self.low, self.high, self.positions = low, high, positions
        self._texts: dict[int, str] = {}
        self._words: dict[int, str] = {low + index: name for index, name in enumerate(positions)}
        ends = table.ends if table is not None else None
        if ends is not None and ends.low is not None:
            self._words[low] = ends.low
        if ends is not None and ends.high is not None:
            self._words[high] = ends.high
        self.curve = self._curve(table, low, high)
        table = table if table is not None else DisplayTable()
        self.unit, self.prefix, self.form, self.middle_c = table.unit, table.prefix, table.form, table.middle_c
        self.decimals = table.decimals if table.decimals is not None else _from_step(self.curve)
        self.moving = table.decimals is None
        crosses = self.curve is not None and self.curve.ends[0] < 0 < self.curve.ends[1]
        self.signed = table.signed if table.signed is not None else crosses

    def _curve(self, table: DisplayTable | None, low: int, high: int) -> Curve | None:
        if self.positions:
            return None
        first = low + 1 if low in self._words else low
        last = high - 1 if high in self._words and high > low else high
        return build_curve(table, first, last) if first <= last else None

    def reading(self, value: int) -> float | None:
        """The number behind the text, in the display unit; None for a word."""
        if value in self._words or self.curve is None:
            return None
        return self.curve.reading(value)

    def text(self, value: int) -> str:
        """What a person reads. A value outside the range (from a dump with a fault) reads as its bare number."""
        known = self._texts.get(value)
        if known is not None:
            return known
        text = self._text(value)
        if len(self._texts) < _MOST_REMEMBERED:
            self._texts[value] = text
        return text

    def _text(self, value: int) -> str:
        word = self._words.get(value)
        if word is not None:
            return word
        if self.curve is None or not self.low <= value <= self.high:
            return digits(value, 0)
        return self._number_text(self.curve.reading(value))

    def _number_text(self, number: float) -> str:
        if self.form == "note":
            return note_name(round(number), self.middle_c)
        if self.form == "ratio" and number > 0:
            if number >= 1:
                return f"{digits(number, self.decimals)}:1"
            return f"1:{digits(1 / number, self.decimals)}"
        return quantity(
            number, self.unit, self.decimals, signed=self.signed, prefix=self.prefix, moving=self.moving
        )

    def value(self, text: str) -> int:
        """The exact value that `text` means: a word, a beginning of one, or a number with or without unit.

        Raises BadInput with what would be understood. A number between two values takes the nearest.
        """
        typed = plain(text[:_LONGEST_TYPED])
        found = self._word_value(typed)
        if found is not None:
            return found
        if self.curve is None:
            near = nearest(typed, self._words.values())
            raise BadInput(f"“{_told(text)}” is none of its positions.", self._known_words(near))
        number = self._number(typed)
        if number is None:
            raise BadInput(
                f"“{_told(text)}” cannot be read as a value here.",
                f"Write for example “{self.text(self.low)}” or “{self.text(self.high)}”.",
            )
        return self._nearest(number, text)

    def number(self, text: str) -> float | None:
        """The number that `text` means in the display unit, also outside the range; None for a word or nonsense."""
        return None if self.curve is None else self._number(plain(text[:_LONGEST_TYPED]))

    def _word_value(self, typed: str) -> int | None:
        folded = {value: plain(word) for value, word in self._words.items()}
        exact = [value for value, word in folded.items() if word == typed]
        if exact:
            return exact[0]
        begins = [value for value, word in folded.items() if typed and word.startswith(typed)]
        if len(begins) == 1 and self._number(typed) is None:
            return begins[0]
        return begins[0] if len(begins) == 1 and self.curve is None else None

    def _known_words(self, near: str) -> str:
        some = list(self._words.values())[:12]
        more = " …" if len(self._words) > len(some) else ""
        return (f"Did you mean “{near}”? " if near else "") + f"It has: {', '.join(some)}{more}."

    def _number(self, typed: str) -> float | None:
        if self.form == "note":
            note = note_number(typed, self.middle_c)
            if note is not None:
                return float(note)
        if self.form == "ratio" and ":" in typed:
            over, _, under = typed.partition(":")
            a, b = spoken(over, ""), spoken(under, "")
            return a / b if a is not None and b else None
        return spoken(typed, self.unit)

    def _nearest(self, number: float, text: str) -> int:
        curve = self.curve
        if curve is None:
            raise BadInput(f"“{_told(text)}” is none of its positions.")
        value = curve.near(number)
        wanted = self._number_text(number)
        # The text of a value is rounded; among neighbours the one that reads as typed is meant.
        for candidate in (value, value - 1, value + 1):
            if curve.low <= candidate <= curve.high and self.text(candidate) == wanted:
                return candidate
        lowest, highest = curve.ends
        if not lowest <= number <= highest:
            first, last = self.text(curve.low), self.text(curve.high)
            raise BadInput(
                f"“{_told(text)}” is outside the range, which is {first} to {last}.", "Write a value within the range."
            )
        return value

    def difference(self, a: int, b: int) -> str:
        """b − a in display units with its sign; '' when equal, 'differs' where a number would say nothing."""
        if a == b:
            return ""
        first, second = self.reading(a), self.reading(b)
        if first is None or second is None or self.form == "ratio":
            return "differs"
        change = second - first
        if self.form == "note":
            return quantity(round(change), "st", 0, signed=True) if round(change) else "differs"
        text = quantity(change, self.unit, self.decimals, signed=True, prefix=self.prefix, moving=self.moving)
        if text[0].isdigit():  # rounded to nothing: show the digits that tell them apart
            text = quantity(change, self.unit, None, signed=True, prefix=self.prefix)
        return text if not text[0].isdigit() else "differs"


def _told(text: str) -> str:
    """What was typed, for a sentence about it: a cell of a table may hold a million signs."""
    text = text.strip()
    return text if len(text) <= _LONGEST_TOLD else f"{text[:_LONGEST_TOLD]}…"


def _from_step(curve: Curve | None) -> int | None:
    """Decimals that show every step of a straight line, or None to let each number choose."""
    if curve is None or curve.step == 0.0:
        return None
    for decimals in range(4):
        steps = curve.step * 10**decimals
        first = curve.reading(curve.low) * 10**decimals
        if abs(steps - round(steps)) < 1e-9 and abs(first - round(first)) < 1e-9 and round(steps):
            return decimals
    return None
