"""What each byte of an image is, and what it says: the layout's side of explaining a message."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from librarian.chart.dump.running.layout import LayoutCodec, name_codes
from librarian.chart.dump.steps.number import read_pieces
from librarian.chart.dump.steps.text import UNSHOWN

Display = Mapping[str, Callable[[int], str]]


@dataclass(slots=True)
class Cell:
    """One byte on its way to a row. `claimed`: something of the chart explains it."""

    byte: int
    what: str
    value: str = ""
    place: str = ""
    claimed: bool = True


@dataclass(slots=True)
class _Place:
    """What a byte of every image is. `fields`: parameters with bits in it; `characters`: of the name, from 0."""

    what: str = ""
    fields: list[str] = field(default_factory=list)
    characters: list[int] = field(default_factory=list)


class Legend:
    """The bytes of one layout in words. `display`: parameter id -> text of a value."""

    def __init__(self, layout: LayoutCodec, display: Display) -> None:
        self._layout = layout
        self._display = display
        self._places = [_Place() for _ in range(layout.size)]
        for identity, one in layout.fields.items():
            for at in sorted({piece.at for piece in one.pieces}):
                self._places[at].fields.append(identity)
        for index, pieces in enumerate(layout.name.characters if layout.name is not None else ()):
            for at in sorted({piece.at for piece in pieces}):
                self._places[at].characters.append(index)
        labels = {at: gap.label for gap in layout.places.gaps for at in range(gap.at, gap.at + gap.size)}
        for at, place in enumerate(self._places):
            names = [*place.fields, *(f"name, character {index + 1}" for index in place.characters)]
            label = f" ({labels[at]})" if labels.get(at) else ""
            place.what = ", ".join(names) or f"not explained{label}: kept as it came"

    def cells(self, image: bytes) -> list[Cell]:
        """A cell for every byte."""
        texts = {identity: self._text(identity, image) for identity in self._layout.fields}
        letters: list[str] = []
        if self._layout.name is not None:
            table = self._layout.name.coding.table
            letters = [f"“{table.get(code, UNSHOWN)}”" for code in name_codes(self._layout.name, image)]
        return [
            Cell(byte, place.what, _value(place, texts, letters), "", bool(place.fields or place.characters))
            for byte, place in zip(image, self._places, strict=True)
        ]

    def _text(self, identity: str, image: bytes) -> str:
        one = self._layout.fields[identity]
        raw = read_pieces(image, one.pieces)
        value = one.coding.decode(raw)
        if value is None or not one.low <= value <= one.high:
            return f"{raw} is none of its values"
        return self._display[identity](value) if identity in self._display else str(value)


def _value(place: _Place, texts: Mapping[str, str], letters: list[str]) -> str:
    if not place.fields and not place.characters:
        return ""
    if not place.characters and len(place.fields) == 1:
        return texts[place.fields[0]]
    said = [f"{identity} {texts[identity]}" for identity in place.fields]
    return ", ".join(said + [letters[index] for index in place.characters])
