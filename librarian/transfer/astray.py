"""Where a write went that did not reach its program: with its number damaged on the way it replaces another one.

Checksums often leave the number out, and most do not notice two bytes that changed places. So after a restore in
which nobody refused a write that did not get there, the programs that a damaged number can mean are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from librarian.messages import Values
from librarian.transfer.bank import numbers, read_program, slots
from librarian.transfer.line import Line
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import InstrumentRefused, NotUnderstood

Held = tuple[Values, str]
"""What a program holds: its values and its name."""

LEAST_KNOWN_BY = 4
"""So many equal values at least tell that a program holds nearly what was sent elsewhere; fewer are chance."""


@dataclass(slots=True)
class Lost:
    """What was sent to one program and did not get there, though nobody refused it.

    `whole`: all of what was sent. `pieces`: the values that did not get there, write by write.
    """

    whole: Held
    pieces: list[Values] = field(default_factory=list)

    @property
    def cannot_be_known(self) -> bool:
        """True when some piece is too small to be known again in another program."""
        return any(len(piece) < LEAST_KNOWN_BY for piece in self.pieces)

    def seen_in(self, held: Held) -> str:
        """What of this a program holds ("what", "nearly what", "a part of what" was sent); '' where it is nothing."""
        if held == self.whole:
            return "what"
        for piece in self.pieces:
            same = sum(held[0].get(name) == value for name, value in piece.items())
            if same >= LEAST_KNOWN_BY and 2 * same >= len(piece):
                return "nearly what" if piece == self.whole[0] else "a part of what"
        return ""


def reached_by_damage(line: Line, programs: Iterable[int]) -> list[int]:
    """The other programs whose numbers a damaged one of these can be.

    Those that differ in the program or in the bank alone, and the one that has the two the other way round.
    """
    meant = {number: slots(line, number) for number in programs}
    found = []
    for number in numbers(line, None):
        its = slots(line, number)
        apart = [sum(its[word] != other[word] for word in its) for other in meant.values()]
        swapped = {"program": its["bank"], "bank": its["program"]}
        if 1 in apart or (number not in meant and swapped in meant.values()):
            found.append(number)
    return found


@dataclass(slots=True)
class Found:
    """`late`: programs that hold what was sent to them after all. `replaced`: others that are not what they were, or
    may not be, and what is known of it. `unread`: how many could not be read."""

    late: list[int] = field(default_factory=list)
    replaced: dict[int, str] = field(default_factory=dict)
    unread: int = 0


def look_for(talk: Talk, lost: Mapping[int, Lost], known: Mapping[int, Held], shown: Mapping[int, str]) -> Found:
    """What became of the programs that a lost write may have reached.

    `lost`: program -> what was sent to it and did not get there. `known`: what programs held when they were read last.
    """
    found = Found()
    places = sorted({*reached_by_damage(talk.line, lost), *known})
    for count, number in enumerate(places):
        talk.tell(count, len(places), "programs looked at for a lost write", None)
        try:
            version = read_program(talk, number)
        except (InstrumentRefused, NotUnderstood):
            found.unread += 1
            continue
        held = (version.values, version.name)
        if number in known and held == known[number]:
            continue
        if number in lost and held == lost[number].whole:
            found.late.append(number)
            continue
        seen = {other: one.seen_in(held) for other, one in lost.items() if other != number}
        meant = next((other for words in ("what", "nearly what", "a part of what") for other in seen
                      if seen[other] == words), None)  # fmt: skip
        if meant is not None and seen[meant] == "what":
            found.replaced[number] = f"it holds what was sent to {shown[meant]}, whose number was damaged on the way"
        elif number in known:
            found.replaced[number] = "it was read back well, and was changed afterwards"
        elif meant is not None:
            found.replaced[number] = (
                f"it holds {seen[meant]} was sent to {shown[meant]}, whose number may have been damaged on the way"
            )
    return found
