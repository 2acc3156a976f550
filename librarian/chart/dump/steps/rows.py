"""Steps for very many messages of one length at once: one matrix of bytes, a message a row, with numpy.

The rules themselves stand in `checksum`, `number`, `packing` and `text`; here they are applied to columns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from librarian.chart.dump.steps.checksum import (
    REVERSED_BYTES,
    Rule,
    checksum,
    crc_finished,
    crc_register,
    crc_table,
)
from librarian.chart.dump.steps.number import Piece
from librarian.chart.dump.steps.packing import NotPacked, Packing
from librarian.chart.dump.steps.text import UNSHOWN, NameCoding

Bytes = npt.NDArray[np.uint8]
Numbers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

WIDEST = 56
"""Bits of a number that are read here; wider ones are read one by one, where no sign bit is in the way."""

_IN_EIGHTS = frozenset(
    ("file_dump", "reversed", "file_dump_after", "reversed_after", "bitstream", "bitstream_low")
)  # fmt: skip


def read_pieces(rows: Bytes, pieces: Sequence[Piece]) -> Numbers:
    """The raw number of each row, collected from its places."""
    raw = np.zeros(len(rows), dtype=np.int64)
    for piece in pieces:
        bits = rows[:, piece.at].astype(np.int64) >> piece.low & (1 << piece.width) - 1
        raw |= bits << piece.place
    return raw


def sums(rule: Rule, rows: Bytes) -> Numbers:
    """`rule.of` of each row; at most `WIDEST` bits."""
    if rule.kind == "crc":
        fed = np.frombuffer(REVERSED_BYTES, np.uint8)[rows] if rule.reflected_in else rows
        table = np.array(crc_table(rule), np.int64)
        register: Numbers = crc_register(rule, np.ascontiguousarray(fed.T).astype(np.int64), table)
        register = np.broadcast_to(np.asarray(register, np.int64), len(rows))
        return _each(lambda number: crc_finished(rule, number), register)
    mask = (1 << rule.bits) - 1
    if rule.kind == "xor":
        found: Numbers = np.bitwise_xor.reduce(rows, axis=1).astype(np.int64)
        return (found ^ rule.start) & mask ^ rule.final & mask
    # `checksum` of no bytes with the sum as the start: its kinds differ only in what they make of that
    kind, bits, start = rule.kind, rule.bits, rule.start
    totals = rows.sum(axis=1, dtype=np.int64)
    return _each(lambda total: checksum(kind, b"", bits=bits, start=start + total), totals) ^ rule.final & mask


def _each(function: Callable[[int], int], numbers: Numbers) -> Numbers:
    """A function of one number applied to every different one."""
    different, places = np.unique(numbers, return_inverse=True)
    made: Numbers = np.array([function(number) for number in different.tolist()], np.int64)
    return made[places]


def unpack(packing: Packing, rows: Bytes) -> tuple[Bytes, Flags]:
    """The raw bytes of each row, and which rows could be unpacked at all (those of the others mean nothing).

    All rows are unpacked as one: packings work on columns, so it is only needed that every row ends with a group.
    """
    count, size = rows.shape
    raw_size = packing.raw_size(size)
    if raw_size is None:
        return np.zeros((count, 0), np.uint8), np.zeros(count, np.bool_)
    joined = _whole_groups(packing, rows).tobytes()
    try:
        out = np.frombuffer(packing.unpack(joined), np.uint8).reshape(count, -1)
    except NotPacked:
        return _one_by_one(packing, rows, raw_size)
    return out[:, :raw_size], np.ones(count, np.bool_)


def _whole_groups(packing: Packing, rows: Bytes) -> Bytes:
    short = -rows.shape[1] % 8
    if packing.name not in _IN_EIGHTS or not short:
        return rows
    # the byte of top bits is the last of its group in some packings, also of a short one
    at = rows.shape[1] - packing.name.endswith("_after")
    filling = np.zeros((len(rows), short), np.uint8)
    return np.hstack([rows[:, :at], filling, rows[:, at:]])


def _one_by_one(packing: Packing, rows: Bytes, raw_size: int) -> tuple[Bytes, Flags]:
    """At least one row is damaged: which, only each for itself can tell."""
    out = np.zeros((len(rows), raw_size), np.uint8)
    fine = np.ones(len(rows), np.bool_)
    for place, row in enumerate(rows):
        try:
            out[place] = np.frombuffer(packing.unpack(row.tobytes()), np.uint8)
        except NotPacked:
            fine[place] = False
    return out, fine


def texts(coding: NameCoding, codes: Numbers) -> list[str]:
    """`coding.decode` of each row of codes."""
    known = {code: ord(character) for code, character in coding.table.items() if len(character) == 1}
    strange = len(known) < len(coding.table) or any(not sign or 0xD800 <= sign < 0xE000 for sign in known.values())
    if strange or not codes.shape[1] or min(known, default=0) < 0:
        return [coding.decode(row) for row in codes.tolist()]
    signs = np.full(max(known, default=0) + 2, ord(UNSHOWN), np.uint32)
    signs[list(known)] = list(known.values())
    shown = signs[np.minimum(codes, len(signs) - 1)]
    used = codes != coding.pad
    if coding.pad == 0 and 0 not in coding.table:
        used = np.logical_and.accumulate(used, axis=1)
    else:
        used = np.logical_or.accumulate(used[:, ::-1], axis=1)[:, ::-1]
    shown[~used] = 0  # numpy's texts end before zeros
    return [text.rstrip(" ") for text in np.ascontiguousarray(shown).view(f"U{codes.shape[1]}").ravel().tolist()]
