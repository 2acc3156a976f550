"""How fast one instrument may be spoken to.

The figures are common practice (public reports say 20 to 40 ms after a SysEx message for slow receivers); only the
3,125 bytes/s are the standard's. A chart or the person may change every one of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from librarian.wire.cable import WIRE_BYTES_PER_SECOND

MOST_SLOWINGS = 4


@dataclass(frozen=True, slots=True)
class Pace:
    """Bytes per second, and seconds of silence after each kind of message.

    `write_delay_s` is the time an instrument needs after it was told to store into its memory. `slowed` says how
    often the gaps have been doubled.
    """

    bytes_per_second: float = WIRE_BYTES_PER_SECOND
    gap_after_sysex_s: float = 0.020
    gap_after_cc_s: float = 0.001
    settle_after_program_change_s: float = 0.100
    write_delay_s: float = 0.200
    slowed: int = 0

    def __post_init__(self) -> None:
        if not self.bytes_per_second > 0:
            raise ValueError(f"{self.bytes_per_second} bytes per second; a pace is above 0")
        gaps = (self.gap_after_sysex_s, self.gap_after_cc_s, self.settle_after_program_change_s, self.write_delay_s)
        if any(not 0 <= gap < float("inf") for gap in gaps):
            raise ValueError(f"gaps {gaps}; a gap is 0 s or longer")

    def gap_after(self, message: bytes) -> float:
        """Seconds of silence after this message: by its status byte."""
        status = message[0]
        if status == 0xF0:
            return self.gap_after_sysex_s
        if status & 0xF0 == 0xC0:
            return self.settle_after_program_change_s
        return self.gap_after_cc_s if status < 0xF0 else 0.0

    @property
    def can_slow(self) -> bool:
        """True while `slower` still changes something."""
        return self.slowed < MOST_SLOWINGS

    def slower(self) -> Pace:
        """Every gap doubled, at most four times; after that the same pace again."""
        if not self.can_slow:
            return self
        return replace(
            self,
            gap_after_sysex_s=self.gap_after_sysex_s * 2,
            gap_after_cc_s=self.gap_after_cc_s * 2,
            settle_after_program_change_s=self.settle_after_program_change_s * 2,
            write_delay_s=self.write_delay_s * 2,
            slowed=self.slowed + 1,
        )
