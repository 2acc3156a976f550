"""The sounds of the demo: those of an invented play, written down by hand in `assets/demo`.

Two kinds of file lie there. `CHART-families.toml` says how sounds are made on one instrument: `[base]` stands for
every parameter, `[family.NAME]` for a kind of sound on top of it, `[shade.NAME]` for a way to lean it. A text is a
value as the panel shows it ("642 Hz"), a number moves the value by so many percent of its range. The other files
list the sounds: name, family, shades, tags, note, when it was taken, what was set by hand on top, which parameters
are unknown, and what earlier versions (latest first) had instead. Nothing is random and no clock is read: always
the same sounds.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from librarian.chart import Chart
from librarian.collection import Library, NewPatch
from librarian.errors import BadInput
from librarian.messages import Origin, Values, Version
from librarian.shipped import folder

FAMILIES = "-families.toml"


@dataclass(frozen=True, slots=True)
class DemoSound:
    """One sound of the demo. `versions`: oldest first, the last one is the patch's content."""

    name: str
    chart: str
    tags: tuple[str, ...]
    note: str
    versions: tuple[Version, ...]


class DemoSounds:
    """Every demo sound of the charts given, in the order of the play. Raises BadInput for a faulty file."""

    def __init__(self, charts: Mapping[str, Chart], place: Path | None = None) -> None:
        self._charts = charts
        self._place = folder("assets/demo") if place is None else place

    @cached_property
    def sounds(self) -> tuple[DemoSound, ...]:
        """All of them."""
        families = {name: self._read(self._place / f"{name}{FAMILIES}") for name in self._charts}
        found = []
        for file in sorted(self._place.glob("*.toml")):
            if file.name.endswith(FAMILIES):
                continue
            for entry in self._read(file).get("sound", []):
                try:
                    chart = self._charts.get(entry["instrument"])
                    if chart is not None:
                        found.append(_sound(chart, families[chart.id], entry))
                except KeyError as missing:
                    where = entry.get("name", "a sound without a name")
                    raise BadInput(f"{file.name}: {where} lacks or misspells {missing}.") from None
                except BadInput as fault:
                    raise BadInput(f"{file.name}: {entry.get('name', '?')}: {fault}", fault.hint) from None
        return tuple(found)

    def keep(self, library: Library, instruments: Mapping[str, int]) -> dict[str, int]:
        """Keep them all, one step of undo. `instruments`: chart id to instrument id. Returns name to patch id."""
        sounds = self.sounds
        first = [
            NewPatch(instruments[each.chart], each.name, each.versions[0], each.tags, each.note) for each in sounds
        ]
        with library.together("Keep the demo sounds"):
            ids = library.keep_many(first)
            for patch, sound in zip(ids, sounds, strict=True):
                for version in sound.versions[1:]:
                    library.add_version(patch, version)
        return {sound.name: patch for patch, sound in zip(ids, sounds, strict=True)}

    @staticmethod
    def _read(file: Path) -> dict[str, Any]:
        try:
            return tomllib.loads(file.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
            raise BadInput(f"The demo file {file} cannot be read: {fault}.") from None


def _sound(chart: Chart, families: Mapping[str, Any], entry: Mapping[str, Any]) -> DemoSound:
    values: dict[str, int] = {}
    layers = [families["base"], families["family"][entry["family"]]]
    layers += [families["shade"][name] for name in entry.get("shades", ())]
    for layer in (*layers, entry.get("set", {})):
        _lay(chart, values, layer)
    unknown = _known_ids(chart, entry.get("unknown", ()))
    versions = [_version(chart, values, unknown, entry)]
    for earlier in entry.get("earlier", ()):
        values = dict(values)
        _lay(chart, values, earlier.get("was", {}))
        versions.insert(0, _version(chart, values, _known_ids(chart, earlier.get("unknown", ())), earlier))
    return DemoSound(entry["name"], chart.id, tuple(entry["tags"]), entry.get("note", ""), tuple(versions))


def _lay(chart: Chart, values: dict[str, int], layer: Mapping[str, Any]) -> None:
    """Set texts, move by numbers (percent of the range, never beyond its ends)."""
    for name, said in layer.items():
        parameter = chart.parameters[name]
        if isinstance(said, str):
            values[name] = parameter.parse(said)
        else:
            moved = values[name] + round((parameter.high - parameter.low) * said / 100)
            values[name] = min(max(moved, parameter.low), parameter.high)


def _known_ids(chart: Chart, names: Sequence[str]) -> frozenset[str]:
    return frozenset(chart.parameters[name].id for name in names)


def _version(chart: Chart, values: Mapping[str, int], unknown: frozenset[str], entry: Mapping[str, Any]) -> Version:
    known = Values({name: values[name] for name in chart.parameters if name not in unknown})
    return Version(
        chart=chart.id,
        revision=chart.revision,
        values=known,
        unknown=unknown,
        received=_bytes(chart, known, unknown),
        origin=Origin(entry.get("origin", "captured"), entry.get("detail", "")),
        taken=_utc(entry["taken"]),
    )


def _bytes(chart: Chart, known: Values, unknown: frozenset[str]) -> tuple[bytes, ...]:
    """What the instrument would have sent: its dump where it has one and all is known, else its controllers."""
    way = chart.ways_in[0]
    if way.kind == "dump" and not unknown and way.carries.issuperset(known):
        return chart.codec.encode(way.message, known, chart.default_address, form="answer")
    bursts = chart.codec.controllers(known, chart.default_address)
    return tuple(message for burst in bursts for message in burst.messages)


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
