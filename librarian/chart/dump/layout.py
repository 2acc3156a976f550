"""A layout compiled into flat tables: image (the unpacked bytes of one program) to values and back.

Reading one field is one look-up in a 256-entry table and happens inside one list comprehension over all pieces;
what a table cannot say (wide numbers with limits) is finished afterwards. No per-value decision is left at run time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from typing import Any

from librarian.chart.dump.number import Coding, Piece, read_pieces, write_pieces
from librarian.chart.dump.places import PlacedField, PlacedName, Places
from librarian.chart.dump.refusal import NotStorable, UnknownValues

_TABLED_BITS = 14

Finish = Callable[[int], int | None]
Reader = tuple[str, int, int, Finish]
Writer = tuple[str, Mapping[int, int], tuple[Piece, ...]]


@dataclass(frozen=True, slots=True)
class Reading:
    """What an image holds. `odd`: parameters whose stored number means no value here; they are not in `values`."""

    values: dict[str, int]
    odd: tuple[str, ...]


class LayoutCodec:
    """One layout, compiled. Images are exactly `size` bytes of 0-255."""

    def __init__(self, label: str, places: Places) -> None:
        self.label = label
        self.size = places.size
        self.places = places
        self.fields: Mapping[str, PlacedField] = {each.id: each for each in places.fields}
        self.ids = tuple(self.fields)
        self.name = places.name
        narrow = [each for each in places.fields if len(each.pieces) == 1]
        wide = [each for each in places.fields if len(each.pieces) > 1]
        self._prepare_reading(narrow, wide)
        self._prepare_writing(narrow, wide)
        self.blank = self._blank()

    # --- reading ---------------------------------------------------------------------------------------------------

    def _prepare_reading(self, narrow: Sequence[PlacedField], wide: Sequence[PlacedField]) -> None:
        offsets, tables = [], []
        for each in narrow:
            piece = each.pieces[0]
            offsets.append(piece.at)
            tables.append(_read_table(each.coding, each.low, each.high, piece.low, piece.width))
        readers: list[Reader] = []
        for each in wide:
            begin = len(offsets)
            for piece in each.pieces:
                offsets.append(piece.at)
                tables.append(_bits_table(piece.low, piece.width, piece.place))
            readers.append((each.id, begin, len(offsets), _finish(each.coding, each.low, each.high)))
        self._narrow_ids = tuple(each.id for each in narrow)
        self._tables = tuple(tables)
        self._offsets = tuple(offsets)
        self._pick = _picker(offsets)
        self._readers = tuple(readers)

    def read(self, image: bytes) -> Reading:
        """The values of an image."""
        found: list[int | None] = [table[byte] for table, byte in zip(self._tables, self._pick(image), strict=True)]
        values: dict[str, int] = dict(zip(self._narrow_ids, found, strict=False))  # type: ignore[arg-type]
        for identity, begin, end, finish in self._readers:
            values[identity] = finish(sum(found[begin:end]))  # type: ignore[arg-type, assignment]
        if None in values.values():
            odd = tuple(identity for identity, value in values.items() if value is None)
            for identity in odd:
                del values[identity]
            return Reading(values, odd)
        return Reading(values, ())

    def read_name(self, image: bytes) -> str:
        """The name in an image, '' when the layout has none."""
        return "" if self.name is None else self.name.coding.decode(name_codes(self.name, image))

    # --- writing ---------------------------------------------------------------------------------------------------

    def _prepare_writing(self, narrow: Sequence[PlacedField], wide: Sequence[PlacedField]) -> None:
        self._whole = tuple(
            (each.pieces[0].at, _write_table(each.coding, each.low, each.high, each.pieces[0].low)) for each in narrow
        )
        self._get_narrow = _picker([each.id for each in narrow])
        kept = bytearray(b"\xff" * self.size)
        for each in (*narrow, *wide):
            for piece in each.pieces:
                kept[piece.at] &= ~piece.mask & 0xFF
        self._writers: tuple[Writer, ...] = tuple(
            (each.id, _raw_table(each.coding, each.low, each.high), each.pieces) for each in wide
        )
        self._kept = int.from_bytes(kept, "big")
        # two stored forms of one value (the two zeros of sign and amount): keep the form that came
        self._ambiguous = tuple(each for each in self.fields.values() if each.coding.name == "sign")

    def write(self, image: bytes, values: Mapping[str, int]) -> bytes:
        """A copy of `image` with these values; every bit that no given parameter claims stays.

        Parameters without a value keep what the image has. A value outside the field raises `NotStorable`.
        """
        try:
            chosen = self._get_narrow(values)
            out = bytearray((int.from_bytes(image, "big") & self._kept).to_bytes(self.size, "big"))
            for (at, table), value in zip(self._whole, chosen, strict=True):
                out[at] |= table[value]
            for identity, raws, pieces in self._writers:
                raw = raws[values[identity]]
                for piece in pieces:
                    out[piece.at] |= (raw >> piece.place & (1 << piece.width) - 1) << piece.low
        except KeyError:
            return self._write_some(image, values)
        if self._ambiguous:
            self._keep_forms(image, out)
        return bytes(out)

    def _write_some(self, image: bytes, values: Mapping[str, int]) -> bytes:
        out = bytearray(image)
        for identity, each in self.fields.items():
            value = values.get(identity)
            if value is None:
                continue
            if not each.low <= value <= each.high:
                raise NotStorable(identity, value, each.low, each.high)
            if each.coding.decode(read_pieces(image, each.pieces)) != value:
                write_pieces(out, each.pieces, each.coding.encode(value))
        return bytes(out)

    def _keep_forms(self, image: bytes, out: bytearray) -> None:
        for each in self._ambiguous:
            before = read_pieces(image, each.pieces)
            if each.coding.decode(before) == each.coding.decode(read_pieces(out, each.pieces)):
                write_pieces(out, each.pieces, before)

    def write_new(self, values: Mapping[str, int]) -> bytes:
        """An image from values alone: raises `UnknownValues` unless every parameter of the layout has one."""
        missing = tuple(identity for identity in self.ids if identity not in values)
        if missing:
            raise UnknownValues(missing)
        return self.write(self.blank, values)

    def write_name(self, image: bytes, text: str, *, fresh: bool) -> bytes:
        """A copy with this name. `fresh`: the image is no dump that was received, so its padding need not be kept."""
        if self.name is None:
            return image
        base = None if fresh else name_codes(self.name, image)
        out = bytearray(image)
        for pieces, code in zip(self.name.characters, self.name.coding.encode(text, base), strict=True):
            write_pieces(out, pieces, code)
        return bytes(out)

    def _blank(self) -> bytes:
        out = bytearray([self.places.fill]) * self.size
        for gap in self.places.gaps:
            out[gap.at : gap.at + gap.size] = bytes([gap.fill]) * gap.size
        return bytes(out) if self.name is None else self.write_name(bytes(out), "", fresh=True)


def name_codes(name: PlacedName, image: bytes | bytearray) -> tuple[int, ...]:
    """The codes of the characters, padding included."""
    return tuple(read_pieces(image, pieces) for pieces in name.characters)


def _picker(keys: Sequence[object]) -> Callable[[Any], tuple[int, ...]]:
    """`itemgetter` that always gives a tuple, also for one key or none."""
    if len(keys) > 1:
        return itemgetter(*keys)
    if keys:
        only = itemgetter(keys[0])
        return lambda source: (only(source),)
    return lambda _source: ()


@lru_cache(maxsize=4096)
def _read_table(coding: Coding, low: int, high: int, shift: int, width: int) -> tuple[int | None, ...]:
    return tuple(_checked(coding, low, high, byte >> shift & (1 << width) - 1) for byte in range(256))


@lru_cache(maxsize=4096)
def _bits_table(shift: int, width: int, place: int) -> tuple[int, ...]:
    return tuple((byte >> shift & (1 << width) - 1) << place for byte in range(256))


@lru_cache(maxsize=4096)
def _write_table(coding: Coding, low: int, high: int, shift: int) -> dict[int, int]:
    return {value: coding.encode(value) << shift for value in range(low, high + 1)}


def _checked(coding: Coding, low: int, high: int, raw: int) -> int | None:
    value = coding.decode(raw)
    return value if value is not None and low <= value <= high else None


@lru_cache(maxsize=1024)
def _finish(coding: Coding, low: int, high: int) -> Finish:
    """From the raw number of a wide field to its value: a table up to 14 bits, arithmetic above."""
    if coding.bits <= _TABLED_BITS:
        return tuple(_checked(coding, low, high, raw) for raw in range(1 << coding.bits)).__getitem__
    if coding.codes is not None:
        meanings = {raw: coding.first + place for place, raw in enumerate(coding.codes)}
        return meanings.get
    return lambda raw: _checked(coding, low, high, raw)


class _Arithmetic(Mapping[int, int]):
    """Value -> raw number without a table, for numbers too wide for one."""

    def __init__(self, coding: Coding, low: int, high: int) -> None:
        self._coding, self._low, self._high = coding, low, high

    def __getitem__(self, value: int) -> int:
        if not self._low <= value <= self._high:
            raise KeyError(value)
        return self._coding.encode(value)

    def __iter__(self) -> Iterator[int]:
        return iter(range(self._low, self._high + 1))

    def __len__(self) -> int:
        return self._high - self._low + 1


@lru_cache(maxsize=1024)
def _raw_table(coding: Coding, low: int, high: int) -> Mapping[int, int]:
    if high - low < 1 << _TABLED_BITS:
        return {value: coding.encode(value) for value in range(low, high + 1)}
    return _Arithmetic(coding, low, high)
