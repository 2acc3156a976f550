"""Very many dumps of one form at once, with numpy: a matrix of bytes, one message a row.

Only what reads without a doubt is read here. A message that any check refuses is left to the road that reads one by
one, which says why; so nothing here has to find words for what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from librarian.chart.dump.planning.segments import Area, Constant, Frame, Masked, Number, Sum
from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import FrameCodec, slot_word
from librarian.chart.dump.running.many import ManyValues
from librarian.chart.dump.running.message import FormCodec, MessageCodec
from librarian.chart.dump.running.recogniser import Match
from librarian.chart.dump.steps import rows as steps
from librarian.chart.dump.steps.rows import Bytes, Flags, Numbers
from librarian.messages import ALL_CALL, Address


@dataclass(frozen=True, slots=True)
class Alike:
    """Dumps of one message and form, one program each. `places`: which of the messages given they are, ascending.

    `values`, `names` and each of `slots` have one row or entry for each of `places`; all of it is what `decode_all`
    says of the same message.
    """

    message: str
    form: Form
    places: tuple[int, ...]
    values: ManyValues
    names: Sequence[str]
    slots: Mapping[str, Sequence[int]]


@dataclass(slots=True)
class Found:
    """What was read so far. `fine`: rows that nothing has been said against."""

    fine: Flags
    slots: dict[str, Numbers]
    images: dict[str, Bytes]


class AlikeReader:
    """Groups messages by their frame and reads each group. `told`: whether a number is told to people."""

    def __init__(
        self,
        messages: Mapping[str, MessageCodec],
        match: Callable[[bytes, Address], Match | None],
        told: Callable[[str], bool],
    ) -> None:
        self._messages = messages
        self._match = match
        self._told = told
        self._possible: dict[FrameCodec, bool] = {}

    def read(self, raws: Sequence[bytes], address: Address) -> list[Alike]:
        """The messages (of one length) that are dumps of one program in one message and in order.

        Those that are in none of the results have to be read one by one.
        """
        by_frame: dict[tuple[str, Form, FrameCodec], list[int]] = {}
        for place, raw in enumerate(raws):
            match = self._match(raw, address)
            if match is None or match.frame is None or not isinstance(match.form, FormCodec):
                continue
            if match.form.form != "request" and match.frame.size == len(raw) and self._can(match.form, match.frame):
                by_frame.setdefault((match.form.message, match.form.form, match.frame), []).append(place)
        found = []
        for (message, form, frame), places in by_frame.items():
            alike = self._read(message, form, frame, raws, places, address)
            if alike is not None:
                found.append(alike)
        return found

    def _can(self, form: FormCodec, frame: FrameCodec) -> bool:
        known = self._possible.get(frame)
        if known is None:
            parts = self._messages[form.message].parts_of(frame)
            narrow = all(
                each.coding.bits <= steps.WIDEST for one in parts.layouts.values() for each in one.places.fields
            )
            known = bool(parts.once) and not parts.repeated and narrow and is_simple(frame.frame)
            self._possible[frame] = known
        return known

    def _read(
        self, message: str, form: Form, frame: FrameCodec, raws: Sequence[bytes], places: list[int], address: Address
    ) -> Alike | None:
        joined = b"".join([raws[place] for place in places])
        matrix = np.frombuffer(joined, np.uint8).reshape(len(places), frame.size)
        fine = (matrix[:, 0] == 0xF0) & (matrix[:, -1] == 0xF7) & (matrix[:, 1:-1] < 0x80).all(axis=1)
        found = Found(fine, {}, {})
        judge(frame.frame, matrix, address, found, 0x7F)
        parts = self._messages[message].parts_of(frame)
        good = np.flatnonzero(found.fine)
        if not len(good):
            return None
        whole = len(good) == len(places)
        images = {part: found.images[part] if whole else found.images[part][good] for part in parts.once}
        values, names = parts.read_many(images)
        slots = {word: numbers[good].tolist() for word, numbers in found.slots.items() if self._told(word)}
        return Alike(message, form, tuple(places[row] for row in good.tolist()), values, names, slots)


def is_simple(frame: Frame) -> bool:
    """Every part stands once, and every number is narrow enough."""
    for each in frame.segments:
        if isinstance(each, Area):
            if each.units != 1 or each.count != 1 or each.repeats or not (each.layout or each.inner):
                return False
            if each.inner is not None and not is_simple(each.inner):
                return False
        elif isinstance(each, Number):
            if not each.pieces or sum(piece.width for piece in each.pieces) > steps.WIDEST:
                return False
        elif isinstance(each, Sum) and each.rule.bits > steps.WIDEST:
            return False
    return True


def judge(frame: Frame, rows: Bytes, address: Address | None, found: Found, whole: int) -> None:
    """Everything that `FrameCodec.read` checks and finds. `whole`: the bits that a byte can have here.

    `address` None: whichever device and channel it is for.
    """
    unpacked: dict[str, Bytes] = {}
    for each in frame.segments:
        if isinstance(each, Constant):
            found.fine &= (rows[:, each.at : each.at + len(each.data)] == np.frombuffer(each.data, np.uint8)).all(
                axis=1
            )
        elif isinstance(each, Masked):
            found.fine &= rows[:, each.at] & each.mask == each.value
        elif isinstance(each, Number):
            _judge_number(each, steps.read_pieces(rows, each.pieces) - each.plus, address, found)
        elif isinstance(each, Area):
            data, could = steps.unpack(each.packing, rows[:, each.at : each.at + each.size])
            found.fine &= could
            unpacked[each.name] = data
            if each.inner is not None:
                judge(each.inner, data, address, found, 0xFF)
            else:
                found.images[each.name] = data
    for each in frame.segments:
        if isinstance(each, Sum):
            _judge_sum(each, frame, rows, unpacked, found, whole)


def _judge_number(number: Number, values: Numbers, address: Address | None, found: Found) -> None:
    if number.role == "channel":
        if address is not None:
            found.fine &= values == address.channel
    elif number.role == "device":
        if address is not None and address.device != ALL_CALL:
            to_all = (values == ALL_CALL) if not number.plus else np.zeros(len(values), np.bool_)
            found.fine &= (values == address.device) | to_all
    elif number.fixed is not None:
        found.fine &= values == number.fixed
    else:
        found.fine &= (number.low <= values) & (values <= number.high)
    if number.role not in ("device", "channel", "length"):
        found.fine &= found.slots.setdefault(slot_word(number), values) == values


def _judge_sum(each: Sum, frame: Frame, rows: Bytes, unpacked: Mapping[str, Bytes], found: Found, whole: int) -> None:
    columns, at = [], each.first
    for area in frame.areas if each.unpacked else ():
        if each.first <= area.at < each.end:
            columns += [rows[:, at : area.at], unpacked[area.name]]
            at = area.at + area.size
    columns.append(rows[:, at : each.end])
    computed = steps.sums(each.rule, np.hstack(columns) if len(columns) > 1 else columns[0])
    received = steps.read_pieces(rows, each.pieces)
    right = received == computed
    found.fine &= right if each.otherwise is None else right | (received == each.otherwise)
    used = np.zeros(each.size, np.uint8)
    for piece in each.pieces:
        used[piece.at - each.at] |= piece.mask
    found.fine &= (rows[:, each.at : each.at + each.size] & (~used & whole) == 0).all(axis=1)
