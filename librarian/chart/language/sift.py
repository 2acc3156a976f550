"""A TOML text to a validated table, with every fault reported and the sound parts kept for further checks.

A chart with one wrong entry is still checked as a whole: the wrong entry is set aside, the rest is looked at.
Nothing of a chart with faults is ever used; this only serves to report all of them at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from librarian.chart.faults import Path
from librarian.chart.language.report import echoed, translate
from librarian.chart.language.root import MOST_ENTRIES, ChartTable
from librarian.chart.language.trouble import Trouble

_LISTS = ("section", "parameter", "group", "selector", "capture", "recall", "history")
_NAMED = ("message", "layout", "charset", "codes", "display")
_IN_GROUP = ("section", "parameter")
_HARMLESS = {"default", "takeover", "size", "cell", "short", "note", "beside", "setup", "by_hand"}
"""Keys of a parameter without which its other keys can still be judged."""
_MOST_ERRORS = 2_000
_PLACEHOLDERS: dict[str, Any] = {"id": "x", "name": "x", "revision": 1}


@dataclass(slots=True)
class Sifted:
    """`table`: the valid part. `paths`: where entry i of a list stood in the file. `broken`: names set aside."""

    table: ChartTable
    paths: dict[Path, list[Path]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    broken_tables: set[str] = field(default_factory=set)

    def path(self, key: str, index: int) -> Path:
        """Where entry `index` of the top-level list `key` stands."""
        return self.paths[(key,)][index]


def sift(data: dict[str, Any], trouble: Trouble) -> Sifted | None:
    """Validate; report all faults; give the valid part, or None where nothing is left to look at."""
    if _too_many(data, trouble):
        return None
    broken: set[str] = set()
    broken_tables: set[str] = set()
    kept = dict(data)
    paths = _list_paths(data)
    for attempt in range(8):
        try:
            return Sifted(ChartTable.model_validate(kept), paths, broken, broken_tables)
        except ValidationError as problem:
            units = set()
            errors = problem.errors(include_url=False)
            if len(errors) > _MOST_ERRORS:  # no chart with slips of the hand, and looking further would take long
                trouble.left_out += len(errors) - _MOST_ERRORS
                _report(errors[:_MOST_ERRORS], kept, paths, trouble)
                return None
            echoes = echoed(errors)
            for error in errors:
                path, sentence, remedy = translate(error, kept, ChartTable)
                if error["loc"] not in echoes:
                    trouble.add(_original(path, paths), sentence, remedy, echo=attempt > 0)
                broken_tables.add(str(path[0]) if path else "")
                spare = attempt == 0 and _spare(path, str(error["type"]))
                units.add(path if spare else _unit(path, kept))
            kept = _without_keys(kept, {unit for unit in units if len(unit) > 2 and not _is_entry(unit)})
            kept, paths = _without(kept, paths, {unit for unit in units if _is_entry(unit)}, broken)
    return None


def _report(errors: list[Any], data: dict[str, Any], paths: dict[Path, list[Path]], trouble: Trouble) -> None:
    for error in errors:
        path, sentence, remedy = translate(error, data, ChartTable)
        trouble.add(_original(path, paths), sentence, remedy)


def _too_many(data: dict[str, Any], trouble: Trouble) -> bool:
    for key in _LISTS:
        entries = data.get(key)
        if isinstance(entries, list) and len(entries) > MOST_ENTRIES:
            trouble.add((key,), f"There are {len(entries):,} entries of [[{key}]]; at most {MOST_ENTRIES:,} are taken.")
            return True
    return False


def _list_paths(data: dict[str, Any]) -> dict[Path, list[Path]]:
    paths: dict[Path, list[Path]] = {}
    for key in _LISTS:
        entries = data.get(key)
        if not isinstance(entries, list):
            paths[key,] = []
            continue
        paths[key,] = [(key, index) for index in range(len(entries))]
        if key != "group":
            continue
        for index, entry in enumerate(entries):
            for inner in _IN_GROUP:
                listed = entry.get(inner) if isinstance(entry, dict) else None
                count = len(listed) if isinstance(listed, list) else 0
                paths[key, index, inner] = [(key, index, inner, i) for i in range(count)]
    return paths


def _original(path: Path, paths: dict[Path, list[Path]]) -> Path:
    """A path in the reduced data as a path in the file."""
    if len(path) >= 2 and (path[0],) in paths and isinstance(path[1], int) and path[1] < len(paths[path[0],]):
        group = paths[path[0],][path[1]]
        inner = (*group, *path[2:3])
        if len(path) >= 4 and inner in paths and isinstance(path[3], int) and path[3] < len(paths[inner]):
            return (*paths[inner][path[3]], *path[4:])
        return (*group, *path[2:])
    return path


def _spare(path: Path, kind: str) -> bool:
    """True where leaving out this key alone makes no other fault appear or disappear."""
    if len(path) < 3 or path[0] not in _LISTS or not isinstance(path[-1], str):
        return False
    if kind == "extra_forbidden":
        return True
    return kind != "missing" and path[0] == "parameter" and len(path) == 3 and path[2] in _HARMLESS


def _is_entry(unit: Path) -> bool:
    """True for a whole entry, as `_unit` names it; False for a single key inside one."""
    return len(unit) <= 2 or (len(unit) == 4 and unit[0] == "group" and isinstance(unit[3], int))


def _without_keys(data: dict[str, Any], keys: set[Path]) -> dict[str, Any]:
    """A copy of the data (as deep as needed) without these keys."""
    tree: dict[Any, Any] = {}
    for path in sorted(keys, key=len, reverse=True):  # what goes as a whole is noted last and replaces its parts
        here = tree
        for part in path[:-1]:
            here = here.setdefault(part, {})
        here[path[-1]] = None
    return dict(_removed(data, tree))


def _removed(here: Any, tree: dict[Any, Any]) -> Any:
    """`tree`: key or index -> what to remove inside, None for the key itself."""
    if isinstance(here, dict):
        return {
            key: value if key not in tree else _removed(value, tree[key])
            for key, value in here.items()
            if key not in tree or tree[key] is not None
        }
    if isinstance(here, list):
        return [value if index not in tree else _removed(value, tree[index] or {}) for index, value in enumerate(here)]
    return here


def _unit(path: Path, data: dict[str, Any]) -> Path:
    """The smallest entry that can be set aside without breaking others."""
    if not path:
        return ()
    top = str(path[0])
    if top in _LISTS and len(path) >= 2 and isinstance(data.get(top), list):
        if top == "group" and len(path) >= 4 and path[2] in _IN_GROUP:
            return path[:4]
        return path[:2]
    if top in _NAMED and len(path) >= 2 and isinstance(data.get(top), dict):
        return path[:2]
    return (top,)


def _without(
    data: dict[str, Any],
    paths: dict[Path, list[Path]],
    units: set[Path],
    broken: set[str],
) -> tuple[dict[str, Any], dict[Path, list[Path]]]:
    kept, new_paths = dict(data), dict(paths)
    for unit in units:
        if len(unit) == 1:
            if unit[0] in _PLACEHOLDERS:
                kept[str(unit[0])] = _PLACEHOLDERS[str(unit[0])]
            else:
                kept.pop(str(unit[0]), None)
        elif len(unit) == 2 and unit[0] in _NAMED:
            broken.add(str(unit[1]))
            kept[str(unit[0])] = {name: value for name, value in kept[str(unit[0])].items() if name != unit[1]}
    for key in _LISTS:
        gone = {unit[1] for unit in units if len(unit) == 2 and unit[0] == key}
        if not isinstance(kept.get(key), list):
            continue
        entries, where = list(kept[key]), list(new_paths[key,])
        if key == "group":
            entries = [
                _without_inner(entry, index, where[index], units, new_paths, broken)
                for index, entry in enumerate(entries)
            ]
        for index in gone:
            _note_ids(entries[int(index)], broken)
        kept[key] = [entry for index, entry in enumerate(entries) if index not in gone]
        new_paths[key,] = [path for index, path in enumerate(where) if index not in gone]
    return kept, new_paths


def _without_inner(
    entry: Any, index: int, group: Path, units: set[Path], paths: dict[Path, list[Path]], broken: set[str]
) -> Any:
    for inner in _IN_GROUP:
        gone = {unit[3] for unit in units if len(unit) == 4 and unit[1] == index and unit[2] == inner}
        if not gone or not isinstance(entry, dict):
            continue
        for number in gone:
            _note_ids(entry[inner][int(number)], broken)
        entry = {**entry, inner: [item for number, item in enumerate(entry[inner]) if number not in gone]}
        key = (*group, inner)
        paths[key] = [path for number, path in enumerate(paths[key]) if number not in gone]
    return entry


def _note_ids(entry: object, broken: set[str]) -> None:
    """Remember the names in an entry set aside, so that references to them are not reported as well."""
    if not isinstance(entry, dict):
        return
    if isinstance(entry.get("id"), str):
        broken.add(entry["id"])
    for inner in _IN_GROUP:
        listed = entry.get(inner)
        for item in listed if isinstance(listed, list) else ():
            _note_ids(item, broken)
