"""Values as one compact row of integers, and back.

A row has one big-endian unsigned code per parameter, each 1, 2, 4 or 8 bytes wide: 0 for unknown, else
value + half the range (128, 32768, 2**31, 2**63). Codes of one column therefore sort like the values, in SQL
(`substr(row, offset, width)` compares like memory) as in numpy, and an unknown value never satisfies a comparison.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from hashlib import blake2b
from itertools import accumulate
from operator import itemgetter
from typing import Any

import numpy as np

from librarian.errors import BadInput
from librarian.messages import Values

WIDTHS = (1, 2, 4, 8)
_CODE = {1: "B", 2: "H", 4: "I", 8: "Q"}
BIAS = {width: 1 << (8 * width - 1) for width in WIDTHS}


def width_for(low: int, high: int) -> int:
    """The narrowest width in bytes whose codes hold every value from `low` to `high`."""
    for width in WIDTHS:
        if -BIAS[width] < low and high < BIAS[width]:
            return width
    raise BadInput(f"A value of {low if low < 0 else high} is too large to keep.", "Values have at most 63 bits.")


def digest(*parts: bytes) -> bytes:
    """16 bytes that name this content; each part is preceded by its length, so that parts cannot run together."""
    return blake2b(b"".join([len(part).to_bytes(8, "big") + part for part in parts]), digest_size=16).digest()


@dataclass(frozen=True)
class Layout:
    """Which parameter stands where. `parameters` in panel order, `widths` in bytes, both of the same length."""

    chart: str
    revision: int
    parameters: tuple[str, ...]
    widths: tuple[int, ...]
    _packer: struct.Struct = field(init=False, repr=False, compare=False)
    _unpacker: struct.Struct = field(init=False, repr=False, compare=False)
    _biases: tuple[int, ...] = field(init=False, repr=False, compare=False)
    _signs: int = field(init=False, repr=False, compare=False)
    _nothing: dict[str, int] = field(init=False, repr=False, compare=False)
    _in_order: Callable[[Mapping[str, int]], Iterable[int]] = field(init=False, repr=False, compare=False)
    _places: dict[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if len(self.parameters) != len(self.widths) or not set(self.widths) <= set(WIDTHS):
            raise ValueError("a layout has one width of 1, 2, 4 or 8 bytes per parameter")
        places = {parameter: place for place, parameter in enumerate(self.parameters)}
        if len(places) != len(self.parameters):
            raise ValueError("a layout names each parameter once")
        # Worked out once, as a frozen dataclass allows: very many rows are packed by the same layout.
        codes = "".join(_CODE[width] for width in self.widths)
        signs = b"".join(BIAS[width].to_bytes(width, "big") for width in self.widths)
        for name, value in {
            "_packer": struct.Struct(">" + codes.lower()),
            "_unpacker": struct.Struct(">" + codes),
            "_biases": tuple(BIAS[width] for width in self.widths),
            "_signs": int.from_bytes(signs, "big"),
            "_nothing": {name: -BIAS[width] for name, width in zip(self.parameters, self.widths, strict=True)},
            "_in_order": _getter(self.parameters),
            "_places": places,
        }.items():
            object.__setattr__(self, name, value)

    @cached_property
    def digest(self) -> bytes:
        """Equal layouts, and only they, have equal digests."""
        return digest(self.chart.encode(), str(self.revision).encode(), self.parameters_text.encode(),
                      self.widths_text.encode())  # fmt: skip

    @property
    def parameters_text(self) -> str:
        """JSON list of the ids, as stored."""
        return json.dumps(self.parameters, ensure_ascii=False, separators=(",", ":"))

    @property
    def widths_text(self) -> str:
        """One digit per parameter, as stored."""
        return "".join(map(str, self.widths))

    @property
    def size(self) -> int:
        """Bytes per row."""
        return self._packer.size

    def __contains__(self, parameter: object) -> bool:
        return parameter in self._places

    def column(self, parameter: str) -> tuple[int, int]:
        """Byte offset and width of a parameter in a row."""
        place = self._places[parameter]
        return sum(self.widths[:place]), self.widths[place]

    def pack(self, values: Mapping[str, int]) -> bytes | None:
        """The row; None when it cannot hold these values (too large for a width, or an id that is not its own)."""
        known = values.known if isinstance(values, Values) else values
        # Neither an id that is not its own, nor a known value that would read as unknown.
        if not (known.keys() <= self._places.keys() and self._nothing.items().isdisjoint(known.items())):
            return None
        try:
            # As two's complement first, unknown as the lowest number; then every sign bit is turned over.
            signed = self._packer.pack(*self._in_order({**self._nothing, **known}))
        except struct.error:
            return None
        return (int.from_bytes(signed, "big") ^ self._signs).to_bytes(self.size, "big")

    def content_digest(self, row: bytes) -> bytes:
        """What names a row of this layout: `digest(self.digest, row)`, without hashing the layout each time."""
        state = self._hashed.copy()
        state.update(len(row).to_bytes(8, "big") + row)
        named: bytes = state.digest()
        return named

    @cached_property
    def _hashed(self) -> Any:
        """The hash as far as it is the same for every row."""
        state = blake2b(digest_size=16)
        state.update(len(self.digest).to_bytes(8, "big") + self.digest)
        return state

    def count_unknown(self, row: bytes) -> int:
        """How many codes of the row are 0."""
        return self._unpacker.unpack(row).count(0)

    def count_unknowns(self, rows: Sequence[bytes]) -> list[int]:
        """The same of each of many rows."""
        table = np.frombuffer(b"".join(rows), self.dtype, len(rows))
        counts = np.zeros(len(rows), np.int64)
        for name in table.dtype.names or ():
            counts += table[name] == 0
        return list(map(int, counts.tolist()))

    def has(self, row: bytes, parameter: object) -> bool:
        """The row knows a value of this parameter."""
        place = self._spans.get(parameter)
        return place is not None and any(row[place])

    @cached_property
    def _spans(self) -> dict[object, slice]:
        ends = list(accumulate(self.widths))
        return {
            name: slice(end - width, end) for name, end, width in zip(self.parameters, ends, self.widths, strict=True)
        }

    def unpack(self, row: bytes) -> tuple[Values, frozenset[str]]:
        """The known values and the ids of the unknown ones."""
        codes = self._unpacker.unpack(row)
        return (
            Values(
                (parameter, code - bias)
                for parameter, code, bias in zip(self.parameters, codes, self._biases, strict=True)
                if code
            ),
            frozenset(parameter for parameter, code in zip(self.parameters, codes, strict=True) if not code),
        )

    def code(self, parameter: str, value: int) -> int:
        """The code of a value, clipped to what the column can say (0 never comes out)."""
        width = self.widths[self._places[parameter]]
        return max(1, min(value + BIAS[width], (1 << (8 * width)) - 1))

    @property
    def dtype(self) -> np.dtype[Any]:
        """numpy type of one row; fields are named f0, f1 … by place, as ids may be anything."""
        return np.dtype([(f"f{place}", f">u{width}") for place, width in enumerate(self.widths)])

    def field(self, parameter: str) -> str:
        """Name of the parameter's field in `dtype`."""
        return f"f{self._places[parameter]}"


def _getter(names: Sequence[str]) -> Callable[[Mapping[str, int]], Iterable[int]]:
    """All of these out of a mapping, in order (itemgetter answers with a bare value for one name, and needs one)."""
    if len(names) > 1:
        return itemgetter(*names)
    return lambda values: [values[name] for name in names]


def layout_for(
    chart: str, revision: int, ranges: Mapping[str, int], values: Mapping[str, int], unknown: Iterable[str] = ()
) -> Layout:
    """A layout that holds exactly these values and unknowns, in the order of `ranges` (id -> width by the chart).

    Ids that the chart does not name follow in alphabetical order, as wide as their value needs.
    """
    ids = {*values, *unknown}
    order: Sequence[str] = [*ranges, *sorted(ids.difference(ranges))]
    widths = [
        max(ranges.get(parameter, 1), width_for(value, value) if (value := values.get(parameter)) is not None else 1)
        for parameter in order
    ]
    return Layout(chart, revision, tuple(order), tuple(widths))


@lru_cache(maxsize=512)
def read_layout(chart: str, revision: int, parameters_text: str, widths_text: str) -> Layout:
    """The layout as stored. Raises ValueError, TypeError, AttributeError where it was damaged since."""
    return Layout(chart, revision, tuple(json.loads(parameters_text)), tuple(map(int, widths_text)))


def layout_if_whole(chart: str, revision: int, parameters_text: str, widths_text: str) -> Layout | None:
    """The layout as stored, None where it can no longer be read."""
    try:
        layout = read_layout(chart, revision, parameters_text, widths_text)
        return layout if layout.digest else None  # which reads all of it
    except (ValueError, TypeError, AttributeError):
        return None
