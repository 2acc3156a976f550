"""What can go wrong with an instrument on a cable, each told apart by what was really observed."""

from __future__ import annotations

from librarian.errors import OutsideProblem, Refused


class NoReply(OutsideProblem):
    """Nothing at all came back in time."""


class EchoLoop(OutsideProblem):
    """Our own bytes came back and nobody answered: the output is wired to the input, or a thru without instrument."""


class ForeignOnly(OutsideProblem):
    """Messages arrive, but none of them is an answer of the instrument asked."""


class NotUnderstood(OutsideProblem):
    """The instrument answered, again and again, with something that cannot be used. `reasons`: one per answer."""

    def __init__(self, sentence: str, hint: str | None = None, reasons: tuple[str, ...] = ()) -> None:
        super().__init__(sentence, hint)
        self.reasons = reasons


class InstrumentRefused(OutsideProblem):
    """The instrument said no (NAK), or that its memory is protected."""


class TookTooLong(OutsideProblem):
    """A conversation was ended because it took longer than it may."""


class Busy(Refused):
    """Another conversation with the same instrument is under way."""


class WrongInstrument(OutsideProblem):
    """Another instrument, or a firmware that the chart does not describe, stands where this one was expected."""


def and_list(words: list[str] | tuple[str, ...], most: int = 6) -> str:
    """“Cutoff, Drive and Glide”; beyond `most` the rest is counted: “Cutoff, Drive and 9 more”."""
    shown = list(words)
    if len(shown) > most:
        shown = [*shown[: most - 1], f"{len(shown) - most + 1} more"]
    if len(shown) <= 1:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"
