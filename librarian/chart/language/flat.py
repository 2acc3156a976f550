"""Groups expanded: the sections and parameters of a chart as flat lists, each with the place it was written at."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

from librarian.chart.faults import Path
from librarian.chart.language.panel import GroupTable, SectionTable
from librarian.chart.language.parameters import BindingTable, ParameterTable
from librarian.chart.language.root import MOST_ENTRIES
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble
from librarian.chart.nearest import nearest

Indices = dict[str, int]


@dataclass(frozen=True, slots=True)
class FlatSection:
    """A section and where it was written."""

    path: Path
    table: SectionTable


@dataclass(frozen=True, slots=True)
class FlatParameter:
    """A parameter and where it was written."""

    path: Path
    table: ParameterTable


@dataclass(slots=True)
class Flat:
    """Sections and parameters in the order of the file."""

    sections: list[FlatSection] = field(default_factory=list)
    parameters: list[FlatParameter] = field(default_factory=list)


def flatten(sifted: Sifted, offset: dict[Path, int], trouble: Trouble) -> Flat:
    """Expand all groups. `offset`: where each entry stands in the file; it decides the order."""
    flat = Flat()
    found: list[tuple[int, list[FlatSection], list[FlatParameter]]] = []
    for index, section in enumerate(sifted.table.section):
        path = sifted.path("section", index)
        found.append((offset.get(path, 0), [FlatSection(path, section)], []))
    for index, parameter in enumerate(sifted.table.parameter):
        path = sifted.path("parameter", index)
        found.append((offset.get(path, 0), [], [FlatParameter(path, _alone(path, parameter, trouble))]))
    room = MOST_ENTRIES - len(found)
    for index, group in enumerate(sifted.table.group):
        path = sifted.path("group", index)
        rounds = _rounds(group, path, trouble)
        size = len(rounds) * (len(group.section) + len(group.parameter))
        if size > room or not rounds:
            sifted.broken_tables.add("group")  # so that what is missing now is not reported as well
        if size > room:
            trouble.add(
                (*path, "repeat"),
                f"This group becomes {size:,} entries; a chart has at most {MOST_ENTRIES:,}.",
                "Repeat it less often.",
            )
            continue
        room -= size
        found.append((offset.get(path, 0), *_expand(sifted, path, group, rounds, trouble)))
    for _, sections, parameters in sorted(found, key=lambda entry: entry[0]):
        flat.sections += sections
        flat.parameters += parameters
    return flat


def _alone(path: Path, parameter: ParameterTable, trouble: Trouble) -> ParameterTable:
    """A parameter outside any group may not speak of indices."""
    for key in ("id", "section"):
        if "{" in getattr(parameter, key):
            said = f"“{getattr(parameter, key)[:60]}” names an index, but stands in no group."
            trouble.add((*path, key), said, "Write a plain id, or put it into a [[group]].")
    for number, binding in enumerate(parameter.bindings):
        for key in ("step", "channel_step"):
            if getattr(binding, key) is not None:
                trouble.add(
                    (*path, "bindings", number, key), f"“{key}” has no meaning outside a group.", "Leave it out."
                )
    return parameter


def _rounds(group: GroupTable, path: Path, trouble: Trouble) -> list[Indices]:
    names = list(group.repeat)
    count = 1
    for name, (first, last) in group.repeat.items():
        if last < first:
            trouble.add(
                (*path, "repeat", name), f"The index {name} runs from {first} to {last}.", "Write the lower first."
            )
            return []
        count *= last - first + 1
    if count > MOST_ENTRIES:
        trouble.add(
            (*path, "repeat"),
            f"This group is repeated {count:,} times; at most {MOST_ENTRIES:,} are possible.",
            "Repeat it less often.",
        )
        return []
    spans = [range(first, last + 1) for first, last in group.repeat.values()]
    return [dict(zip(names, numbers, strict=True)) for numbers in product(*spans)]


def _expand(
    sifted: Sifted, path: Path, group: GroupTable, rounds: list[Indices], trouble: Trouble
) -> tuple[list[FlatSection], list[FlatParameter]]:
    sections: list[FlatSection] = []
    parameters: list[FlatParameter] = []
    first = {name: span[0] for name, span in group.repeat.items()}
    section_paths = sifted.paths.get((*path, "section"), [])
    parameter_paths = sifted.paths.get((*path, "parameter"), [])
    for at in rounds:
        maker = _Maker(at, {name: at[name] - first[name] for name in at}, trouble)
        for where, section in zip(section_paths, group.section, strict=True):
            sections.append(FlatSection(where, maker.section(where, section)))
        for where, parameter in zip(parameter_paths, group.parameter, strict=True):
            parameters.append(FlatParameter(where, maker.parameter(where, parameter)))
    return sections, parameters


class _Maker:
    """Writes the entries of one round: `at` the indices, `steps` how often each has grown."""

    def __init__(self, at: Indices, steps: Indices, trouble: Trouble) -> None:
        self.at, self.steps, self.trouble = at, steps, trouble

    def text(self, path: Path, key: str, template: str | None) -> str | None:
        if template is None or "{" not in template:
            return template
        text = template
        for name, number in self.at.items():
            text = text.replace("{" + name + "}", str(number))
        if "{" in text:
            wrong = text[text.index("{") + 1 :].partition("}")[0]
            near = nearest(wrong, self.at) or next(iter(self.at))
            self.trouble.add(
                (*path, key),
                f"“{template[:60]}” names an index that this group does not have.",
                f"Write “{{{near}}}”.",
                echo=True,
            )
        return text

    def section(self, path: Path, table: SectionTable) -> SectionTable:
        grown = self.grow((*path, "row_step"), table.row_step)
        return table.model_copy(
            update={
                "id": self.text(path, "id", table.id),
                "label": self.text(path, "label", table.label),
                "row": table.row + grown,
            }
        )

    def parameter(self, path: Path, table: ParameterTable) -> ParameterTable:
        return table.model_copy(
            update={
                **{
                    key: self.text(path, key, getattr(table, key))
                    for key in ("id", "label", "short", "section", "beside")
                },
                "bindings": [
                    self.binding((*path, "bindings", number), binding) for number, binding in enumerate(table.bindings)
                ],
            }
        )

    def grow(self, path: Path, step: int | dict[str, int] | None) -> int:
        """What a number grows by in this round."""
        if step is None:
            return 0
        if isinstance(step, int):
            if len(self.steps) > 1:
                self.trouble.add(
                    path,
                    "This group has more than one index, so one step is not enough.",
                    "Write a step for each: { " + ", ".join(f"{n} = …" for n in self.steps) + " }.",
                )
            return step * next(iter(self.steps.values()))
        for name in step:
            if name not in self.steps:
                self.trouble.add(
                    (*path, name), f"This group has no index “{name[:40]}”.", f"It has: {', '.join(self.steps)}."
                )
        return sum(size * self.steps.get(name, 0) for name, size in step.items())

    def binding(self, path: Path, table: BindingTable) -> BindingTable:
        by = self.grow((*path, "step"), table.step)
        channel_by = self.grow((*path, "channel_step"), table.channel_step)
        update: dict[str, object] = {}
        if by and table.program is None:
            kind = table.travels
            number = table.number if kind in {"nrpn", "rpn"} else getattr(table, kind)
            grown = [half + by for half in number] if isinstance(number, list) else number + by
            top = 16383 if kind in {"nrpn", "rpn"} else 31 if kind == "cc14" and isinstance(number, int) else 127
            numbers = grown if isinstance(grown, list) else [grown]
            if not all(0 <= one <= top for one in numbers):
                self.trouble.add(
                    path,
                    f"With its step, {kind} becomes {max(numbers)} at {self._round()}; it ends at {top}.",
                    "Choose a smaller step, or fewer rounds.",
                    echo=True,
                )
            else:
                update[kind] = grown
        if channel_by:
            key = "channel" if table.channel is not None else "channel_offset"
            low, high = (1, 16) if key == "channel" else (0, 15)
            channel = getattr(table, key) + channel_by
            if not low <= channel <= high:
                self.trouble.add(
                    (*path, "channel_step"),
                    f"With its step, {key} becomes {channel} at {self._round()}.",
                    f"It runs from {low} to {high}.",
                    echo=True,
                )
            else:
                update[key] = channel
        return table.model_copy(update=update) if update else table

    def _round(self) -> str:
        return ", ".join(f"{name} = {number}" for name, number in self.at.items())
