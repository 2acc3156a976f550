"""Writes a layout out: implied offsets, repetitions in either nesting order, bits, and every fault in them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from librarian.chart.dump.model import Charset, Codes, Gap, Layout, NameField, ParameterField, Repeat
from librarian.chart.dump.model.base import LARGEST
from librarian.chart.dump.model.layout import MOST_FIELDS, Item
from librarian.chart.dump.planning.digits import NotReadable, read_bits, read_distance, read_series
from librarian.chart.dump.planning.fields import coding_of, limits_of, name_coding_of
from librarian.chart.dump.planning.places import Path, PlacedField, PlacedGap, PlacedName, Places
from librarian.chart.dump.planning.problem import Problem
from librarian.chart.dump.specs import ParameterSpec
from librarian.chart.dump.steps.number import Order, Piece, pieces_of_digits
from librarian.chart.nearest import nearest

MOST_NESTED = 4
MOST_PROBLEMS = 200
MOST_ALIKE = 3


class _Enough(Exception):  # noqa: N818 - stops the walk, never leaves this module
    """A bound was passed; the problem is noted."""


@dataclass(frozen=True, slots=True)
class _Bytes:
    """Where the field before stands, for `same`."""

    at: int
    count: int
    order: Order
    digit: int


def expand(
    name: str,
    layout: Layout,
    parameters: Mapping[str, ParameterSpec],
    *,
    digit: int,
    charsets: Mapping[str, Charset],
    codes: Mapping[str, Codes],
) -> Places:
    """`digit`: bits in each byte where the layout does not say. Never raises for a bad layout: see `.problems`."""
    walk = _Walk(parameters, layout.digit or digit, charsets, codes)
    path: Path = ("layout", name, "fields")
    end = 0
    places = walk.places
    places.fill = layout.fill
    try:
        end = walk.items(layout.fields, 0, {}, 0, path, 0)
        end = max([end, *(piece.at + 1 for each in places.fields for piece in each.pieces)])
        places.size = layout.size if layout.size is not None else end
        if end > places.size:
            walk.fault(
                ("layout", name, "size"),
                f"The layout {name} has {places.size} bytes, but its last field ends with byte {end - 1} (from 0).",
                f"Write size = {end}, or move the field.",
            )
        walk.overlaps()
    except _Enough:
        pass
    walk.tell_repeated()
    return places


class _Walk:
    def __init__(
        self,
        parameters: Mapping[str, ParameterSpec],
        digit: int,
        charsets: Mapping[str, Charset],
        codes: Mapping[str, Codes],
    ) -> None:
        self.places = Places()
        self._parameters = parameters
        self._digit = digit
        self._charsets = charsets
        self._codes = codes
        self._seen: dict[str, Path] = {}
        self._said: set[tuple[Path, str]] = set()
        self._visits = 0
        self._shift = 0
        self._like: Counter[Path] = Counter()

    def fault(self, path: Path, sentence: str, remedy: str = "") -> None:
        """Notes a problem, once for a place even if that place is repeated."""
        if (path, sentence) not in self._said:
            self._said.add((path, sentence))
            self._like[path] += 1
            if self._like[path] > MOST_ALIKE:
                return  # the same mistake in every repetition
            self.places.problems.append(Problem(path, sentence, remedy))
            if len(self._said) >= MOST_PROBLEMS:
                raise _Enough

    def tell_repeated(self) -> None:
        """How many more faults the places with many have."""
        for path, count in self._like.items():
            if count > MOST_ALIKE:
                more = f"There are {count - MOST_ALIKE} more faults like this in its repetitions."
                self.places.problems.append(Problem(path, more))

    # --- walking ---------------------------------------------------------------------------------------------------

    def items(
        self, items: Sequence[Item], base: int, words: Mapping[str, str], number: int, path: Path, depth: int
    ) -> int:
        """Places a list of fields from byte `base` on; gives the end (exclusive) of the furthest, from `base`."""
        cursor, furthest, before = 0, 0, None
        for index, item in enumerate(items):
            here = (*path, index)
            cursor, before = self._item(item, base, cursor, words, number, here, depth, before)
            furthest = max(furthest, cursor)
        return furthest

    def _item(
        self,
        item: Item,
        base: int,
        cursor: int,
        words: Mapping[str, str],
        number: int,
        path: Path,
        depth: int,
        before: _Bytes | None,
    ) -> tuple[int, _Bytes | None]:
        self._visits += 1
        if self._visits > MOST_FIELDS:
            self.fault(path[:3], f"The layout has more than {MOST_FIELDS} fields.", "Describe fewer.")
            raise _Enough
        if isinstance(item, str):
            item = ParameterField(of=item)
        at = self._distance(item.at, (*path, "at"), cursor)
        if isinstance(item, Repeat):
            return self._repeat(item, base, at, words, number, path, depth), None
        if isinstance(item, Gap):
            self._bound(base + at + item.gap, path)
            self.places.gaps.append(PlacedGap(base + at, item.gap, item.fill, item.label))
            return at + item.gap, None
        if isinstance(item, NameField):
            return self._name(item, base, at, path), None
        return self._parameter(item, base, at, words, number, path, before)

    def _repeat(
        self, item: Repeat, base: int, at: int, words: Mapping[str, str], number: int, path: Path, depth: int
    ) -> int:
        if depth >= MOST_NESTED:
            self.fault(path, f"Repetitions stand more than {MOST_NESTED} deep.", "Write the innermost fields out.")
            return at
        if not item.repeat or not item.repeat.replace("_", "").replace("-", "").isalnum():
            self.fault(
                (*path, "repeat"), f"“{item.repeat}” is no index word.", 'Write a short word, e.g. repeat = "n".'
            )
            return at
        if item.repeat in words:
            self.fault(
                (*path, "repeat"), f"The index word {item.repeat} is in use further out.", "Choose another word."
            )
            return at
        try:
            series = read_series(item.over)
        except NotReadable as bad:
            self.fault((*path, "over"), str(bad), bad.remedy)
            return at
        stride = None if item.stride is None else self._distance(item.stride, (*path, "stride"), 1)
        if item.bit_step is not None and item.nesting == "fields":
            self.fault((*path, "bit_step"), "`bit_step` and nesting “fields” do not go together.", "Take one away.")
            return at
        inner = (*path, "fields")
        if item.nesting == "items":
            return self._by_items(item, base, at, series, stride, words, number, inner, depth)
        return self._by_fields(item, base, at, series, stride, words, number, inner, depth)

    def _by_items(
        self, item: Repeat, base: int, at: int, series: list[str], stride: int | None,
        words: Mapping[str, str], number: int, path: Path, depth: int,
    ) -> int:  # fmt: skip
        start, end = at, 0
        shift, furthest = self._shift, 0
        for count, index in enumerate(series):
            inside = {**words, item.repeat: index}
            self._shift = shift + count * (item.bit_step or 0)
            if count and item.bit_step is None:
                start += end if stride is None else stride
            elif count:
                start += stride or 0
            end = self.items(item.fields, base + start, inside, number + count * item.number_step, path, depth + 1)
            furthest = max(furthest, start + end)
        self._shift = shift
        return furthest

    def _by_fields(
        self, item: Repeat, base: int, at: int, series: list[str], stride: int | None,
        words: Mapping[str, str], number: int, path: Path, depth: int,
    ) -> int:  # fmt: skip
        cursor, furthest = 0, 0
        befores: list[_Bytes | None] = [None] * len(series)
        for place, inner in enumerate(item.fields):
            step, end, begin = stride, cursor, cursor
            if not isinstance(inner, str) and inner.at is not None:
                begin = self._distance(inner.at, (*path, place, "at"), cursor)
            for count, index in enumerate(series):
                origin = base + at + count * (step or 0)
                end, befores[count] = self._item(
                    inner, origin, cursor, {**words, item.repeat: index}, number + count * item.number_step,
                    (*path, place), depth + 1, befores[count],
                )  # fmt: skip
                if step is None:
                    step = max(end - begin, 0)  # side by side: as far apart as one is wide
            if not (isinstance(inner, ParameterField) and inner.same):
                cursor = end + (step or 0) * (len(series) - 1)
                furthest = max(furthest, cursor)
        return at + furthest

    # --- fields ----------------------------------------------------------------------------------------------------

    def _parameter(
        self, item: ParameterField, base: int, at: int, words: Mapping[str, str], number: int, path: Path,
        before: _Bytes | None,
    ) -> tuple[int, _Bytes | None]:  # fmt: skip
        where: _Bytes | None = _Bytes(base + at, item.bytes, item.order, item.digit or self._digit)
        end = at + item.bytes
        if item.same:
            if before is None or item.at is not None:
                self.fault(
                    (*path, "same"),
                    "`same` means the bytes of the field before, but there is none or `at` says otherwise.",
                    "Put the field right after the one it shares bytes with, and leave `at` away.",
                )
                return end, before
            where, end = before, before.at + before.count - base
        self._bound(base + end, path)
        pieces, first, width = (
            self._spread(item, base, path) if where is None or item.pieces else self._bytes(item, where, path)
        )
        if item.pieces is not None:
            end, where = at, None  # spread values do not move the place of the next field
        identity = self._identity(item.of, words, (*path, "of"))
        spec = self._parameters.get(identity) if identity is not None else None
        if spec is None or not pieces:
            return end, where
        coding = coding_of(item, sum(piece.width for piece in pieces), spec, self._codes, path, self.fault)
        if coding is not None:
            limits = limits_of(item, coding, spec, path, self.fault)
            if limits is not None:
                own_number = None if item.number is None else item.number + number
                low, high = limits
                placed = PlacedField(spec.id, pieces, coding, low, high, path, first, width, own_number)
                self.places.fields.append(placed)
        return end, where

    def _spread(self, item: ParameterField, base: int, path: Path) -> tuple[tuple[Piece, ...], int, int]:
        if item.at is not None or item.bits is not None or item.bytes != 1 or item.same:
            self.fault(
                (*path, "pieces"), "`pieces` stands instead of at, bytes, bits and same.", "Take the others away."
            )
        pieces: list[Piece] = []
        place = 0
        for index in reversed(range(len(item.pieces or ()))):
            one = (item.pieces or ())[index]
            bits = self._bits(one.bits, item.digit or self._digit, (*path, "pieces", index, "bits"))
            if bits is None:
                return (), 0, 0
            self._bound(base + one.at + 1, path)
            width = bits[1] - bits[0] + 1
            pieces.append(Piece(base + one.at, bits[0], width, place))
            place += width
        return tuple(reversed(pieces)), 0, 0

    def _bytes(self, item: ParameterField, where: _Bytes, path: Path) -> tuple[tuple[Piece, ...], int, int]:
        bits = self._bits(item.bits, where.count * where.digit, (*path, "bits"))
        if bits is None:
            return (), 0, 0
        return pieces_of_digits(where.at, where.count, where.order, where.digit, *bits), where.at, where.count

    def _name(self, item: NameField, base: int, at: int, path: Path) -> int:
        stride = item.stride or item.bytes
        end = at + (item.name - 1) * stride + item.bytes
        self._bound(base + end, path)
        if stride < item.bytes:
            self.fault(
                (*path, "stride"),
                f"A character has {item.bytes} bytes, but the next begins after {stride}.",
                f"Write stride = {item.bytes} or more.",
            )
            return end
        digit = item.digit or self._digit
        bits = self._bits(item.bits, item.bytes * digit, (*path, "bits"))
        coding = name_coding_of(item, self._charsets, bits, path, self.fault)
        if self.places.name is not None:
            self.fault(path, "A layout holds one name; this is a second one.", "Leave it unexplained with `gap`.")
        if bits is not None and coding is not None:
            characters = tuple(
                pieces_of_digits(base + at + index * stride, item.bytes, item.order, digit, *bits)
                for index in range(item.name)
            )
            self.places.name = PlacedName(characters, coding, path)
        return end

    def _identity(self, text: str, words: Mapping[str, str], path: Path) -> str | None:
        identity = text
        for word, index in words.items():
            identity = identity.replace("{" + word + "}", index)
        if identity not in self._parameters:
            near = nearest(identity, self._parameters)
            self.fault(
                path,
                f"There is no parameter {identity}.",
                f"Did you mean {near}?" if near else "Write the id of a [[parameter]] of this chart.",
            )
            return None
        if identity in self._seen:
            self.fault(
                path,
                f"{identity} has two fields in this layout.",
                "Take one away; a value that is spread over several places is one field with `pieces`.",
            )
            return None
        self._seen[identity] = path
        return identity

    # --- bounds ----------------------------------------------------------------------------------------------------

    def _bits(self, bits: int | str | None, width: int, path: Path) -> tuple[int, int] | None:
        if bits is None and not self._shift:
            return 0, width - 1
        try:
            return read_bits(bits if bits is not None else f"0-{width - 1}", width - 1, self._shift)
        except NotReadable as bad:
            self.fault(path, str(bad), bad.remedy)
            return None

    def _distance(self, value: int | str | None, path: Path, otherwise: int) -> int:
        if value is None:
            return otherwise
        try:
            return read_distance(value)
        except NotReadable as bad:
            self.fault(path, str(bad), bad.remedy)
            return otherwise

    def _bound(self, end: int, path: Path) -> None:
        if end > LARGEST:
            self.fault(path, f"This field would end at byte {end}; a dump has at most {LARGEST}.", "Move it nearer.")
            raise _Enough

    def overlaps(self) -> None:
        """Notes every field that claims bits of an earlier one."""
        owner: dict[int, list[tuple[int, str]]] = {}
        claims: list[tuple[str, Path, Sequence[Piece]]] = [
            (each.id, each.path, each.pieces) for each in self.places.fields
        ]
        if self.places.name is not None:
            name = self.places.name
            claims.append(("the name", name.path, [piece for character in name.characters for piece in character]))
        for who, path, pieces in claims:
            for piece in pieces:
                taken = owner.setdefault(piece.at, [])
                for mask, other in taken:
                    if mask & piece.mask:
                        self.fault(
                            path,
                            f"{who} and {other} both claim bits of byte {piece.at}.",
                            "Give each its own `at` or `bits`.",
                        )
                taken.append((piece.mask, who))
