"""Collects the messages of one dump as they arrive, in any order, and says what is still missing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.results import Recognised
from librarian.chart.dump.running.spread import Collected, SpreadForm
from librarian.messages import Address


class Gather(Protocol):
    """One dump on its way in."""

    def feed(self, raw: bytes) -> bool:
        """True: the message belongs to this dump. Raises `DumpRefused` when it does and is damaged."""
        ...

    @property
    def complete(self) -> bool:
        """Everything came."""
        ...

    @property
    def raws(self) -> tuple[bytes, ...]:
        """The messages that were taken, in order of arrival."""
        ...

    @property
    def missing(self) -> tuple[str, ...]:
        """What did not come yet, in words."""
        ...

    @property
    def total(self) -> int:
        """How many messages are expected."""
        ...


class WholeMessages:
    """One message, or one for every program of a bank. `number_of`: message -> its program number, None if untold."""

    def __init__(
        self,
        message: str,
        count: int,
        recognise: Callable[[bytes], Recognised | None],
        judge: Callable[[bytes], object],
        wanted: Mapping[str, int],
    ) -> None:
        self._message = message
        self._recognise = recognise
        self._judge = judge
        self._wanted = dict(wanted)
        self._found: dict[int, bytes] = {}
        self.total = count

    def feed(self, raw: bytes) -> bool:
        """Takes a message of the right kind, and for the right program if one was asked for."""
        what = self._recognise(raw)
        if what is None or what.message != self._message or what.form == "request":
            return False
        if any(what.slots.get(word, value) != value for word, value in self._wanted.items()):
            return False
        self._judge(raw)
        number = what.slots.get("program", len(self._found)) if self.total > 1 else 0
        self._found[number] = raw
        return True

    @property
    def complete(self) -> bool:
        """All came."""
        return len(self._found) >= self.total

    @property
    def raws(self) -> tuple[bytes, ...]:
        """In order of arrival."""
        return tuple(self._found.values())

    @property
    def missing(self) -> tuple[str, ...]:
        """Programs that did not come."""
        if self.total == 1:
            return () if self._found else ("the dump",)
        return tuple(f"program {number}" for number in range(self.total) if number not in self._found)


class Pieces:
    """One dump in several messages. `ack` and `nak` are what the handshake of the chart answers, None without one."""

    def __init__(self, form: SpreadForm, address: Address, wanted: Mapping[str, int]) -> None:
        self._form = form
        self._address = address
        self._collected: Collected = form.start()
        self._wanted = {word: value for word, value in wanted.items() if word[0] != "#"}
        self._wanted.setdefault(CHANNEL, address.channel)
        self.total = len(form.cutting.pieces(wanted))

    def feed(self, raw: bytes) -> bool:
        """Takes a message of this dump; one that comes twice replaces the first."""
        form = self._form
        if form.around(raw, self._address) is None and not form.begins(raw, self._address):
            return False
        read = form.read(raw, self._address)
        told = {**read.content.slots, **form.cutting.slots(read.content.slots)}
        told.setdefault(CHANNEL, self._address.channel)
        if any(told.get(word, value) != value for word, value in self._wanted.items()):
            return False
        if raw in self._collected.raws:
            return True
        form.add(self._collected, raw, self._address, read)
        return True

    @property
    def complete(self) -> bool:
        """Every byte came, and the end frame if the chart has one."""
        return self._collected.complete and (self._form.end is None or self._collected.ended)

    @property
    def raws(self) -> tuple[bytes, ...]:
        """In order of arrival."""
        return tuple(self._collected.raws)

    @property
    def missing(self) -> tuple[str, ...]:
        """Packets or addresses that did not come."""
        missing = tuple(self._form.missing(self._collected))
        return missing if missing or self.complete else ("the end",)


class AnyVersion:
    """One dump in several messages whose version may show late: all versions that are still possible."""

    def __init__(self, usual: Pieces, others: Sequence[Pieces]) -> None:
        self._possible = [usual, *others]

    def feed(self, raw: bytes) -> bool:
        """Takes a message that any version takes, and forgets those that do not."""
        taken: list[Pieces] = []
        refused: list[DumpRefused] = []
        for each in self._possible:
            try:
                if each.feed(raw):
                    taken.append(each)
            except DumpRefused as problem:
                refused.append(problem)
        if taken:
            self._possible = taken
        elif refused:
            raise next((each for each in refused if each.reason != "version"), refused[0])
        return bool(taken)

    @property
    def _first(self) -> Pieces:
        return next((each for each in self._possible if each.complete), self._possible[0])

    @property
    def complete(self) -> bool:
        """Everything of one version came."""
        return self._first.complete

    @property
    def raws(self) -> tuple[bytes, ...]:
        """In order of arrival."""
        return self._first.raws

    @property
    def missing(self) -> tuple[str, ...]:
        """What did not come of the version that is likeliest."""
        return self._first.missing

    @property
    def total(self) -> int:
        """How many messages that version has."""
        return self._first.total


class Sequenced:
    """Messages of different kinds that are one sound together: a gatherer for each."""

    def __init__(self, members: Sequence[Gather]) -> None:
        self._members = members

    def feed(self, raw: bytes) -> bool:
        """Takes a message of any of them."""
        return any(each.feed(raw) for each in self._members)

    @property
    def complete(self) -> bool:
        """All of them came."""
        return all(each.complete for each in self._members)

    @property
    def raws(self) -> tuple[bytes, ...]:
        """One kind after another."""
        return tuple(raw for each in self._members for raw in each.raws)

    @property
    def missing(self) -> tuple[str, ...]:
        """What did not come of any of them."""
        return tuple(what for each in self._members for what in each.missing)

    @property
    def total(self) -> int:
        """How many messages are expected."""
        return sum(each.total for each in self._members)


def pieces_of(
    several: Sequence[SpreadForm], usual: SpreadForm | None, address: Address, wanted: Mapping[str, int]
) -> Gather:
    """The gatherer of a dump in several messages, in any version."""
    first = usual if usual is not None else several[0]
    others = [Pieces(each, address, wanted) for each in several if each is not first]
    return AnyVersion(Pieces(first, address, wanted), others) if others else Pieces(first, address, wanted)


def refuse_incomplete(message: str, missing: tuple[str, ...]) -> DumpRefused:
    """The refusal of a dump of which parts did not come."""
    shown = ", ".join(missing[:4]) + (f" and {len(missing) - 4} more" if len(missing) > 4 else "")
    return DumpRefused("incomplete", f"The {message} dump is not complete: {shown} did not come.", "Ask for it again.")
