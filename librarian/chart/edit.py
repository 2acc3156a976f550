"""Changes to a chart's text by the program: comments, order and formatting of everything else stay as they are."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping, MutableSequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from librarian.chart.chart import Chart
from librarian.chart.faults import Path, key_text
from librarian.chart.load import loads
from librarian.errors import BadInput


class ChartText:
    """A chart text that is being changed. `text` is the result; `chart()` proves that it still is a chart."""

    def __init__(self, text: str) -> None:
        """Raises BadInput where the text is no TOML."""
        try:
            self._document = tomlkit.parse(text)
        except (TOMLKitError, RecursionError) as error:
            raise BadInput(f"The chart text cannot be changed: {error}.", "Correct it by hand first.") from None

    @property
    def text(self) -> str:
        """The text as it is now."""
        return tomlkit.dumps(self._document)

    def chart(self, source: str = "chart") -> Chart:
        """The chart that the text now is. Raises ChartFaults, with the faults of the changed text."""
        return loads(self.text, source)

    def set(self, path: Path, value: Any) -> None:
        """Write a value at a path, e.g. ("parameter", 3, "label"). The table that holds it has to exist."""
        holder, key = self._holder(path)
        holder[key] = value

    def remove(self, path: Path) -> None:
        """Take out a key or an entry."""
        holder, key = self._holder(path)
        try:
            del holder[key]
        except (KeyError, IndexError, TOMLKitError):
            raise BadInput(f"The chart has no {key_text(path)}.", "Name a key that is written in it.") from None

    def append(self, key: str, entry: Mapping[str, Any]) -> None:
        """Add an entry `[[key]]` behind the last one of its kind, or at the end."""
        table = tomlkit.table()
        for name, value in entry.items():
            table.add(name, _inline(value))
        present = self._document.get(key)
        if present is None:
            entries = tomlkit.aot()
            entries.append(table)
            self._document.append(key, entries)
        elif isinstance(present, AoT):
            present.append(table)
        else:
            raise BadInput(f"“{key}” is no list of entries in this chart.", f"Write it as [[{key}]].")

    def rename(self, key: str, old: str, new: str) -> None:
        """Give an entry of `[[key]]` another id, and follow it wherever its id stands as a whole text."""
        entries = self._document.get(key)
        for entry in entries if isinstance(entries, AoT) else ():
            if entry.get("id") == old:
                entry["id"] = new
        _replace(self._document, old, new)

    def _holder(self, path: Path) -> tuple[Any, Any]:
        here: Any = self._document
        for part in path[:-1]:
            try:
                here = here[part]
            except (KeyError, IndexError, TypeError, TOMLKitError):
                raise BadInput(f"The chart has no {key_text(path)}.", "Name a table that is written in it.") from None
        if not path or not isinstance(here, MutableMapping | MutableSequence):
            raise BadInput(f"The chart has no {key_text(path)}.", "Name a table that is written in it.")
        return here, path[-1]


def _inline(value: Any) -> Any:
    """Tables inside an entry stand on its lines, as people write bindings and displays."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.add(key, _inline(inner))
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for inner in value:
            array.append(_inline(inner))
        return array
    return value


def _replace(here: Any, old: str, new: str) -> None:
    """References to an id: texts that are the id, in any table or list but labels and notes."""
    keys = list(here.keys()) if isinstance(here, Mapping) else range(len(here)) if isinstance(here, list) else ()
    for key in keys:
        inner = here[key]
        if isinstance(inner, str):
            if inner == old and key not in {"id", "label", "short", "note", "name", "unit"}:
                here[key] = new
        elif isinstance(inner, Mapping | list):
            _replace(inner, old, new)
