"""Why a dump is not taken, or not made."""

from __future__ import annotations

from typing import Literal

from librarian.errors import BadInput

Reason = Literal[
    "not sysex", "unterminated", "status byte", "other maker", "other device", "other message", "too short",
    "too long", "checksum", "length field", "out of range", "constant", "version", "packing", "incomplete", "packet",
]  # fmt: skip


class DumpRefused(BadInput):
    """A message that is no good dump of this chart. `reason`: which kind of wrong, for tests and counts."""

    def __init__(self, reason: Reason, sentence: str, hint: str | None = None) -> None:
        super().__init__(sentence, hint)
        self.reason: Reason = reason


class UnknownValues(BadInput):
    """A dump cannot be made because values are not known. `parameters`: which; none of them was guessed."""

    def __init__(self, parameters: tuple[str, ...]) -> None:
        shown = ", ".join(parameters[:8]) + (f" and {len(parameters) - 8} more" if len(parameters) > 8 else "")
        subject = "The value of" if len(parameters) == 1 else "The values of"
        verb = "is" if len(parameters) == 1 else "are"
        super().__init__(
            f"{subject} {shown} {verb} not known, and this dump needs every value.",
            "Capture the instrument first, so that what is unknown can stay as it is.",
        )
        self.parameters = parameters


class NotStorable(BadInput):
    """A value that its place in the dump cannot hold."""

    def __init__(self, parameter: str, value: int, low: int, high: int) -> None:
        super().__init__(
            f"{parameter} is {value}; this dump can hold {low} to {high}.",
            "Change the value, or recall by controllers.",
        )
        self.parameter = parameter
