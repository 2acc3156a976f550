"""Single cells: texts that no spreadsheet takes for a formula, lists of tags, values as shown or as numbers.

A cell that begins with = + - @ (also full-width), a tab or a line end is a formula to common spreadsheets; it gets an
apostrophe in front, as their own users do it, and loses it on the way in. (Common practice against "CSV injection".)
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from librarian.chart import Parameter
from librarian.errors import BadInput

UNKNOWN = "unknown"
_FORMULA = frozenset("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
_GUARD = "'"
_EXACT = re.compile(r"(?P<text>.*\S)\s*\[(?P<raw>[-\u2212]?[0-9]{1,19})\]", re.DOTALL)
_WHOLE = re.compile(r"[-\u2212+]?[0-9]{1,19}(?:[.,]0+)?")
_CONVERTED = re.compile(r"[0-9]+(?:[:/.,-][0-9]+)+|[0-9]+(?:[.,][0-9]+)?[eE][0-9]+")
"""What spreadsheets take for a date, a time or a power, and save as something else."""
_SHOWN = 40


def defused(text: str) -> str:
    """The text for a cell: an apostrophe stands in front where a spreadsheet would calculate."""
    guarded = len(text) > 1 and text[0] == _GUARD and (text[1] == _GUARD or text[1] in _FORMULA)
    return _GUARD + text if guarded or text[:1] in _FORMULA else text


def undone(cell: str) -> str:
    """What was defused, for every text: `undone(defused(text)) == text`. Other cells stay as they are."""
    if len(cell) > 1 and cell[0] == _GUARD and (cell[1] == _GUARD or cell[1] in _FORMULA):
        return cell[1:]
    return cell


def tags_cell(tags: Sequence[str]) -> str:
    """Tags with semicolons between; one that has a semicolon or quotation mark stands in quotation marks."""
    out = io.StringIO()
    csv.writer(out, delimiter=";", lineterminator="", quoting=csv.QUOTE_MINIMAL).writerow(tags)
    # csv puts quotation marks around a single empty field; tags are never empty.
    return out.getvalue() if tags else ""


def tags_of(cell: str) -> tuple[str, ...]:
    """The tags of a cell."""
    if not cell.strip():
        return ()
    rows = csv.reader([" ".join(cell.splitlines())], delimiter=";", skipinitialspace=True)
    return tuple(each.strip() for row in rows for each in row if each.strip())


def value_cell(parameter: Parameter, value: int | None, *, raw: bool) -> str:
    """A value as shown ("642 Hz"), or the number.

    The exact number stands behind it in brackets where several values read alike, where a spreadsheet would convert it,
    and where a position of the control is itself called “unknown” or like “saw [2]”.
    """
    if value is None:
        return UNKNOWN
    if raw:
        return str(value)
    text = parameter.display(value)
    try:
        exact = parameter.parse(text) == value and not _reads_otherwise(text)
    except BadInput:
        exact = False
    return defused(text if exact else f"{text} [{value}]")


def _reads_otherwise(text: str) -> bool:
    """Whether a cell with this text would come back as something else than what the control calls so."""
    return text.casefold() == UNKNOWN or any(each.fullmatch(text) for each in (_CONVERTED, _EXACT))


def value_of(parameter: Parameter, cell: str, *, raw: bool) -> int | None:
    """The value of a cell, None for unknown. Raises BadInput with the reason."""
    text = undone(cell.strip()).strip()
    if not text or text.casefold() == UNKNOWN:
        return None
    if raw:
        return _number(parameter, text)
    exact = _EXACT.fullmatch(text)
    if exact is not None:
        value = int(exact["raw"].replace("\u2212", "-"))
        if text in parameter.positions and not parameter.holds(value):
            return parameter.parse(text)
        value = _inside(parameter, value)
        shown, text = parameter.display(value), exact["text"]
        # Another program may have written the same reading with other signs: a comma, a hyphen, another blank.
        if text == shown or parameter.display(parameter.parse(text)) == shown:
            return value
    return parameter.parse(text)  # of a bracket: the person wrote another value before it


def _number(parameter: Parameter, text: str) -> int:
    if _WHOLE.fullmatch(text) is None:
        raise BadInput(
            f"{parameter.label}: “{text[:_SHOWN]}” is no whole number.",
            f"The row has numbers from {parameter.low} to {parameter.high}, or “{UNKNOWN}”.",
        )
    return _inside(parameter, int(re.split("[.,]", text.replace("\u2212", "-"))[0]))


def _inside(parameter: Parameter, value: int) -> int:
    if not parameter.holds(value):
        raise BadInput(
            f"{parameter.label}: {value} is outside of its range.", f"It goes from {parameter.low} to {parameter.high}."
        )
    return value
