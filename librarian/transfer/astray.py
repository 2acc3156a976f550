"""Where a write went that did not reach its program: with its number damaged on the way it replaces another one.

Checksums often leave the number out. So after a restore in which a program read back unchanged though nobody had
refused the write, the programs that one damaged number can mean are looked at.
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


def reached_by_one(line: Line, programs: Iterable[int]) -> list[int]:
    """The other programs whose numbers differ in the program or in the bank alone from one of these."""
    meant = {number: slots(line, number) for number in programs}
    found = []
    for number in numbers(line, None):
        its = slots(line, number)
        apart = [sum(its[word] != other[word] for word in its) for other in meant.values()]
        if 1 in apart:
            found.append(number)
    return found


@dataclass(slots=True)
class Found:
    """`late`: programs that hold what was sent to them after all. `replaced`: others that are not what they were, and
    what is known of it. `unread`: how many could not be read."""

    late: list[int] = field(default_factory=list)
    replaced: dict[int, str] = field(default_factory=dict)
    unread: int = 0


def look_for(talk: Talk, lost: Mapping[int, Held], known: Mapping[int, Held], shown: Mapping[int, str]) -> Found:
    """What became of the programs that a lost write may have reached.

    `lost`: program -> what was sent to it and did not get there. `known`: what programs held when they were read last.
    """
    found = Found()
    places = sorted({*reached_by_one(talk.line, lost), *known})
    for count, number in enumerate(places):
        talk.tell(count, len(places), "programs looked at for a lost write", None)
        try:
            version = read_program(talk, number)
        except (InstrumentRefused, NotUnderstood):
            found.unread += 1
            continue
        held = (version.values, version.name)
        meant = next((other for other, sent in lost.items() if other != number and held == sent), None)
        if number in known and held == known[number]:
            continue
        if held == lost.get(number):
            found.late.append(number)
        elif meant is not None:
            found.replaced[number] = f"it holds what was sent to {shown[meant]}, whose number was damaged on the way"
        elif number in known:
            found.replaced[number] = "it was read back well, and was changed afterwards"
    return found
