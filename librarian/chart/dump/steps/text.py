"""Names inside dumps: codes to characters and back, padding included.

The bytes of a name are part of the dump and go back unchanged: encoding over the codes that came keeps them wherever
the text says the same, also the characters that no table knows (shown as a middle dot).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from librarian.errors import BadInput

UNSHOWN = "·"
ASCII = {code: chr(code) for code in range(0x20, 0x7F)}


class NotWritable(BadInput):
    """A name that the instrument cannot hold: too long, or with a character outside its table."""


@dataclass(frozen=True, slots=True)
class NameCoding:
    """`table`: code -> one character. `pad`: code that fills the rest; a name ends before trailing pads.

    With pad 0 the name ends at the first 0 (unless that is a character of the table): what follows it is leftover
    memory in many instruments.
    """

    size: int
    pad: int
    table: dict[int, str]
    codes: dict[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """The first code of each character."""
        object.__setattr__(self, "codes", {character: code for code, character in reversed(self.table.items())})

    def decode(self, codes: Sequence[int]) -> str:
        """The text, without padding and trailing blanks; unknown codes as a middle dot."""
        if self.pad == 0 and 0 in codes and 0 not in self.table:
            codes = codes[: list(codes).index(0)]
        end = len(codes)
        while end and codes[end - 1] == self.pad:
            end -= 1
        shown = self.table.get
        return "".join([shown(code, UNSHOWN) for code in codes[:end]]).rstrip(" ")

    def encode(self, text: str, base: Sequence[int] | None = None) -> tuple[int, ...]:
        """`size` codes. Over `base` (the codes that came) the same text gives the same codes, padding included."""
        text = text.rstrip(" ")
        if base is not None and self.decode(base) == text:
            return tuple(base)
        if len(text) > self.size:
            raise NotWritable(
                f"The name “{text}” has {len(text)} characters; the instrument stores {self.size}.", "Shorten the name."
            )
        codes_of = self.codes
        codes = []
        for place, character in enumerate(text):
            if base is not None and character == UNSHOWN and base[place] not in self.table:
                codes.append(base[place])
            elif character in codes_of:
                codes.append(codes_of[character])
            else:
                raise NotWritable(
                    f"The name “{text}” has the character “{character}”, which the instrument cannot store.",
                    f"It can store: {''.join(sorted(codes_of))}",
                )
        codes += [self.pad] * (self.size - len(codes))
        return tuple(codes)
