"""A message byte by byte: what each byte is, what it means, and where something is wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from librarian.chart.dump.planning.digits import address_text
from librarian.chart.dump.planning.segments import Area, Constant, Masked, Number, Reserved, Segment, Sum
from librarian.chart.dump.results import Row
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.legend import Cell, Display, Legend
from librarian.chart.dump.steps.number import read_pieces
from librarian.chart.dump.steps.packing import NotPacked

MOST_EXPLAINED = 65_536
_EDGES = {0xF0: "start of SysEx", 0xF7: "end of SysEx"}


class Explainer:
    """Explains messages through the layouts of a chart. `display`: parameter id -> text of a value."""

    def __init__(self, layouts: Mapping[str, LayoutCodec], display: Display) -> None:
        self._layouts = layouts
        self._display = display
        self._legends: dict[str, Legend] = {}
        self._inside: Sequence[Cell] = ()

    def damaged(self, raw: bytes, reason: str) -> list[Row]:
        """A message that no frame explains: its bytes, with the reason at the first."""
        return [
            Row(offset, byte, _EDGES.get(byte, "not explained"), "" if offset else reason, claimed=byte in _EDGES)
            for offset, byte in enumerate(raw)
        ]

    def pairs(self, heard: Sequence[tuple[str, int]]) -> str:
        """Parameters and values in words."""
        said = ((one, self._display[one](value) if one in self._display else str(value)) for one, value in heard)
        return ", ".join(f"{identity} {text}" for identity, text in said)

    def frame(self, raw: bytes, codec: FrameCodec, title: str, inside: Sequence[Cell] = ()) -> list[Row]:
        """Rows for every byte of `raw`, which may be shorter or longer than the frame; `title` stands at the first.

        `inside`: what the data bytes are, in a message that carries a part of a whole.
        """
        self._inside = inside
        cells = self._cells(raw, codec)
        self._inside = ()
        if cells:
            cells[0].value = title
        return [Row(at, cell.byte, cell.what, cell.value, cell.place, cell.claimed) for at, cell in enumerate(cells)]

    def part_of_whole(self, payload: FrameCodec, data: bytes, offset: int) -> list[Cell]:
        """What bytes of a whole are that begin at `offset` of it; values that need bytes elsewhere are not said."""
        before, after = offset, payload.size - offset - len(data)
        if payload.size > MOST_EXPLAINED or after < 0:
            return []
        tries = [bytes([fill]) * before + data + bytes([fill]) * after for fill in (0, 0x7F)]
        one, other = (self._cells(each, payload)[offset : offset + len(data)] for each in tries)
        return [
            replace(mine, byte=byte, value=mine.value if mine.value == yours.value else "(not in this message alone)")
            for mine, yours, byte in zip(one, other, data, strict=True)
        ]

    # --- the frame -------------------------------------------------------------------------------------------------

    def _cells(self, raw: bytes, codec: FrameCodec) -> list[Cell]:
        cells: list[Cell | None] = [None] * max(len(raw), codec.size)
        for segment in codec.frame.segments:
            for offset, cell in enumerate(self._segment(segment, raw, codec), segment.at):
                before = cells[offset]
                if before is None or before.what == "constant":
                    cells[offset] = cell
                elif not isinstance(segment, Masked):  # two numbers in one byte
                    before.what = f"{before.what}, {cell.what}"
                    before.value = ", ".join(text for text in (before.value, cell.value) if text)
        return [
            cell if cell is not None else Cell(byte, "beyond the end of the message", claimed=False)
            for byte, cell in zip(raw, cells, strict=False)
        ]

    def _segment(self, segment: Segment, raw: bytes, codec: FrameCodec) -> list[Cell]:
        if isinstance(segment, Area):
            return self._area(segment, raw, codec)
        at = segment.at
        if isinstance(segment, Constant):
            return [_constant(raw, at + place, byte) for place, byte in enumerate(segment.data)]
        if isinstance(segment, Masked):
            return [Cell(_at(raw, at), "constant")]
        if isinstance(segment, Reserved):
            what = f"{segment.name} (kept as it came)"
            return [Cell(_at(raw, at + place), what, claimed=False) for place in range(segment.size)]
        if isinstance(segment, Number):
            what = {"device": "device ID", "packet": "packet number"}.get(segment.role, segment.word)
            text = _number_text(segment, raw)
        else:
            what, text = f"checksum {segment.name} ({segment.rule.kind})", _sum_text(segment, raw, codec)
        return [Cell(_at(raw, at + place), what, "" if place else text) for place in range(segment.size)]

    # --- data ------------------------------------------------------------------------------------------------------

    def _area(self, area: Area, raw: bytes, codec: FrameCodec) -> list[Cell]:
        cells: list[Cell] = []
        for unit in range(area.units):
            at = area.at + unit * area.unit_size
            wire = raw[at : at + area.unit_size]
            trouble = "" if len(wire) == area.unit_size else "cut off"
            content = b""
            try:
                content = b"" if trouble else area.packing.unpack(wire)
            except NotPacked as bad:
                trouble = str(bad)
            if trouble:
                cells += [Cell(byte, f"{area.name}: {trouble}", claimed=False) for byte in wire]
                continue
            inner = self._content(area, content, codec, unit)
            if area.packing.name == "plain":
                for place, cell in enumerate(inner):
                    cell.place = cell.place or f"{area.name} {place}"
                cells += inner
            else:
                cells += [_packed(area, byte, place, inner) for place, byte in enumerate(wire)]
        return cells

    def _content(self, area: Area, content: bytes, codec: FrameCodec, unit: int) -> list[Cell]:
        """Cells for the unpacked bytes of one unit."""
        cells: list[Cell] = []
        if area.inner is not None:
            cells = self._cells(content, codec.inner(area.name))
        elif area.layout:
            layout = self._layouts[area.layout]
            if area.count == 1:
                layout = layout.cut(area.raw_size)
            legend = self._legend(layout)
            for index in range(area.count):
                own = legend.cells(content[index * layout.size : (index + 1) * layout.size])
                if area.count > 1:
                    _begin_with(f"program {unit * area.count + index}", own)
                cells += own
        elif len(self._inside) == len(content):
            cells = [replace(cell) for cell in self._inside]
        else:
            cells = [Cell(byte, f"{area.name} (part of the whole)") for byte in content]
        if area.units > 1:
            _begin_with(f"{area.name} {unit}", cells)
        return cells

    def _legend(self, layout: LayoutCodec) -> Legend:
        if layout.label not in self._legends:
            self._legends[layout.label] = Legend(layout, self._display)
        return self._legends[layout.label]


def _begin_with(words: str, cells: list[Cell]) -> None:
    for cell in cells:
        cell.what = f"{words}: {cell.what}"


def _packed(area: Area, byte: int, place: int, inner: list[Cell]) -> Cell:
    """The cell of a wire byte from those of the unpacked bytes whose bits it carries."""
    carried = area.packing.carries(place, len(inner))
    if len(carried) == 1:
        one = inner[carried[0]]
        return Cell(byte, one.what, one.value, f"{area.name} {carried[0]} = {one.byte:02X}", one.claimed)
    if not carried:
        return Cell(byte, "filling", claimed=False)
    names = ", ".join(dict.fromkeys([inner[each].what for each in carried]))
    claimed = all(inner[each].claimed for each in carried)
    return Cell(byte, f"bits of {names}", "", f"{area.name} {carried[0]} to {carried[-1]}", claimed)


def _number_text(number: Number, raw: bytes) -> str:
    if number.at + number.size > len(raw):
        return "cut off"
    if not number.pieces:
        return raw[number.at : number.at + number.size].hex(" ").upper()
    value = read_pieces(raw, number.pieces) - number.plus
    if number.role == "channel":
        return str(value + 1)
    if number.role == "address":
        return address_text(value, number.size, number.pieces[0].width)
    if number.fixed is not None and value != number.fixed:
        return f"{value}, but it must be {number.fixed}"
    return str(value) if number.low <= value <= number.high else f"{value}, outside {number.low} to {number.high}"


def _sum_text(segment: Sum, raw: bytes, codec: FrameCodec) -> str:
    if len(raw) != codec.size:
        return "not computed: the message has the wrong length"
    try:
        computed, received = codec.computed(segment, raw), read_pieces(raw, segment.pieces)
    except NotPacked as bad:
        return f"not computed: {bad}"
    digits = -(-segment.rule.bits // 4)
    verdict = "agrees" if computed == received else "does not agree"
    if received == segment.otherwise != computed:
        verdict = "stands for any"
    return f"received {received:0{digits}X}, computed {computed:0{digits}X}: {verdict}"


def _at(raw: bytes, at: int) -> int:
    return raw[at] if at < len(raw) else 0


def _constant(raw: bytes, at: int, byte: int) -> Cell:
    sent = _at(raw, at)
    what = _EDGES.get(byte, "maker" if at == 1 else "constant")
    return Cell(sent, what, "" if sent == byte else f"the chart says {byte:02X}")
