"""Where a write went that did not reach its program: with its number damaged on the way it replaces another one.

Checksums often leave the number out, and most do not notice two bytes that changed places. So after a restore in
which nobody refused a write that did not get there, the programs that a damaged number can mean are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from librarian.messages import Values
from librarian.transfer.bank import numbers, program_way, read_program, slots, slots_of
from librarian.transfer.line import Line
from librarian.transfer.read import read
from librarian.transfer.reading import Unreadable
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply, NotUnderstood

Held = tuple[Values, str]
"""What a program holds: its values and its name."""

_WORDS = ("what", "nearly what", "a part of what")

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

    @property
    def is_known_at_a_glance(self) -> bool:
        """True when each piece is known again also where the answer that shows it is damaged in some of its values."""
        return all(len(piece) >= 2 * LEAST_KNOWN_BY for piece in self.pieces)

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
    may not be, and what is known of it. `many`: programs whose lost write cannot be looked for, as more others hold the
    like than were written. `unread`: how many could not be read."""

    late: list[int] = field(default_factory=list)
    replaced: dict[int, str] = field(default_factory=dict)
    many: list[int] = field(default_factory=list)
    unread: int = 0


def look_for(talk: Talk, lost: Mapping[int, Lost], known: Mapping[int, Held], shown: Mapping[int, str]) -> Found:
    """What became of the programs that a lost write may have reached.

    `lost`: program -> what was sent to it and did not get there. `known`: what programs held when they were read last.
    """
    found = Found()
    places = sorted({*reached_by_damage(talk.line, lost), *known})
    suspects: dict[int, Held] = {}
    at_a_glance = all(one.is_known_at_a_glance for one in lost.values())
    for count, number in enumerate(places):
        talk.tell(count, len(places), "programs looked at for a lost write", None)
        at_first = _glance(talk, number) if at_a_glance else None
        if at_first is not None and not _is_conspicuous(number, at_first, lost, known):
            continue
        try:
            version = read_program(talk, number)
        except (InstrumentRefused, NotUnderstood):
            found.unread += 1
            continue
        held = (version.values, version.name)
        if number in lost and held == lost[number].whole:
            found.late.append(number)
        elif _is_conspicuous(number, held, lost, known):
            suspects[number] = held
    _accuse(found, suspects, lost, known, shown)
    return found


def _accuse(
    found: Found, suspects: Mapping[int, Held], lost: Mapping[int, Lost], known: Mapping[int, Held],
    shown: Mapping[int, str],
) -> None:  # fmt: skip
    """Name the conspicuous programs that may hold a lost write, where they are no more than the writes that were lost.

    A memory often holds the same sound, or nearly the same, in many places.
    """
    alike: dict[int, dict[int, str]] = {}
    for number, held in suspects.items():
        seen = {other: words for other, one in lost.items() if other != number and (words := one.seen_in(held))}
        best = min(seen, key=lambda other: _WORDS.index(seen[other]), default=None)
        if number in known and (best is None or seen[best] != "what"):
            found.replaced[number] = "it was read back well, and was changed afterwards"
        elif best is not None:
            alike.setdefault(best, {})[number] = seen[best]
    for meant, places in alike.items():
        changed = {number: words for number, words in places.items() if number in known}
        are_many = len(places) > len(lost[meant].pieces)
        if are_many:
            found.many.append(meant)
        for number, words in (changed if are_many else places).items():
            holds = f"it holds {words} was sent to {shown[meant]}"
            found.replaced[number] = (
                f"{holds}, whose number was damaged on the way"
                if number in changed
                else f"{holds}: it did so before, or a number was damaged on the way"
            )


def _glance(talk: Talk, number: int) -> Held | None:
    """What one answer says that a program holds; None where it cannot be used, or there is none.

    It need not be sure: what is like something that was sent elsewhere is still so with a damaged byte.
    """
    way = program_way(talk.line, "request")
    try:
        reading = read(talk, way, **slots_of(talk.line, way.message, number))
    except (Unreadable, NoReply, ForeignOnly, EchoLoop, InstrumentRefused):
        return None
    return reading.values, reading.name


def _is_conspicuous(number: int, held: Held, lost: Mapping[int, Lost], known: Mapping[int, Held]) -> bool:
    """True for a program that is not what it was when it was read last, or is like what was sent elsewhere."""
    if number in known:
        return held != known[number]
    own = number in lost and held == lost[number].whole
    return own or any(one.seen_in(held) for other, one in lost.items() if other != number)
