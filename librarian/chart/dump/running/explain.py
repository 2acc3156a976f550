"""A message byte by byte: what each byte is, what it means, and where something is wrong."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from librarian.chart.dump.planning.segments import Area, Constant, Masked, Number, Reserved, Sum
from librarian.chart.dump.results import Row
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.layout import LayoutCodec, name_codes
from librarian.chart.dump.steps.number import read_pieces
from librarian.chart.dump.steps.packing import NotPacked

Display = Mapping[str, Callable[[int], str]]


class Explainer:
    """Explains messages through the layouts of a chart. `display`: parameter id -> text of a value."""

    def __init__(self, layouts: Mapping[str, LayoutCodec], display: Display) -> None:
        self._layouts = layouts
        self._display = display

    def damaged(self, raw: bytes, reason: str) -> list[Row]:
        """A message that no frame explains: its bytes, with the reason at the first."""
        rows = []
        for offset, byte in enumerate(raw):
            what = {0xF0: "start of SysEx", 0xF7: "end of SysEx"}.get(byte, "not explained")
            rows.append(Row(offset, byte, what, reason if offset == 0 else "", claimed=byte in (0xF0, 0xF7)))
        return rows

    def pairs(self, heard: Sequence[tuple[str, int]]) -> str:
        """Parameters and values in words."""
        return ", ".join(f"{identity} {self._text(identity, value)}" for identity, value in heard)

    def _text(self, identity: str, value: int) -> str:
        return self._display[identity](value) if identity in self._display else str(value)

    def frame(self, raw: bytes, codec: FrameCodec, title: str) -> list[Row]:
        """Rows for every byte of `raw`, which may be shorter or longer than the frame."""
        rows: dict[int, Row] = {}
        for segment in codec.frame.segments:
            for row in self._segment(segment, raw, codec):
                if row.offset < len(raw) and (row.offset not in rows or not isinstance(segment, Masked)):
                    rows[row.offset] = _merged(rows.get(row.offset), row)
        for offset, byte in enumerate(raw):
            if offset not in rows:
                rows[offset] = Row(offset, byte, "beyond the end of the message", claimed=False)
        if 0 in rows and title:
            rows[0] = replace(rows[0], value=title)
        return [rows[offset] for offset in sorted(rows)]

    def _segment(self, segment: object, raw: bytes, codec: FrameCodec) -> list[Row]:
        if isinstance(segment, Constant):
            return [_constant(raw, segment.at + place, byte) for place, byte in enumerate(segment.data)]
        if isinstance(segment, Masked):
            return [Row(segment.at, _at(raw, segment.at), "constant")]
        if isinstance(segment, Reserved):
            places = range(segment.at, segment.at + segment.size)
            return [Row(at, _at(raw, at), f"{segment.name} (kept as it came)", claimed=False) for at in places]
        if isinstance(segment, Number):
            return self._number(segment, raw)
        if isinstance(segment, Sum):
            return self._sum(segment, raw, codec)
        return self._area(segment, raw, codec) if isinstance(segment, Area) else []

    @staticmethod
    def _number(number: Number, raw: bytes) -> list[Row]:
        if number.at + number.size > len(raw):
            text = "cut off"
        elif not number.pieces:
            text = raw[number.at : number.at + number.size].hex(" ").upper()
        else:
            value = read_pieces(raw, number.pieces) - number.plus
            text = str(value)
            if number.fixed is not None and value != number.fixed:
                text = f"{value}, but it must be {number.fixed}"
            elif not number.low <= value <= number.high:
                text = f"{value}, outside {number.low} to {number.high}"
        what = {"device": "device ID", "packet": "packet number"}.get(number.role, number.word)
        return _run(raw, number.at, number.size, what, text)

    @staticmethod
    def _sum(segment: Sum, raw: bytes, codec: FrameCodec) -> list[Row]:
        if len(raw) != codec.size:
            text = "not computed: the message has the wrong length"
        else:
            received = read_pieces(raw, segment.pieces)
            try:
                computed = codec.computed(segment, raw)
            except NotPacked as bad:
                text = f"not computed: {bad}"
            else:
                verdict = "agrees" if computed == received else "does not agree"
                text = f"received {received:02X}, computed {computed:02X}: {verdict}"
        return _run(raw, segment.at, segment.size, f"checksum {segment.name} ({segment.kind})", text)

    # --- data ------------------------------------------------------------------------------------------------------

    def _area(self, area: Area, raw: bytes, codec: FrameCodec) -> list[Row]:
        rows: list[Row] = []
        for unit in range(area.units):
            at = area.at + unit * area.unit_size
            wire = raw[at : at + area.unit_size]
            if len(wire) < area.unit_size:
                rows += [
                    Row(at + place, byte, f"{area.name}: cut off", claimed=False) for place, byte in enumerate(wire)
                ]
                continue
            try:
                content = area.packing.unpack(wire)
            except NotPacked as bad:
                rows += [Row(at + place, byte, f"{area.name}: {bad}", claimed=False) for place, byte in enumerate(wire)]
                continue
            inner = self._content(area, content, codec, unit)
            rows += [self._packed(area, at + place, byte, place, inner) for place, byte in enumerate(wire)]
        return rows

    def _content(self, area: Area, content: bytes, codec: FrameCodec, unit: int) -> list[Row]:
        """Rows for the unpacked bytes of one unit."""
        if area.inner is not None:
            rows = self.frame(content, codec.inner(area.name), "")
        elif area.layout:
            layout = self._layouts[area.layout]
            rows = []
            for index in range(area.count):
                image = content[index * layout.size : (index + 1) * layout.size]
                prefix = f"program {unit * area.count + index}: " if area.count > 1 else ""
                for row in self.image(layout, image):
                    rows.append(replace(row, offset=row.offset + index * layout.size, what=prefix + row.what))
        else:
            rows = [Row(at, byte, f"{area.name} (part of the whole)") for at, byte in enumerate(content)]
        if area.units > 1:
            rows = [replace(row, what=f"{area.name} {unit}: {row.what}") for row in rows]
        return rows

    def _packed(self, area: Area, offset: int, byte: int, place: int, inner: list[Row]) -> Row:
        """The row of a wire byte from the rows of the unpacked bytes whose bits it carries."""
        carried = area.packing.carries(place, len(inner))
        name = area.name
        if area.packing.name == "plain":
            row = inner[place]
            return replace(row, offset=offset, place=f"{name} {row.offset}" if area.inner is None else row.place)
        if len(carried) == 1:
            row = inner[carried[0]]
            return replace(row, offset=offset, byte=byte, place=f"{name} {row.offset} = {row.byte:02X}")
        if not carried:
            return Row(offset, byte, "filling", claimed=False)
        claimed = all(inner[each].claimed for each in carried)
        where = f"{name} {carried[0]} to {carried[-1]}"
        names = list(dict.fromkeys(inner[each].what for each in carried))
        return Row(offset, byte, f"bits of {', '.join(names)}", "", where, claimed)

    def image(self, layout: LayoutCodec, image: bytes) -> list[Row]:
        """Rows for the unpacked bytes of one program."""
        whats: dict[int, list[str]] = {}
        values: dict[int, list[str]] = {}
        for identity, field in layout.fields.items():
            text = self._value_text(layout, identity, image)
            for at in sorted({piece.at for piece in field.pieces}):
                whats.setdefault(at, []).append(identity)
                values.setdefault(at, []).append(f"{identity} {text}" if len(field.pieces) >= 1 else text)
        if layout.name is not None:
            for index, code in enumerate(name_codes(layout.name, image)):
                character = layout.name.coding.table.get(code, "·")
                for at in sorted({piece.at for piece in layout.name.characters[index]}):
                    whats.setdefault(at, []).append(f"name, character {index + 1}")
                    values.setdefault(at, []).append(f"“{character}”")
        labels: dict[int, str] = {}
        for gap in layout.places.gaps:
            labels.update(dict.fromkeys(range(gap.at, gap.at + gap.size), gap.label))
        rows = []
        for at, byte in enumerate(image):
            claimed = at in whats
            label = labels.get(at, "")
            what = (
                ", ".join(whats[at]) if claimed else f"not explained{f' ({label})' if label else ''}: kept as it came"
            )
            texts = values.get(at, [])
            value = texts[0].split(" ", 1)[1] if len(texts) == 1 and " " in texts[0] else ", ".join(texts)
            rows.append(Row(at, byte, what, value, claimed=claimed))
        return rows

    def _value_text(self, layout: LayoutCodec, identity: str, image: bytes) -> str:
        field = layout.fields[identity]
        raw = read_pieces(image, field.pieces)
        value = field.coding.decode(raw)
        if value is None or not field.low <= value <= field.high:
            return f"{raw} is none of its values"
        return self._text(identity, value)


def _at(raw: bytes, at: int) -> int:
    return raw[at] if at < len(raw) else 0


def _constant(raw: bytes, at: int, byte: int) -> Row:
    sent = _at(raw, at)
    what = {0xF0: "start of SysEx", 0xF7: "end of SysEx"}.get(byte, "maker" if at == 1 else "constant")
    return Row(at, sent, what, "" if sent == byte else f"the chart says {byte:02X}", claimed=True)


def _run(raw: bytes, at: int, size: int, what: str, text: str) -> list[Row]:
    """The bytes of one number: its value stands at the first."""
    return [Row(at + place, _at(raw, at + place), what, text if place == 0 else "") for place in range(size)]


def _merged(one: Row | None, other: Row) -> Row:
    """Two numbers in one byte, a row for both."""
    if one is None or one.what == "constant":
        return other
    return replace(
        other, what=f"{one.what}, {other.what}", value=", ".join(text for text in (one.value, other.value) if text)
    )
