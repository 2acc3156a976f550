"""What changed from one dump to the next, byte by byte: in the message as it travels, and in the unpacked data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from librarian.chart.learn.dumps.evidence import Evidence
from librarian.chart.learn.dumps.finding import Finding


@dataclass(frozen=True, slots=True)
class Moved:
    """One byte that changed. `at`: from 0 = F0, or of the unpacked data where `unpacked`. `bits`: those that flipped.

    `owner`: id of the control whose likeliest field has these bits, "checksum", or "" where nothing explains them.
    """

    at: int
    unpacked: bool
    before: int
    after: int
    owner: str = ""

    @property
    def bits(self) -> str:
        """ "0-6", "3", "0 and 4-5": the bits that flipped, 0 the lowest."""
        return bit_text(self.before ^ self.after)


def bit_text(mask: int) -> str:
    """The set bits of a byte, neighbours joined."""
    runs: list[list[int]] = []
    for bit in range(8):
        if mask >> bit & 1:
            if runs and runs[-1][1] == bit - 1:
                runs[-1][1] = bit
            else:
                runs.append([bit, bit])
    return " and ".join(str(low) if low == high else f"{low}-{high}" for low, high in runs)


def moved_in(evidence: Evidence, finding: Finding) -> tuple[Moved, ...]:
    """What the newest dump has otherwise than the one before; packed data is shown unpacked as well."""
    if len(evidence.shots) < 2:
        return ()
    return tuple(_moved(evidence, finding))


def _moved(evidence: Evidence, finding: Finding) -> Iterator[Moved]:
    before, after = evidence.table[-2], evidence.table[-1]
    reading = finding.reading
    packed = reading.packing != "plain"
    sums = {at for one in finding.sums for at in range(one.at, one.at + one.form.size)}
    for at in range(len(after)):
        if before[at] == after[at]:
            continue
        inside = reading.start <= at < reading.end
        owner = "checksum" if at in sums else ""
        if inside and not packed:
            owner = _owner(finding, at - reading.start, int(before[at] ^ after[at])) or owner
        yield Moved(at, False, int(before[at]), int(after[at]), owner)
    if not packed:
        return
    old, new = reading.images[-2], reading.images[-1]
    inner = finding.inner
    for at in range(len(new)):
        if old[at] != new[at]:
            covered = inner is not None and inner.at <= at < inner.at + inner.form.size
            owner = "checksum" if covered else _owner(finding, at, int(old[at] ^ new[at]))
            yield Moved(at, True, int(old[at]), int(new[at]), owner)


def _owner(finding: Finding, at: int, flipped: int) -> str:
    """The control whose likeliest field has all these bits, or the first that has some."""
    some = ""
    for name, found in finding.controls.items():
        if not found.guesses:
            continue
        claimed = sum(1 << bit for place, bit in found.guesses[0].bits if place == at)
        if flipped & claimed == flipped:
            return name
        some = some or (name if flipped & claimed else "")
    return some
