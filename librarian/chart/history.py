"""How one revision of a chart became the next, compiled: what each parameter's value becomes, forward and back."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from librarian.chart.language.history import ChangeTable, HistoryTable
from librarian.chart.nearest import nearest

Span = tuple[int, int]
Numbers = tuple[int, ...]
Turn = Callable[[Numbers], Numbers | None]
Report = Callable[[int, int | None, str, str], None]
"""Index of the history entry, index of the change in it, sentence, remedy."""
_MOST_TRIALS = 100_000
"""Values tried for all claims of losslessness of one chart together: enough for every value of a common one."""


@dataclass(frozen=True, slots=True)
class Change:
    """What became of a few parameters. `old`, `new`: their ids before and after, either may be empty.

    `forward`, `back`: their values; None where they cannot be expressed. `start`: value of an added one, or None.
    """

    word: str
    old: tuple[str, ...]
    new: tuple[str, ...]
    forward: Turn
    back: Turn
    start: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """From revision `number` − 1 to `number`. `older`, `newer`: every parameter of both, with its range."""

    number: int
    changes: tuple[Change, ...]
    older: Mapping[str, Span]
    newer: Mapping[str, Span]


class _Wrong(ValueError):  # noqa: N818 - what is wrong with a change
    """A change that cannot be; the second argument is the remedy."""


def build_history(
    tables: Sequence[HistoryTable], revision: int, spans: Mapping[str, Span], report: Report | None = None
) -> dict[int, Step]:
    """The steps that lead to `revision`, by number, walked back from its parameters `spans`.

    Faults are reported, and claims of losslessness tried, only where `report` is given. Steps before a faulty or
    missing one are left out.
    """
    claims = sum(change.lossless for table in tables for change in table.changes)
    trials = max(16, _MOST_TRIALS // max(claims, 1)) if report is not None else 0
    report = report if report is not None else _in_silence
    by_number: dict[int, int] = {}
    for index, table in enumerate(tables):
        if table.number > revision:
            said = f"The history tells of revision {table.number}, but the chart is revision {revision}."
            report(index, None, said, "Raise revision, or correct number.")
        elif table.number in by_number:
            report(index, None, f"The history tells of revision {table.number} twice.", "Put them together.")
        else:
            by_number[table.number] = index
    steps: dict[int, Step] = {}
    newer = dict(spans)
    for number in range(revision, 1, -1):
        if number not in by_number:
            break
        step = _step(tables[by_number[number]], by_number[number], newer, report, trials)
        if step is None:
            break
        steps[number] = step
        newer = dict(step.older)
    return steps


def _in_silence(*_: object) -> None:
    """Nobody to tell: the chart has been checked."""


def _step(table: HistoryTable, index: int, newer: Mapping[str, Span], report: Report, trials: int) -> Step | None:
    older = dict(newer)
    changes: list[Change] = []
    seen: set[str] = set()
    sound = True
    for number, change in enumerate(table.changes):
        try:
            built = _change(change, newer, older, seen, trials)
        except _Wrong as wrong:
            report(index, number, str(wrong.args[0]), str(wrong.args[1]))
            sound = False
            continue
        changes.append(built)
    return Step(table.number, tuple(changes), older, dict(newer)) if sound else None


def _change(
    table: ChangeTable, newer: Mapping[str, Span], older: dict[str, Span], seen: set[str], trials: int
) -> Change:
    """Compile one change; `older` is turned into the parameters before it."""
    word = table.word
    old, new = _ids(table)
    for name in new:
        if name not in newer:
            near = nearest(name, newer)
            remedy = f"Did you mean “{near}”?" if near else "Name a parameter of the later revision."
            raise _Wrong(f"The later revision has no parameter “{name[:60]}”.", remedy)
        if name in seen:
            raise _Wrong(f"Two changes tell of “{name[:60]}”.", "Put them into one.")
        seen.add(name)
    if len(set(old)) != len(old) or len(set(new)) != len(new):
        raise _Wrong("One parameter stands here twice.", "Name each once.")
    before = _spans_before(table, old, [newer[name] for name in new])
    after = [newer[name] for name in new]
    for name in new:
        del older[name]
    for name, span in zip(old, before, strict=True):
        if name in older:
            raise _Wrong(
                f"“{name[:60]}” is in both revisions, so it cannot also be what was before.", "Correct the id."
            )
        older[name] = span
    forward, back = _turns(table, before, after)
    if table.value is not None and not after[0][0] <= table.value <= after[0][1]:
        raise _Wrong(f"The value {table.value} is outside the range {after[0][0]} to {after[0][1]}.", "Correct it.")
    change = Change(word, old, new, forward, back, table.value, table.note)
    if table.lossless and trials:
        _check_claim(change, before, trials)
    return change


def _ids(table: ChangeTable) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if table.renamed is not None:
        return (table.renamed,), (table.to or "",)
    if table.rescaled is not None:
        return (table.rescaled,), (table.to or table.rescaled,)
    if table.split is not None:
        return (table.split,), tuple(table.into or ())
    if table.merged is not None:
        return tuple(table.merged), (table.to or "",)
    if table.added is not None:
        return (), (table.added,)
    if table.removed is not None:
        return (table.removed,), ()
    return (table.moved or "",), (table.moved or "",)


def _spans_before(table: ChangeTable, old: tuple[str, ...], after: list[Span]) -> list[Span]:
    ranges = table.ranges if table.ranges is not None else [table.was] * len(old) if table.was is not None else None
    if ranges is None:
        return after if old else []
    for low, high in ranges:
        if low >= high:
            raise _Wrong(f"The range {low} to {high} holds no two values.", "Write the lowest value first.")
    return [(low, high) for low, high in ranges]


def _turns(table: ChangeTable, before: list[Span], after: list[Span]) -> tuple[Turn, Turn]:
    word = table.word
    if word in {"renamed", "moved"}:
        return _same, _same
    if word in {"added", "removed"}:
        return (lambda _: () if not after else None), (lambda _: () if not before else None)
    if word == "rescaled":
        if table.points is not None:
            return _by_points(table.points, before[0], after[0])
        return _spread(before[0], after[0]), _spread(after[0], before[0])
    several, single = (after, before[0]) if word == "split" else (before, after[0])
    if table.by == "digits":
        apart, together = _digits(single, several)
    else:
        apart = _copies(single, several)
        together = _spread(several[0], single)
    return (apart, together) if word == "split" else (together, apart)


def _same(numbers: Numbers) -> Numbers:
    return numbers


def _spread(source: Span, target: Span) -> Turn:
    """The first number, from one range to another, half up; only whole numbers are used."""
    width, wide = source[1] - source[0], target[1] - target[0]

    def turn(numbers: Numbers) -> Numbers | None:
        number = numbers[0]
        if not source[0] <= number <= source[1]:
            return None
        return (target[0] + (2 * (number - source[0]) * wide + width) // (2 * width),)

    return turn


def _copies(source: Span, targets: list[Span]) -> Turn:
    turns = [_spread(source, target) for target in targets]

    def turn(numbers: Numbers) -> Numbers | None:
        found = [each(numbers) for each in turns]
        return None if any(each is None for each in found) else tuple(each[0] for each in found if each is not None)

    return turn


def _digits(single: Span, several: list[Span]) -> tuple[Turn, Turn]:
    sizes = [high - low + 1 for low, high in several]

    def apart(numbers: Numbers) -> Numbers | None:
        rest = numbers[0] - single[0]
        digits: list[int] = []
        for (low, _), size in zip(reversed(several), reversed(sizes), strict=True):
            digits.append(low + rest % size)
            rest //= size
        return None if rest else tuple(reversed(digits))

    def together(numbers: Numbers) -> Numbers | None:
        number = 0
        for digit, (low, high), size in zip(numbers, several, sizes, strict=True):
            if not low <= digit <= high:
                return None
            number = number * size + digit - low
        number += single[0]
        return (number,) if number <= single[1] else None

    return apart, together


def _by_points(points: list[list[int]], before: Span, after: Span) -> tuple[Turn, Turn]:
    olds, news = [point[0] for point in points], [point[1] for point in points]
    for row, span, said in ((olds, before, "before"), (news, after, "after")):
        if sorted(set(row)) != row:
            raise _Wrong(f"The values {said} in points do not rise.", "Order the points; let both sides rise.")
        if row[0] > span[0] or row[-1] < span[1]:
            raise _Wrong(f"The points {said} run from {row[0]} to {row[-1]}, the range from {span[0]} to {span[1]}.",
                         "Add points for both ends.")  # fmt: skip
    return _between(olds, news, after), _between(news, olds, before)


def _between(source: list[int], target: list[int], span: Span) -> Turn:
    def turn(numbers: Numbers) -> Numbers | None:
        number = numbers[0]
        if not source[0] <= number <= source[-1]:
            return None
        right = min(bisect_right(source, number), len(source) - 1)
        left = right - 1
        width, wide = source[right] - source[left], target[right] - target[left]
        found = target[left] + (2 * (number - source[left]) * wide + width) // (2 * width)
        return (min(max(found, span[0]), span[1]),)

    return turn


def _check_claim(change: Change, before: list[Span], most: int) -> None:
    """A claim of losslessness is tried on every value (at most `most`, evenly), of several on ends and middles."""
    if len(before) == 1:
        low, high = before[0]
        step = -(-(high - low) // most)
        trials: list[Numbers] = [(number,) for number in (*range(low, high + 1, step), high)]
    else:
        firsts = [(low, (low + high) // 2, high) for low, high in before]
        trials = [tuple(row[which] for row in firsts) for which in range(3)]
        trials += [tuple(row[2 if at == place else 0] for at, row in enumerate(firsts)) for place in range(len(firsts))]
    for trial in trials:
        there = change.forward(trial)
        if there is None or change.back(there) != trial:
            shown = ", ".join(str(number) for number in trial)
            raise _Wrong(f"This change is not lossless: {shown} does not come back.", "Leave lossless out.")
