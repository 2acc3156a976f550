"""Writes what was learnt into a chart's text; what a person wrote there, with comments and form, stays as it is."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, InlineTable, Table

from librarian.chart.learn.singles import Family
from librarian.errors import BadInput
from librarian.wire.universal import IdentityReply

_PER_ROW = 3


def slug(text: str) -> str:
    """ "Env depth" -> "env-depth": an id from a label, of a-z 0-9 . - _."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    parts = "".join(letter if letter.isalnum() else " " for letter in plain).split()
    return "-".join(parts) or "control"


def with_revision(text: str, revision: int) -> str:
    """The same chart with another revision number; everything else stays as it is written."""
    document = tomlkit.parse(text)
    document["revision"] = revision
    return tomlkit.dumps(document)


class ChartWriter:
    """One chart in the making. `existing`: the text to add to; empty: a new chart with this id and name.

    Raises BadInput for a text that is no TOML.
    """

    def __init__(self, existing: str, *, id: str, name: str) -> None:  # noqa: A002 - the chart's own word
        try:
            self._document = tomlkit.parse(existing)
        except tomlkit.exceptions.TOMLKitError as wrong:
            raise BadInput(f"The chart cannot be read: {wrong}.", "Check it with `librarian chart check`.") from wrong
        self._is_new = not existing.strip()
        if self._is_new:
            self._document.add(tomlkit.comment("Learnt from the instrument itself; labels, units and names of"))
            self._document.add(tomlkit.comment("positions are yours to complete."))
            self._document.add(tomlkit.nl())
            self._document["id"] = slug(id)
            self._document["name"] = name
            self._document["revision"] = 1
        self._sections = {str(one["label"]): str(one["id"]) for one in self._entries("section")}
        self._ids = {str(one["id"]) for one in self._entries("parameter")}
        self._used = {*self._sections.values()}
        self._new_sections: list[Table] = []
        self._new_parameters: list[Table] = []
        self._tables: list[tuple[str, str, dict[str, Any]]] = []
        self._remarks: list[str] = []
        self._channel = int(self._document.get("address", {}).get("channel", 1)) - 1

    def channel(self, channel: int | None) -> None:
        """The basic channel (0-15) of a new chart."""
        if channel is not None and self._is_new:
            self._table("address")["channel"] = channel + 1
            self._channel = channel

    def identity(self, reply: IdentityReply) -> None:
        """What the instrument answered to the identity request, where the chart does not say it yet."""
        table = self._table("identity")
        for key, value in (
            ("manufacturer", reply.manufacturer.hex(" ").upper()),
            ("family", reply.family),
            ("member", reply.member),
        ):
            if key not in table:
                table[key] = value
        self.device(reply.device)

    def manufacturer(self, maker: bytes) -> None:
        """The manufacturer ID of the messages seen, where the chart does not say it yet."""
        if "manufacturer" not in self._table("identity"):
            self._table("identity")["manufacturer"] = maker.hex(" ").upper()

    def device(self, device: int) -> None:
        """The device ID of the unit that was asked, where the chart does not say one yet."""
        if device < 0x7F and "device" not in self._table("address"):
            self._table("address")["device"] = device

    def section(self, label: str) -> str:
        """The id of the section with this label; a new one goes to the end of the panel."""
        label = label.strip() or "Panel"
        if label not in self._sections:
            identity = _unused(slug(label), self._used)
            self._used.add(identity)
            self._sections[label] = identity
            table = tomlkit.table()
            table.update({"id": identity, "label": label, "row": len(self._sections) // (_PER_ROW + 1) + 1})
            self._new_sections.append(table)
        return self._sections[label]

    def parameter(self, section: str, label: str, keys: Mapping[str, Any]) -> str:
        """Add a parameter; its id."""
        identity = _unused(f"{section}.{slug(label)}", self._ids)
        self._ids.add(identity)
        table = tomlkit.table()
        table.update({"id": identity, "label": label.strip(), "section": section})
        for key, value in keys.items():
            table[key] = self._bindings(value) if key == "bindings" else value
        self._new_parameters.append(table)
        return identity

    def single(self, family: Family, numbers: Mapping[str, int], device: int | None) -> None:
        """The message that carries one of these parameters."""
        raw, (number, digits), (value, size) = family.template, family.number, family.value
        words = [f"{byte:02X}" for byte in raw]
        if device is not None and device < 0x7F and raw[family.maker] == device and family.maker < number:
            words[family.maker] = "{device}"
        words[number : number + digits] = ["{parameter}"] + [""] * (digits - 1)
        words[value : value + size] = ["{value}"] + [""] * (size - 1)
        parts: dict[str, Any] = {"parameter": {"is": "parameter", "bytes": digits}, "value": _number(family)}
        if family.checksum is not None:
            words[family.checksum.at] = "{sum}"
            parts["sum"] = {"is": "checksum", "kind": family.checksum.kind, "from": family.checksum.first + 1}
        keys: dict[str, Any] = {"kind": "parameter", "write": " ".join(word for word in words if word)}
        keys["numbers"] = dict(numbers)
        keys["parts"] = parts
        self.manufacturer(raw[1 : family.maker])
        self.add("message", "single", keys)

    def add(self, table: str, name: str, keys: dict[str, Any]) -> str:
        """A new `[table.name]`; a number is added where the name is taken. The name."""
        taken = {str(key) for key in self._document.get(table, {})}
        taken |= {name for where, name, _ in self._tables if where == table}
        name = _unused(name, taken)
        self._tables.append((table, name, keys))
        return name

    def remark(self, sentence: str) -> None:
        """A comment that stands before what is added next."""
        self._remarks.append(sentence)

    def by_hand(self, identity: str) -> None:
        """Say of a parameter that only a hand on the panel sets it."""
        for one in [*self._entries("parameter"), *self._new_parameters]:
            if one["id"] == identity:
                one["by_hand"] = True

    def not_by_hand(self, identity: str) -> None:
        """Take back that only a hand sets a parameter: a message does."""
        for one in self._entries("parameter"):
            if one["id"] == identity and "by_hand" in one:
                del one["by_hand"]

    def bound(self, identity: str) -> bool:
        """True for a parameter that has bindings, or that only a hand sets."""
        return any("bindings" in one or "by_hand" in one for one in self._entries("parameter") if one["id"] == identity)

    def text(self) -> str:
        """The whole chart. New entries stand at the end, after everything that was there."""
        added = [
            *(_entry(self._document, "section", table) for table in self._new_sections),
            *(_entry(self._document, "parameter", table) for table in self._new_parameters),
            *(["".join(f"# {line}\n" for one in self._remarks for line in textwrap.wrap(one, 110))]),
            *(_named(where, name, keys) for where, name, keys in self._tables),
        ]
        body = tomlkit.dumps(self._document).rstrip("\n") + "\n"
        return body + "".join("\n" + text for text in added if text)

    def _bindings(self, bindings: list[dict[str, Any]]) -> Array:
        made = tomlkit.array()
        for binding in bindings:
            if binding.get("channel") == self._channel + 1:
                binding.pop("channel")
            made.append(_inline(binding))
        return made

    def _table(self, name: str) -> Any:
        if name not in self._document:
            self._document[name] = tomlkit.table()
        return self._document[name]

    def _entries(self, name: str) -> list[Any]:
        return list(self._document.get(name, []))


def _number(family: Family) -> dict[str, Any]:
    part: dict[str, Any] = {"is": "value", "bytes": family.value[1]}
    if family.order != "msb_first":
        part["order"] = family.order
    if family.digit != 7:
        part["digit"] = family.digit
    return part


def _unused(wanted: str, taken: set[str]) -> str:
    if wanted not in taken:
        return wanted
    return next(name for number in range(2, len(taken) + 3) if (name := f"{wanted}-{number}") not in taken)


def _inline(keys: Mapping[str, Any]) -> InlineTable:
    made = tomlkit.inline_table()
    for key, value in keys.items():
        made[key] = _inline(value) if isinstance(value, Mapping) else value
    return made


def _entry(document: tomlkit.TOMLDocument, name: str, table: Table) -> str:
    """An entry as text for the end of the file; into the list itself where the file writes that list on one line."""
    there = document.get(name)
    if there is not None and not isinstance(there, AoT) and isinstance(there, Array):
        there.append(_inline(table))
        return ""
    return f"[[{name}]]\n{table.as_string()}"


def _named(where: str, name: str, keys: Mapping[str, Any]) -> str:
    table = tomlkit.table()
    parts: Mapping[str, Any] = {}
    for key, value in keys.items():
        if key == "parts":
            parts = value
        elif isinstance(value, list) and key in ("fields", "blocks"):
            table[key] = _lines(value)
        else:
            table[key] = _inline(value) if isinstance(value, Mapping) else value
    said = "".join(f"parts.{key} = {_inline(part).as_string()}\n" for key, part in parts.items())
    return f"[{where}.{name}]\n{table.as_string()}{said}"


def _lines(values: list[Any]) -> Array:
    made = tomlkit.array()
    made.multiline(True)
    for value in values:
        made.append(_inline(value) if isinstance(value, Mapping) else value)
    return made
