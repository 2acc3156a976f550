"""A sound as the dump that is sent, with a name that the instrument can hold."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence

from librarian.chart import NotWritable
from librarian.transfer.line import Line


def written(
    line: Line,
    message: str,
    values: Mapping[str, int],
    *,
    base: Sequence[bytes] | None,
    name: str,
    slots: Mapping[str, int] | None = None,
) -> tuple[bytes, ...]:
    """The messages that write this sound; raises UnknownValues where neither `values` nor `base` knows a value.

    A name that is too long is cut; one with letters the instrument does not have loses their accents, and where that
    does not help either the sound travels without it: its name is not what makes it sound.
    """
    encode = line.chart.codec.encode
    slots = {**usual_slots(line, message), **(slots or {})}
    for fitting in fitting_names(name, line.chart.codec.messages[message].name_size):
        try:
            return encode(message, values, line.address, base=base, name=fitting, form="write", **slots)
        except NotWritable:
            continue
    return encode(message, values, line.address, base=base, name=None, form="write", **slots)


def usual_slots(line: Line, message: str) -> dict[str, int]:
    """The lowest number for every word that a message wants and a conversation does not say (part 0, bank 0)."""
    info = line.chart.codec.messages[message]
    return {word: low for word, (low, _) in info.slots.items() if word != "version"}


MOST_NAMES = 4
"""So many ways of writing one name there are."""


def fitting_names(name: str, size: int) -> list[str]:
    """The name, cut, then without accents, then with question marks for what is no plain letter."""
    if not name or not size:
        return []
    plain = "".join(one for one in unicodedata.normalize("NFKD", name) if not unicodedata.combining(one))
    ascii_only = "".join(one if " " <= one <= "~" else "?" for one in plain)
    return [name[:size], plain[:size], ascii_only[:size], ascii_only[:size].upper()]
