"""What the dumps seen so far say together: packing, checksums, and the fields of every control."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from librarian.chart.learn.dumps.evidence import Bytes, Dial, Evidence, touched
from librarian.chart.learn.dumps.fields import fields
from librarian.chart.learn.dumps.guess import Guess
from librarian.chart.learn.dumps.hot import Sums, hot_places, inner_sum, unpacked_sums, wire_sums
from librarian.chart.learn.dumps.names import NameFound, find_name
from librarian.chart.learn.dumps.readings import Reading, readings
from librarian.chart.learn.dumps.spread import Unsettled, spread
from librarian.chart.learn.sums import SumGuess

_NO_FIELD = 9.0
_NO_SUM = 12.0
_THROUGH_TITLE = 3.0
"""Packed data does not begin before a name that stands there in plain letters."""
_HEADER = 3
_HEADER_SEEN = 10
"""Bytes after the manufacturer ID that are taken as the head of the message: more when other sounds were seen."""


@dataclass(frozen=True, slots=True)
class Found:
    """One control. `guesses`: fields that fit all dumps, likeliest first. `unsettled`: see spread. `moved`: it did."""

    dial: Dial
    guesses: tuple[Guess, ...]
    unsettled: tuple[Unsettled, ...]
    moved: bool


@dataclass(frozen=True, slots=True)
class Finding:
    """A reading of the dumps with its checksums. `tried`: checksums that do not fit all dumps, most agreeing first.

    `unexplained`: positions that move with every control and that no known checksum explains. `cost`: the least is
    likeliest.
    """

    reading: Reading
    sums: tuple[SumGuess, ...]
    inner: SumGuess | None
    tried: tuple[SumGuess, ...]
    unexplained: tuple[int, ...]
    cost: float
    controls: Mapping[str, Found] = field(default_factory=dict)

    @property
    def images(self) -> Bytes:
        """The unpacked data without the checksum inside it."""
        return self.reading.images if self.inner is None else self.reading.images[:, : self.inner.at]


def find(evidence: Evidence, dials: Sequence[Dial]) -> list[Finding]:
    """The likeliest findings, best first; without the fields, which `with_fields` adds. At least one dump is needed."""
    table = evidence.table
    names = [dial.id for dial in dials]
    hot = hot_places(table, evidence, names)
    sums = wire_sums(table, hot)
    found = [
        one for reading in _windows(evidence, table, sums) if (one := _judged(evidence, dials, table, reading, sums))
    ]
    found.sort(key=lambda one: one.cost)
    return found[:3]


def with_fields(finding: Finding, evidence: Evidence, dials: Sequence[Dial]) -> Finding:
    """The same with the guesses for every control."""
    masks = _masks(finding.images, evidence, dials)
    controls = {dial.id: _control(finding, evidence, dial, masks) for dial in dials}
    return Finding(
        finding.reading, finding.sums, finding.inner, finding.tried, finding.unexplained, finding.cost, controls
    )


def again(finding: Finding, evidence: Evidence, dials: Sequence[Dial]) -> Finding | None:
    """The same reading of what has been seen since; None when it no longer holds."""
    table = evidence.table
    names = [dial.id for dial in dials]
    hot = hot_places(table, evidence, names)
    sums = wire_sums(table, hot)
    start, end = finding.reading.start, finding.reading.end
    same = (one for one in readings(table, start, start, end) if one.packing == finding.reading.packing)
    reading = next((one for one in same if one.end == end), None)
    known = {*range(start, end), *range(end, table.shape[1])}
    if reading is None or not set(_moving(table)) - _head_only(evidence, table, reading) <= known:
        return None
    judged = _judged(evidence, dials, table, reading, sums)
    if judged is None or len(judged.sums) != len(finding.sums) or (judged.inner is None) != (finding.inner is None):
        return None
    return judged


def _moving(table: Bytes) -> list[int]:
    return [int(at) for at in np.flatnonzero(np.ptp(table, axis=0))]


def _by_hand(evidence: Evidence, table: Bytes) -> list[int]:
    """Positions that changed when a control was moved."""
    moves = [number for number, shot in enumerate(evidence.shots) if shot.moved is not None and number]
    return [int(at) for at in np.flatnonzero(touched(table, moves))]


def program_of(evidence: Evidence, before: int) -> tuple[int, int] | None:
    """(place, what is added to the program's number there) of a byte in front of place `before` that followed what was
    told of the sounds; None where fewer than two were told, and for dumps of several messages."""
    told = [(shot.raw, shot.program) for shot in evidence.shots if shot.program is not None]
    if evidence.framing is not None or len({number for _, number in told}) < 2:
        return None
    for at in range(evidence.maker, before):
        plus = {raw[at] - number for raw, number in told}
        if len(plus) == 1:
            return at, plus.pop()
    return None


def title_of(evidence: Evidence, table: Bytes) -> NameFound | None:
    """The sound's name, where it stands in plain ASCII before all that controls change, as bytes of the message."""
    texts = [(row, shot.text) for row, shot in enumerate(evidence.shots) if shot.text]
    by_hand = _by_hand(evidence, table)
    found = find_name(table, texts, 7) if texts and by_hand and evidence.framing is None else None
    if found is None or found.width > 1 or found.charset is not None or found.at + found.size > by_hand[0]:
        return None
    return found


def _head_only(evidence: Evidence, table: Bytes, reading: Reading) -> set[int]:
    """Positions before the data that no control changes: they number the program, or mean nothing that is known."""
    return set(range(evidence.maker, reading.start)) - set(_by_hand(evidence, table))


def _windows(evidence: Evidence, table: Bytes, sums: Sums) -> Iterable[Reading]:
    taken = {at + place for one in sums.found for at in [one.at] for place in range(one.form.size)}
    moving = [at for at in _moving(table) if at not in taken] or [evidence.maker + 1]
    cap = _HEADER_SEEN if evidence.others >= 2 else _HEADER
    highest = min(moving[0], evidence.maker + cap)
    # Bytes in front that only other sounds changed may be data (a name), or number the program.
    by_hand = [at for at in _by_hand(evidence, table) if at not in taken]
    heads = {highest, min(by_hand[0], evidence.maker + cap) if by_hand else highest}
    title = title_of(evidence, table)
    if title is not None:
        heads.add(min(by_hand[0], title.at + title.size + cap))
    after = [at for at in taken if at >= moving[0]]
    last = min(after, default=table.shape[1] - 1)
    before = [at + 1 for at in taken if at < moving[0]]
    lowest = max([evidence.maker + 1, *before])
    ends = {last}
    if sums.hot:
        group = _last_group([at for at in sums.hot if at < last])
        ends |= {group - back for back in range(4) if group - back > moving[0]}
    number = program_of(evidence, by_hand[0] if by_hand else last)
    if number is not None:
        heads = {max(head, number[0] + 1) for head in heads}
        lowest = max(lowest, number[0] + 1)
    for end in sorted(ends, reverse=True):
        for head in sorted(heads):
            first = min(lowest, head) if title is None or head <= title.at else title.at + title.size
            yield from readings(table, min(first, head), head, end)


def _last_group(places: Sequence[int]) -> int:
    """The first of the last neighbouring places."""
    first = places[-1] if places else 0
    while first - 1 in places:
        first -= 1
    return first


def _judged(evidence: Evidence, dials: Sequence[Dial], table: Bytes, reading: Reading, sums: Sums) -> Finding | None:
    names = [dial.id for dial in dials]
    more = unpacked_sums(reading, table, sums.hot) if sums.hot else []
    inside = hot_places(reading.images, evidence, names)
    inner = inner_sum(reading, inside) if inside else None
    known = {at + place for one in [*sums.found, *more] for at in [one.at] for place in range(one.form.size)}
    head = _head_only(evidence, table, reading)
    left = tuple(
        at
        for at in _moving(table)
        if at not in known and not reading.start <= at < reading.end and at not in head
    )  # fmt: skip
    cost = reading.trouble + _NO_SUM * len(left) + (0.5 if inner is not None else 0.0)
    title = title_of(evidence, table)
    if title is not None and reading.packing != "plain" and reading.start < title.at + title.size:
        cost += _THROUGH_TITLE
    finding = Finding(reading, (*sums.found, *more), inner, sums.tried, left, cost)
    masks = _masks(finding.images, evidence, dials)
    for dial in dials:
        if masks[dial.id].any():
            guesses = _guesses(finding, evidence, dial, masks)
            cost += guesses[0].cost if guesses else _NO_FIELD
    return Finding(finding.reading, finding.sums, inner, sums.tried, left, cost)


def _masks(images: Bytes, evidence: Evidence, dials: Sequence[Dial]) -> dict[str, Bytes]:
    return {dial.id: touched(images, evidence.moves(dial.id)) for dial in dials}


def _foreign(masks: Mapping[str, Bytes], dial: Dial, size: int) -> Bytes:
    others = [mask for name, mask in masks.items() if name != dial.id]
    return np.bitwise_or.reduce(others, axis=0) if others else np.zeros(size, dtype=np.uint8)


def _guesses(finding: Finding, evidence: Evidence, dial: Dial, masks: Mapping[str, Bytes]) -> list[Guess]:
    images = finding.images
    foreign = _foreign(masks, dial, images.shape[1])
    return fields(dial, images, masks[dial.id], foreign, evidence.known(dial.id), finding.reading.digits)


def _control(finding: Finding, evidence: Evidence, dial: Dial, masks: Mapping[str, Bytes]) -> Found:
    mask = masks[dial.id]
    guesses = _guesses(finding, evidence, dial, masks)
    unsettled: list[Unsettled] = []
    if not guesses and mask.any():
        guesses, unsettled = spread(dial, finding.images, mask, evidence.known(dial.id))
    return Found(dial, tuple(guesses), tuple(unsettled), bool(mask.any()))
