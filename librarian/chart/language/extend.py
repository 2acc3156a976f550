"""A chart that varies another one: local files only, no cycles, nothing outside the folder of the chart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from librarian.chart.faults import ChartFaults, Fault, Path
from librarian.chart.language.read import TomlText, parse, read_file
from librarian.chart.language.trouble import Place
from librarian.errors import LibrarianError

MOST_ANCESTORS = 8
_BY_ID = ("section", "parameter", "group", "selector")
_OWN = ("id", "name", "revision", "history", "extends")
"""What a chart says of itself alone and does not hand on."""


@dataclass(frozen=True, slots=True)
class ChartText:
    """The values of a chart with all that it extends. `where`: place of a path; `order`: where it comes in the whole.

    `sources`: the files it was put together from, the chart itself last. `size`: what `order` stays below.
    """

    data: dict[str, Any]
    where: Callable[[Path], Place]
    order: Callable[[Path], int]
    sources: tuple[str, ...]
    size: int
    text: str


def whole_text(text: str, source: str, folder: FilePath | None) -> ChartText:
    """Read a chart text and everything that it extends. `folder`: where its file lies, None when it is no file.

    Raises ChartFaults for syntax faults of any of the files, and for an `extends` that cannot be followed.
    """
    return _follow(parse(text, source), folder, (source,))


def _follow(toml: TomlText, folder: FilePath | None, chain: tuple[str, ...]) -> ChartText:
    own = _alone(toml)
    wanted = toml.data.get("extends")
    if not isinstance(wanted, str):
        return own
    base = _base_text(toml, wanted, folder, chain)
    return _merge(_follow(base, folder, (*chain, wanted)), own)


def _alone(toml: TomlText) -> ChartText:
    places = toml.places
    return ChartText(
        toml.data,
        lambda path: Place(toml.source, *places.at(path)),
        places.offset,
        (toml.source,),
        len(toml.text) + 1,
        toml.text,
    )


def _base_text(toml: TomlText, wanted: str, folder: FilePath | None, chain: tuple[str, ...]) -> TomlText:
    def fault(sentence: str, remedy: str) -> ChartFaults:
        line, column = toml.places.at(("extends",))
        return ChartFaults((Fault(line, column, "extends", sentence, remedy, toml.source),))

    shown = wanted[:80]
    if folder is None:
        raise fault("A chart that is no file cannot extend another.", "Save it beside the chart that it extends.")
    plain = wanted == FilePath(wanted).name and "\\" not in wanted and "\0" not in wanted and ":" not in wanted
    if not plain or not wanted.endswith(".toml") or wanted.startswith("."):
        raise fault(f"“{shown}” is not the name of a chart file in the same folder.", "Write a name such as base.toml.")
    path = folder / wanted
    if path.resolve().parent != folder.resolve():
        raise fault(f"“{shown}” leads out of the folder of this chart.", "Copy the file into the folder.")
    if wanted in chain:
        raise fault(f"The charts extend each other in a circle: {' → '.join((*chain, wanted))}.", "Break the circle.")
    if len(chain) > MOST_ANCESTORS:
        raise fault(f"More than {MOST_ANCESTORS} charts extend each other.", "Put some of them together.")
    try:
        text = read_file(path)
    except ChartFaults:
        raise
    except LibrarianError as error:
        raise fault(str(error), error.hint) from None
    return parse(text, wanted)


@dataclass(slots=True)
class _Merged:
    """Where each part of a merged chart comes from: the longest path that is listed decides."""

    origins: dict[Path, tuple[ChartText, Path]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def origin(self, path: Path) -> tuple[ChartText, Path]:
        """The text that a path stands in, and its path there."""
        for length in range(len(path), -1, -1):
            found = self.origins.get(path[:length])
            if found is not None:
                return found[0], (*found[1], *path[length:])
        raise KeyError(path)


def _merge(base: ChartText, own: ChartText) -> ChartText:
    merged = _Merged()
    merged.origins[()] = (own, ())
    kept = {key: value for key, value in base.data.items() if key not in _OWN}
    added = {key: value for key, value in own.data.items() if key != "extends"}
    data = _tables(merged, (), (base, (), kept), (own, (), added))
    for key in ("id", "name"):
        if key not in data:
            place = own.where(("extends",))
            merged.faults.append(
                Fault(
                    place.line,
                    place.column,
                    key,
                    f"A chart that extends another needs its own {key}.",
                    f"Add {key} = “…”.",
                    place.source,
                )
            )
    if merged.faults:
        raise ChartFaults(tuple(merged.faults))

    def where(path: Path) -> Place:
        text, there = merged.origin(path)
        return text.where(there)

    def order(path: Path) -> int:
        text, there = merged.origin(path)
        return base.order(there) if text is base else base.size + text.order(there)

    return ChartText(data, where, order, (*base.sources, *own.sources), base.size + own.size, "")


_Side = tuple[ChartText, Path, Any]


def _tables(merged: _Merged, path: Path, base: _Side, own: _Side) -> dict[str, Any]:
    """Two tables in one: the keys of `own` replace, tables in them are merged in turn."""
    found: dict[str, Any] = {}
    for key, value in base[2].items():
        there, here = (*path, key), own[2].get(key)
        old: _Side = (base[0], (*base[1], key), value)
        if key not in own[2]:
            merged.origins[there] = old[:2]
            found[key] = value
            continue
        new: _Side = (own[0], (*own[1], key), here)
        if isinstance(here, dict) and here.get("remove") is True:
            continue
        merged.origins[there] = new[:2]
        if isinstance(value, dict) and isinstance(here, dict):
            found[key] = _tables(merged, there, old, new)
        elif key in _BY_ID and isinstance(value, list) and isinstance(here, list) and not path:
            found[key] = _entries(merged, there, old, new)
        else:
            found[key] = here
    for key, value in own[2].items():
        if key in base[2]:
            continue
        if isinstance(value, dict) and value.get("remove") is True:
            _nothing_to_remove(merged, own[0], (*own[1], key), key)
            continue
        merged.origins[*path, key] = (own[0], (*own[1], key))
        found[key] = value
    return found


def _entries(merged: _Merged, path: Path, base: _Side, own: _Side) -> list[Any]:
    """Two lists of entries in one: entries with the same id are merged, others are added behind."""
    changes: dict[object, tuple[int, dict[str, Any]]] = {}
    fresh: list[int] = []
    known = {_name_of(entry) for entry in base[2]}
    for index, entry in enumerate(own[2]):
        which = _name_of(entry)
        if which is not None and which in known and which not in changes:
            changes[which] = (index, entry)
        else:
            fresh.append(index)
    found: list[Any] = []
    for index, entry in enumerate(base[2]):
        which, there = _name_of(entry), (*path, len(found))
        old: _Side = (base[0], (*base[1], index), entry)
        if which is None or which not in changes:
            merged.origins[there] = old[:2]
            found.append(entry)
            continue
        at, change = changes.pop(which)
        if change.get("remove") is True:
            continue
        merged.origins[there] = old[:2]
        found.append(_tables(merged, there, old, (own[0], (*own[1], at), change)))
    for index in fresh:
        entry = own[2][index]
        if isinstance(entry, dict) and entry.get("remove") is True:
            _nothing_to_remove(merged, own[0], (*own[1], index), str(entry.get("id", "")))
            continue
        merged.origins[*path, len(found)] = (own[0], (*own[1], index))
        found.append(entry)
    return found


def _name_of(entry: object) -> str | None:
    found = entry.get("id") if isinstance(entry, dict) else None
    return found if isinstance(found, str) else None


def _nothing_to_remove(merged: _Merged, text: ChartText, path: Path, name: str) -> None:
    place = text.where(path)
    sentence = f"There is nothing to remove: the chart that is extended has no “{name[:60]}”."
    merged.faults.append(Fault(place.line, place.column, "remove", sentence, "Correct the name.", place.source))
