"""Plain TOML text from values, for charts that are put together from several files. Comments are not kept here."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from librarian.chart.faults import Path

_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")


def value_text(value: object) -> str:
    """One value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_text(item) for item in value) + "]"
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key_text(key)} = {value_text(item)}" for key, item in value.items())
        return "{ " + inside + " }" if inside else "{}"
    return str(value)


def key_text(key: str) -> str:
    """A key, quoted where it has to be."""
    return key if key and set(key) <= _BARE else value_text(key)


def chart_text(data: Mapping[str, Any], order: Callable[[Path], int], remark: str) -> str:
    """A whole chart: plain keys, tables, then the entries of its lists in the order that `order` gives them."""
    lines = [f"# {line}" for line in remark.split("\n")]
    lines += [f"{key_text(key)} = {value_text(value)}" for key, value in data.items() if not _is_table(value)]
    for key, value in data.items():
        if isinstance(value, Mapping):
            lines += _table((key,), value)
    entries = [(key, index) for key, value in data.items() if _is_list(value) for index in range(len(value))]
    for key, index in sorted(entries, key=order):
        lines.append(f"\n[[{key_text(str(key))}]]")
        for name, value in data[str(key)][index].items():
            lines += _entry(str(key), name, value)
    return "\n".join(lines) + "\n"


def _is_list(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping) or _is_list(value)


def _holds_tables(table: Mapping[str, Any]) -> bool:
    """As it should where tables have names; a chart with a slip in it is written as it is, and refused afterwards."""
    return all(isinstance(value, Mapping) for value in table.values())


def _table(path: tuple[str, ...], table: Mapping[str, Any]) -> list[str]:
    """A table; tables of tables (messages, layouts, displays) get headings of their own."""
    name = ".".join(key_text(part) for part in path)
    if len(path) == 1 and table and _holds_tables(table):
        return [line for key, value in table.items() for line in _table((*path, key), value)]
    return [f"\n[{name}]", *(f"{key_text(key)} = {value_text(value)}" for key, value in table.items())]


def _entry(key: str, name: str, value: object) -> list[str]:
    """One key of an entry; what stands inside a group has headings of its own and therefore goes last."""
    if key == "group" and name in {"section", "parameter"} and isinstance(value, list) and _is_list(value):
        lines: list[str] = []
        for item in value:
            lines.append(f"\n[[group.{name}]]")
            lines += [f"{key_text(inner)} = {value_text(inside)}" for inner, inside in item.items()]
        return lines
    if key == "group" and name in {"message", "layout"} and isinstance(value, Mapping) and _holds_tables(value):
        return [line for inner, table in value.items() for line in _table((key, name, inner), table)]
    return [f"{key_text(name)} = {value_text(value)}"]
