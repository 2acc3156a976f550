"""Messages and layouts of groups written out: one of each for every round, before anything is judged.

They become ordinary entries of `[message]` and `[layout]`; their faults are told where the group was written.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from typing import Any

from librarian.chart.faults import Path
from librarian.chart.language.extend import ChartText
from librarian.chart.language.trouble import Place, Trouble

MOST_ROUNDS = 128
_MOST_WORK = 1_000_000
"""Values and texts (by sixteen characters) that one group may become."""
_DEEPEST = 32
_TABLES = ("layout", "message")
_FRAMES = {"request", "answer", "write", "begin", "end", "holds", "start", "ack", "nak", "wait", "cancel"}
"""Keys whose texts are bytes in hexadecimal: an index in them is one byte."""
_INDEX = re.compile(r"\{([A-Za-z0-9_]+)(?:([+-])([0-9]{1,5}))?\}")


def multiply(whole: ChartText, trouble: Trouble) -> ChartText:
    """The chart with the messages and layouts of its groups among the others; the same where it has none."""
    groups = whole.data.get("group")
    listed = groups if isinstance(groups, list) else []
    if not any(key in each for each in listed if isinstance(each, dict) for key in _TABLES):
        return whole
    return _Multiplied(whole, trouble).text(listed)


class _Multiplied:
    def __init__(self, whole: ChartText, trouble: Trouble) -> None:
        self.whole, self.trouble = whole, trouble
        self.written: dict[Path, tuple[Path, bool]] = {}
        """Path of an entry -> where it was written, and whether an earlier round came from the same place."""
        self.names: dict[str, list[str]] = {}
        """Name of a message as written in a group -> its names in all rounds."""

    def text(self, groups: list[Any]) -> ChartText:
        """The whole chart, written out."""
        data = dict(self.whole.data)
        data.update({key: dict(data[key]) for key in _TABLES if isinstance(data.get(key), dict)})
        data["group"] = [
            self.group(index, each, data) if isinstance(each, dict) else each for index, each in enumerate(groups)
        ]
        self.sequences(data)
        return replace(self.whole, data=data, where=self.where(self.whole.where), order=self.order(self.whole.order))

    def group(self, index: int, group: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
        """The group without what was written out."""
        spans = _spans(group.get("repeat"))
        if spans is None:
            return group  # its faults are told when the group itself is judged
        count = 1
        for span in spans.values():
            count *= len(span)
        rest = dict(group)
        for key in _TABLES:
            named = group.get(key)
            if not isinstance(named, dict) or not isinstance(data.get(key, {}), dict):
                continue
            size = _size(named)
            if size is None:
                continue  # no table of the language is so deep: its faults are told where it stands
            del rest[key]
            if count > MOST_ROUNDS or count * size > _MOST_WORK:
                said = f"The {key}s of this group would be written {count:,} times, which is too much for their size."
                self.trouble.add(("group", index, key), said, f"Repeat it less often, at most {MOST_ROUNDS} times.")
                self.names.update({name: [] for name in named if key == "message"})
                continue
            for name, table in named.items():
                path: Path = ("group", index, key, name)
                self.written_out(path, name, table, spans, data.setdefault(key, {}))
        return rest

    def written_out(self, path: Path, name: str, table: Any, spans: dict[str, range], into: dict[str, Any]) -> None:
        """One message or layout, for every round."""
        key = str(path[2])
        for number, values in enumerate(product(*spans.values())):
            at = dict(zip(spans, values, strict=True))
            round_name = self.filled(path, name, at, frame=False)
            if round_name in into:
                if round_name == name and number:
                    said = f"This {key} has the same name, “{name[:60]}”, in every round."
                    remedy = f"Put the index into its name, such as {name[:40]}{{{next(iter(at))}}}."
                else:
                    said = f"There is a {key} “{round_name[:60]}” already."
                    remedy = "Give one of them another name."
                self.trouble.add(path, said, remedy)
                self.names[name] = []
                return
            into[round_name] = self.copy(path, table, at, frame=False)
            self.written[key, round_name] = (path, number > 0)
            if key == "message":
                self.names.setdefault(name, []).append(round_name)

    def copy(self, path: Path, value: Any, at: dict[str, int], *, frame: bool) -> Any:
        """The value with its indices filled in, also in the keys of tables."""
        if isinstance(value, str):
            return self.filled(path, value, at, frame=frame)
        if isinstance(value, list):
            return [self.copy((*path, place), each, at, frame=frame) for place, each in enumerate(value)]
        if isinstance(value, dict):
            return {
                self.filled((*path, key), key, at, frame=False): self.copy(
                    (*path, key), each, at, frame=key in _FRAMES and isinstance(each, str)
                )
                for key, each in value.items()
            }
        return value

    def filled(self, path: Path, text: str, at: dict[str, int], *, frame: bool) -> str:
        """`{n}`, `{n-1}` and the like replaced: a number in names, one byte in frames."""

        def number(found: re.Match[str]) -> str:
            name, sign, more = found.groups()
            if name not in at:
                return found[0]  # a part of the frame, or an index of the layout's own
            value = at[name] + int(f"{sign}{more}" if sign else 0)
            if not frame:
                return str(value)
            if not 0 <= value <= 0x7F:
                said = f"{found[0]} is {value} at {_said(at)}, which is no data byte."
                self.trouble.add(path, said, "A byte between the first and the last runs from 0 to 127.")
                return "00"
            return f"{value:02X}"

        return _INDEX.sub(number, text)

    def sequences(self, data: dict[str, Any]) -> None:
        """A sequence that names a message as its group writes it means all of its rounds."""
        messages = data.get("message")
        if not isinstance(messages, dict):
            return
        for name, table in messages.items():
            listed = table.get("sequence") if isinstance(table, dict) else None
            if not isinstance(listed, list) or not any(isinstance(each, str) and each in self.names for each in listed):
                continue
            messages[name] = {**table, "sequence": list(self.all_rounds(("message", name, "sequence"), listed))}
            if not messages[name]["sequence"]:  # of messages that were not written out, which has been told
                del messages[name]["sequence"]

    def all_rounds(self, path: Path, listed: list[Any]) -> Iterator[Any]:
        """The members of a sequence; where each was written is kept."""
        count = 0
        for index, each in enumerate(listed):
            rounds = self.names.get(each, [each]) if isinstance(each, str) else [each]
            for number, one in enumerate(rounds):
                self.written[*path, count] = ((*path, index), number > 0)
                count += 1
                yield one

    def origin(self, path: Path) -> tuple[Path, bool]:
        """Where a path was written, and whether an earlier round has it as well."""
        for length in (3, 2, 4):
            found = self.written.get(path[:length]) if len(path) >= length else None
            if found is not None:
                return (*found[0], *path[length:]), found[1]
        return path, False

    def where(self, inner: Callable[[Path], Place]) -> Callable[[Path], Place]:
        """Places of paths that may have been written out."""

        def place(path: Path) -> Place:
            written, again = self.origin(path)
            return inner(written)._replace(again=again)

        return place

    def order(self, inner: Callable[[Path], int]) -> Callable[[Path], int]:
        """The order of paths that may have been written out."""
        return lambda path: inner(self.origin(path)[0])


def _spans(repeat: object) -> dict[str, range] | None:
    """The indices of a group; None where they are not written as they should be."""
    if not isinstance(repeat, dict) or not repeat:
        return None
    spans = {}
    for name, span in repeat.items():
        if not isinstance(span, list) or len(span) != 2 or not all(type(each) is int for each in span):
            return None
        if not -1024 <= span[0] <= span[1] <= 65_536:
            return None
        spans[name] = range(span[0], span[1] + 1)
    return spans


def _size(value: object) -> int | None:
    """How much there is to copy; None where tables are nested deeper than the language goes."""
    size, waiting = 0, [(value, 0)]
    while waiting:
        here, depth = waiting.pop()
        if depth > _DEEPEST:
            return None
        size += 1 + (len(here) // 16 if isinstance(here, str) else 0)
        inner = [*here.keys(), *here.values()] if isinstance(here, dict) else here if isinstance(here, list) else ()
        waiting += [(each, depth + 1) for each in inner]
    return size


def _said(at: dict[str, int]) -> str:
    return ", ".join(f"{name} = {number}" for name, number in at.items())
