"""The instrument's own memory: how many programs, and how it shows their numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Memory:
    """`programs` in each of `banks`. Numbers on the wire count from 0; `first_bank` is the first bank's number."""

    programs: int
    banks: int = 1
    display: Literal["from_one", "from_zero", "octal", "letters"] = "from_one"
    bank_select: Literal["none", "msb", "lsb", "both"] = "none"
    first_bank: int = 0

    @property
    def size(self) -> int:
        """How many programs there are in all banks."""
        return self.programs * self.banks

    def shown(self, index: int) -> str:
        """How the instrument shows program `index`, counted through all banks from 0: "1", "0", "11", "A1"."""
        bank, program = divmod(index, self.programs)
        if self.display == "from_zero":
            text = str(program)
        elif self.display == "octal":
            text = f"{program // 8 + 1}{program % 8 + 1}"
        elif self.display == "letters":
            text = f"{_letters(program // 8)}{program % 8 + 1}"
        else:
            text = str(program + 1)
        return text if self.banks == 1 else f"{bank + 1}-{text}"

    def select(self, index: int, channel: int) -> tuple[bytes, ...]:
        """Bank select, as far as the instrument counts it, and program change. `channel` 0-15."""
        bank, program = divmod(index, self.programs)
        number = bank + self.first_bank
        cc = 0xB0 | channel
        change = bytes((0xC0 | channel, program & 0x7F))
        if self.bank_select == "msb":
            return (bytes((cc, 0, number & 0x7F)), change)
        if self.bank_select == "lsb":
            return (bytes((cc, 32, number & 0x7F)), change)
        if self.bank_select == "both":
            return (bytes((cc, 0, number >> 7)), bytes((cc, 32, number & 0x7F)), change)
        return (change,)


def _letters(number: int) -> str:
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
