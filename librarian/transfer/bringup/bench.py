"""What every check of a bring-up uses: try something, read back, note the outcome with the bytes that led to it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from random import Random

from librarian.chart import Chart, Parameter, Way
from librarian.messages import Values, Version
from librarian.transfer.bank import program_way, single_programs
from librarian.transfer.bringup.report import Finding
from librarian.transfer.read import askable, read
from librarian.transfer.reading import Reading, Unreadable
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply
from librarian.transfer.unasked import starts_its_dump
from librarian.transfer.wholebank import bank_way

# Of a failure no more messages than these are kept each way: the first ones and the last ones.
_MOST_BYTES = 12
_TRIES = 3

Trouble = (Unreadable, NoReply, ForeignOnly, EchoLoop, InstrumentRefused)
"""What a question may end in besides an answer."""


class Unproved(Exception):  # noqa: N818 - a signal inside this room: the check cannot go on
    """The instrument could not be read back; `reason` says why."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


KeepBefore = Callable[[str, Version], object]
"""Keeps what is about to be written over: '' and the sound in the edit buffer, or "program 64" and what it holds."""

Lose = Callable[[str], object]
"""Is told in a sentence what of the sound will be lost, before anything is sent over it. It raises to prevent that."""


class Bench:
    """One bring-up under way."""

    def __init__(self, talk: Talk, seed: int) -> None:
        self.talk = talk
        self.dice = Random(seed)
        self.findings: list[Finding] = []
        self.measured: list[tuple[str, str]] = []
        self.roads = askable(talk.line)
        self.readable = frozenset(name for road in self.roads for name in road.carries)
        self.by_memory: frozenset[str] = frozenset()
        """What was written into a program of its memory and read back from there."""
        talk.trace = []

    @property
    def chart(self) -> Chart:
        """The chart that the instrument is held against."""
        return self.talk.line.chart

    @property
    def parameters(self) -> Mapping[str, Parameter]:
        """All parameters by id."""
        return self.chart.parameters

    @property
    def stored(self) -> Way | None:
        """The dump by which its memory is asked for, one program before a whole bank; None where there is none."""
        line = self.talk.line
        return program_way(line, "request") if single_programs(line, "request") else bank_way(line, "request")

    @property
    def unproved(self) -> tuple[str, ...]:
        """Ids that the chart can set and of which nothing says whether they arrive, in the order of the chart."""
        codec = self.chart.codec
        set_by = {*codec.carried(), *codec.single_ids, *(name for way in self.chart.ways_out for name in way.carries)}
        return tuple(name for name in self.chart.order if name in set_by - self.readable - self.by_memory)

    # -- noting -------------------------------------------------------------------------------------------------------

    def begin(self) -> None:
        """The bytes from here on belong to the next finding."""
        if self.talk.trace is not None:
            self.talk.trace.clear()

    def passed(self, check: str, subject: str = "") -> None:
        """It is as the chart says."""
        self.findings.append(Finding(check, subject, "passed"))

    def failed(self, check: str, subject: str, expected: str, got: str, side: str = "the instrument") -> None:
        """It is not; the bytes since `begin` are kept with it."""
        trace = self.talk.trace or []
        sent = _some(raw.hex(" ").upper() for way, raw in trace if way == "out")
        received = _some(raw.hex(" ").upper() for way, raw in trace if way == "in")
        self.findings.append(Finding(check, subject, "failed", expected, got, side, sent, received))

    def not_tried(self, check: str, why: str, subject: str = "") -> None:
        """It could not be tried, and why."""
        self.findings.append(Finding(check, subject, "not tried", got=why))

    def provable(self, check: str, ids: Iterable[str]) -> list[str]:
        """Those of `ids` that can be read back; of the others the report says why they are not tried."""
        names = list(ids)
        found = [name for name in names if name in self.readable]
        if names and not self.roads:
            self.not_tried(check, self._why_unreadable())
        elif names and not found:
            self.not_tried(check, "nothing that can be asked for tells their values")
        else:
            for name in names:
                if name not in self.readable:
                    self.not_tried(check, "nothing that can be asked for tells its value", self.named(name))
        return found

    def _why_unreadable(self) -> str:
        if self.stored is not None:
            return "it cannot be read back: only its memory can be asked for, not its edit buffer"
        if starts_its_dump(self.chart):
            return "it cannot be read back: its dump is started on the instrument, and nothing asks for it"
        return "it cannot be read back: the chart knows no request for its sound"

    def noted(self, well: bool, check: str, subject: str, expected: str, got: str) -> None:
        """Passed or failed."""
        if well:
            self.passed(check, subject)
        else:
            self.failed(check, subject, expected, got)

    # -- reading ------------------------------------------------------------------------------------------------------

    def read_once(self, way: Way | None = None) -> Reading:
        """One answer, taken at its word. Raises one of `Trouble`."""
        return read(self.talk, way if way is not None else self.roads[0])

    def read(self, way: Way | None = None) -> Reading:
        """An answer, asked for again a few times; without `way` all that the ways of the chart bring together.

        Raises Unproved when none comes.
        """
        if way is not None:
            return self._read(way)
        first = self._read(self.roads[0])
        values = first.values
        for road in self.roads[1:]:
            if road.carries - set(values):
                more = self._read(road).values
                values = values.with_values({name: value for name, value in more.items() if name not in values})
        return replace(first, values=values)

    def _read(self, way: Way) -> Reading:
        problem: Exception | None = None
        for _ in range(_TRIES):
            try:
                return self.read_once(way)
            except Trouble as trouble:
                problem = trouble
        reason = problem.reason if isinstance(problem, Unreadable) else str(problem)
        raise Unproved(reason)

    # -- writing and comparing ----------------------------------------------------------------------------------------

    def value_sets(self, ids: Iterable[str], extra: int = 2) -> list[tuple[str, dict[str, int]]]:
        """What to try: the lowest, the highest, the middle, and `extra` random values of every parameter, if any."""
        # In the order of the chart: a set has another one in each process, and the same seed would throw other values.
        wanted = frozenset(ids)
        names = [name for name in self.chart.order if name in wanted]
        if not names:
            return []
        of = self.parameters
        sets = [
            ("lowest", {name: of[name].low for name in names}),
            ("highest", {name: of[name].high for name in names}),
            ("middle", {name: (of[name].low + of[name].high) // 2 for name in names}),
        ]
        for number in range(1, extra + 1):
            thrown = {name: self.dice.randint(of[name].low, of[name].high) for name in names}
            sets.append((f"value {number}", thrown))
        return sets

    def some_values(self, ids: Iterable[str]) -> dict[str, int]:
        """A random value for each of these parameters."""
        return self.value_sets(ids, 1)[-1][1]

    def named(self, name: str) -> str:
        """A parameter as the subject of a finding: label and id."""
        return f"{self.parameters[name].label} ({name})"

    def shown(self, name: str, value: int | None) -> str:
        """A value for the report: display text and raw number."""
        return "nothing" if value is None else f"{self.parameters[name].display(value)} ({value})"

    def compare(
        self,
        check: str,
        which: str,
        wanted: Mapping[str, int],
        again: Callable[[str, int], Reading | None] | None = None,
    ) -> None:
        """Read back; a parameter that differs is tried once more alone (`again`) before it counts as failed."""
        held = self.read().values
        for name, value in wanted.items():
            subject = f"{self.named(name)}, {which}"
            if held.get(name) == value:
                self.passed(check, subject)
                continue
            if again is not None:
                self.begin()
            alone = again(name, value) if again is not None else None
            got = held.get(name) if alone is None else alone.values.get(name)
            if alone is not None and got == value:
                self.passed(check, subject)
            else:
                self.failed(check, subject, self.shown(name, value), self.shown(name, got))

    def unchanged(self, before: Values, check: str, subject: str, what: str) -> None:
        """After something that must have no effect: the instrument still answers and holds the same."""
        try:
            after = self.read().values
        except Unproved as problem:
            self.failed(check, subject, f"{what} is ignored", problem.reason)
            return
        changed = [name for name in before if after.get(name) != before[name]]
        if changed:
            first = changed[0]
            to = self.shown(first, after.get(first))
            got = f"{len(changed)} parameters changed, {self.parameters[first].label} to {to}"
            self.failed(check, subject, f"{what} is ignored", got)
        else:
            self.passed(check, subject)


def _some(lines: Iterable[str]) -> tuple[str, ...]:
    found = list(lines)
    if len(found) <= _MOST_BYTES:
        return tuple(found)
    half = _MOST_BYTES // 2
    return (*found[:half], f"… {len(found) - 2 * half} more …", *found[-half:])
