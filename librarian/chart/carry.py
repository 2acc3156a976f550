"""A version carried from one revision of its chart to another: nothing is lost in silence.

What a revision cannot express stays with the values under `id@revision`; on the way back it is taken up again, as long
as nobody has changed the sound meanwhile.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from librarian.chart.chart import Chart
from librarian.chart.history import Change, Step
from librarian.errors import Refused
from librarian.messages import Origin, Values, Version


@dataclass(frozen=True, slots=True)
class CarriedRow:
    """What happened to a few parameters. `word`: same, renamed, rescaled, split, merged, added, removed, moved.

    `before`, `after`: their values, None where unknown. `exact`: nothing of the values is missing in the new revision.
    `restored`: the values were kept aside by an earlier carry and are taken up again.
    """

    word: str
    old: tuple[str, ...]
    new: tuple[str, ...]
    before: tuple[int | None, ...]
    after: tuple[int | None, ...]
    exact: bool
    restored: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Carried:
    """The version in its new revision, and what happened on the way, step by step."""

    version: Version
    rows: tuple[CarriedRow, ...]

    @property
    def lost(self) -> tuple[CarriedRow, ...]:
        """What the new revision cannot express; the values stay aside and in the version that was carried."""
        return tuple(row for row in self.rows if not row.exact)

    @property
    def sentence(self) -> str:
        """The whole in one sentence."""
        count = len(self.lost)
        if not count:
            return f"Carried to revision {self.version.revision}; every value found its place."
        return (
            f"Carried to revision {self.version.revision}; {count} of {len(self.rows)} could not be expressed exactly "
            f"and {'is' if count == 1 else 'are'} kept aside."
        )


def carry(version: Version, chart: Chart, to: int | None = None) -> Carried:
    """The version in revision `to` of the chart (its own revision if None).

    `chart` is the latest revision, which knows the history. Raises Refused where the history does not reach.
    """
    target = chart.revision if to is None else to
    if version.chart != chart.id:
        raise Refused(f"The version belongs to the chart {version.chart}, not to {chart.id}.", "Choose its own chart.")
    for revision in (version.revision, target):
        if revision != chart.revision and revision not in chart.revisions:
            raise Refused(
                f"The chart {chart.id}, revision {chart.revision}, does not tell how it came from revision {revision}.",
                "Add a [[history]] for every revision between them, or use the chart of that revision.",
            )
    values = dict(version.values)
    rows: list[CarriedRow] = []
    revision = version.revision
    while revision != target:
        forward = target > revision
        step = chart.history[revision + 1 if forward else revision]
        values = _carried(values, step, forward, rows)
        revision += 1 if forward else -1
    known = chart.ids_of(target)
    carried = Version(
        chart=version.chart,
        revision=target,
        values=Values(values),
        unknown=frozenset(name for name in known if name not in values),
        received=version.received if target == version.revision else (),
        origin=Origin("carried", f"from revision {version.revision} to {target}"),
        name=version.name,
        taken=version.taken,
    )
    return Carried(carried if rows or target != version.revision else version, tuple(rows))


def _carried(values: Mapping[str, int], step: Step, forward: bool, rows: list[CarriedRow]) -> dict[str, int]:
    here, there = (step.number - 1, step.number) if forward else (step.number, step.number - 1)
    found = {name: value for name, value in values.items() if "@" in name}
    changed = {name for change in step.changes for name in (change.old if forward else change.new)}
    for name in step.older if forward else step.newer:
        if name not in changed:
            known = values.get(name)
            if known is not None:
                found[name] = known
            rows.append(CarriedRow("same", (name,), (name,), (known,), (known,), True, False, ""))
    rows += [_one(change, values, found, forward, here, there) for change in step.changes]
    return found


def _one(
    change: Change, values: Mapping[str, int], found: dict[str, int], forward: bool, here: int, there: int
) -> CarriedRow:
    """Carry one change; `found` takes the new values, and what has to stay aside."""
    source, target = (change.old, change.new) if forward else (change.new, change.old)
    turn, back = (change.forward, change.back) if forward else (change.back, change.forward)
    before = tuple(values.get(name) for name in source)
    numbers = _known(before)
    complete = len(numbers) == len(before)
    aside = tuple(found.pop(f"{name}@{there}", None) for name in target)
    # What was kept is taken up again if the sound is still as that carry left it: unknown, or the same by `back`.
    untouched = not numbers or (complete and None not in aside and back(_known(aside)) == numbers)
    restored = bool(_known(aside)) and untouched
    after: tuple[int | None, ...]
    if restored:
        after = aside
    elif not source:
        after = (change.start,) * len(target) if forward else (None,) * len(target)
    else:
        turned = turn(numbers) if complete else None
        after = turned if turned is not None else (None,) * len(target)
    found.update({name: number for name, number in zip(target, after, strict=True) if number is not None})
    whole = _known(after)
    exact = not numbers or (complete and len(whole) == len(after) and bool(target) and back(whole) == numbers)
    if not exact:
        found.update(
            {f"{name}@{here}": number for name, number in zip(source, before, strict=True) if number is not None}
        )
    said = _sentence(change, source, target, exact, restored, there)
    return CarriedRow(change.word, source, target, before, after, exact, restored, said)


def _known(numbers: tuple[int | None, ...]) -> tuple[int, ...]:
    return tuple(number for number in numbers if number is not None)


def _sentence(
    change: Change, source: tuple[str, ...], target: tuple[str, ...], exact: bool, restored: bool, there: int
) -> str:
    old, new = " and ".join(source), " and ".join(target)
    note = f" {change.note}" if change.note else ""
    if restored:
        return f"{new}: taken up again as it was.{note}"
    if not target:
        return f"{old} is not in revision {there}; its value is kept aside.{note}"
    if not source:
        known = "is set to its first value" if change.start is not None else "is unknown"
        return f"{new} is new in revision {there} and {known}.{note}"
    became = f"{old} became {new}" if old != new else f"{new} is {change.word}"
    if exact:
        return f"{became}.{note}"
    return f"{became}, which cannot express the value exactly; the value before is kept aside.{note}"
