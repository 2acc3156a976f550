"""A layout compiled into flat tables: image (the unpacked bytes of one program) to values and back.

Reading one field is one look-up in a 256-entry table and happens inside one list comprehension over all pieces;
what a table cannot say (wide numbers with limits) is finished afterwards. No per-value decision is left at run time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from operator import itemgetter
from typing import Any

from librarian.chart.dump.planning.places import PlacedField, PlacedName, Places
from librarian.chart.dump.refusal import NotStorable, UnknownValues
from librarian.chart.dump.steps.number import Coding, Piece, read_pieces, write_pieces

_TABLED_BITS = 14

Finish = Callable[[int], int | None]
Reader = tuple[str, int, int, Finish]
Writer = tuple[str, Mapping[int, int], tuple[Piece, ...]]


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
        self._cuts: dict[int, LayoutCodec] = {}

    def cut(self, size: int) -> LayoutCodec:
        """The layout of data that ends after `size` bytes: what stands in them whole."""
        if size >= self.size:
            return self
        if size not in self._cuts:
            self._cuts[size] = LayoutCodec(f"{self.label} up to byte {size}", _cut(self.places, size))
        return self._cuts[size]

    # --- reading ---------------------------------------------------------------------------------------------------

    def _prepare_reading(self, narrow: Sequence[PlacedField], wide: Sequence[PlacedField]) -> None:
        offsets, tables = [], []
        for each in narrow:
            piece = each.pieces[0]
            offsets.append(piece.at)
            tables.append(_read_table(each.coding, each.low, each.high, piece.low, piece.width))
        pairs: list[tuple[str, int, int, int]] = []
        readers: list[Reader] = []
        for each in wide:
            begin = len(offsets)
            shares = _shares(each)
            for index, piece in enumerate(each.pieces):
                offsets.append(piece.at)
                tables.append(shares[index] if shares else _bits_table(piece.low, piece.width, piece.place))
            if shares and len(each.pieces) == 2:
                pairs.append((each.id, begin, each.low, each.high))
            else:
                finish = _within(each.low, each.high) if shares else _finish(each.coding, each.low, each.high)
                readers.append((each.id, begin, len(offsets), finish))
        self._narrow_ids = tuple(each.id for each in narrow)
        self._tables = tuple(tables)
        self._pick = _picker(offsets)
        self._pairs = tuple(pairs)
        self._readers = tuple(readers)
        self._name_reader = None if self.name is None else _name_reader(self.name)
        self._name_bytes = None if self.name is None else _name_bytes(self.name)

    def read(self, image: bytes) -> tuple[dict[str, int], tuple[str, ...]]:
        """The values of an image, and the odd parameters: those whose stored number means no value here."""
        found: list[int | None] = [table[byte] for table, byte in zip(self._tables, self._pick(image), strict=True)]
        values: dict[str, int | None] = dict(zip(self._narrow_ids, found, strict=False))
        for identity, place, low, high in self._pairs:
            value: int = found[place] + found[place + 1]  # type: ignore[operator]
            values[identity] = value if low <= value <= high else None
        for identity, begin, end, finish in self._readers:
            values[identity] = finish(sum(found[begin:end]))  # type: ignore[arg-type]
        if None in values.values():
            odd = tuple(identity for identity, value in values.items() if value is None)
            return {identity: value for identity, value in values.items() if value is not None}, odd
        return values, ()  # type: ignore[return-value]

    def read_name(self, image: bytes) -> str:
        """The name in an image, '' when the layout has none."""
        if self.name is None or self._name_reader is None:
            return ""
        return self.name.coding.decode(self._name_reader(image))

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
        out = self._write_all(image, values)
        return out if out is not None else self._write_some(image, values)

    def _write_all(self, image: bytes, values: Mapping[str, int]) -> bytes | None:
        """The quick way, when every value is there and can be stored; else None."""
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
            return None
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

    def write_new(self, values: Mapping[str, int], otherwise: Callable[[], Mapping[str, int]] = dict) -> bytes:
        """An image from values alone; those that are missing come from `otherwise`.

        Raises `UnknownValues` unless every parameter of the layout has one.
        """
        out = self._write_all(self.blank, values)
        if out is not None:
            return out
        known = {**otherwise(), **values}
        missing = tuple(identity for identity in self.ids if identity not in known)
        if missing:
            raise UnknownValues(missing)
        return self._write_some(self.blank, known)

    def write_name(self, image: bytes, text: str, *, fresh: bool) -> bytes:
        """A copy with this name. `fresh`: the image is no dump that was received, so its padding need not be kept."""
        if self.name is None:
            return image
        base = None if fresh or self._name_reader is None else self._name_reader(image)
        out = bytearray(image)
        codes = self.name.coding.encode(text, base)
        if codes == base:
            return image
        if self._name_bytes is not None:
            place, mask = self._name_bytes
            kept = ~mask & 0xFF
            out[place] = bytes([byte & kept | code for byte, code in zip(image[place], codes, strict=True)])
            return bytes(out)
        for pieces, code in zip(self.name.characters, codes, strict=True):
            write_pieces(out, pieces, code)
        return bytes(out)

    def _blank(self) -> bytes:
        out = bytearray([self.places.fill]) * self.size
        for gap in self.places.gaps:
            out[gap.at : gap.at + gap.size] = bytes([gap.fill]) * gap.size
        return bytes(out) if self.name is None else self.write_name(bytes(out), "", fresh=True)


def _cut(places: Places, size: int) -> Places:
    """What of a layout lies within the first `size` bytes."""
    short = Places(size=size, fill=places.fill)
    short.fields = [each for each in places.fields if max(piece.at for piece in each.pieces) < size]
    short.gaps = [replace(gap, size=min(gap.size, size - gap.at)) for gap in places.gaps if gap.at < size]
    if places.name is not None:
        letters = places.name.characters
        whole = tuple(pieces for pieces in letters if max(piece.at for piece in pieces) < size)
        if whole:
            short.name = replace(places.name, characters=whole, coding=replace(places.name.coding, size=len(whole)))
    return short


def _name_reader(name: PlacedName) -> Callable[[bytes], tuple[int, ...]]:
    """Reads the codes of a name; all at once where every character is one piece of the same shape."""
    shapes = {(len(pieces), pieces[0].low, pieces[0].width) for pieces in name.characters}
    if len(shapes) > 1 or next(iter(shapes))[0] > 1:
        return lambda image: name_codes(name, image)
    _count, low, width = next(iter(shapes))
    pick, mask = _picker([pieces[0].at for pieces in name.characters]), (1 << width) - 1
    return lambda image: tuple([byte >> low & mask for byte in pick(image)])


def _name_bytes(name: PlacedName) -> tuple[slice, int] | None:
    """Bytes and mask of a name whose characters stand side by side, one in the low bits of each byte."""
    places = [pieces[0].at for pieces in name.characters]
    shapes = {(len(pieces), pieces[0].low, pieces[0].mask) for pieces in name.characters}
    one = next(iter(shapes))
    if len(shapes) > 1 or one[:2] != (1, 0) or places != list(range(places[0], places[0] + len(places))):
        return None
    return slice(places[0], places[-1] + 1), one[2]


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


def _shares(each: PlacedField) -> list[tuple[int, ...]] | None:
    """For a wide number without table: what each piece adds to the value, by the byte it stands in.

    The top bit of two's complement counts negative, an offset is added once. None where a sum cannot say it.
    """
    coding = each.coding
    if coding.codes is not None or coding.inverted or coding.name == "sign":
        return None
    half = 1 << (coding.bits - 1)
    start = -(half if coding.zero is None else coding.zero) if coding.name == "offset" else 0
    shares = []
    for index, piece in enumerate(each.pieces):
        tops = coding.name == "twos" and piece.place + piece.width == coding.bits
        weights = [
            (raw - (1 << piece.width) if tops and raw >> (piece.width - 1) else raw) << piece.place
            for raw in range(1 << piece.width)
        ]
        added = start if index == 0 else 0
        mask = (1 << piece.width) - 1
        shares.append(tuple(weights[byte >> piece.low & mask] + added for byte in range(256)))
    return shares


def _within(low: int, high: int) -> Finish:
    return lambda value: value if low <= value <= high else None


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
