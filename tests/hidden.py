"""Invented instruments for learning: a random chart that the learner does not see, and a person who obeys it."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from librarian.chart import Chart, loads
from librarian.chart.language.writing import key_text, value_text
from librarian.messages import Address
from librarian.standin import Instrument

Table = Mapping[str, Any]

STRUCTURES: Mapping[str, Table] = {
    "plain, xor of the data": {"packing": "plain", "sums": [{"kind": "xor", "from": "data", "to": "data"}]},
    "nibbles, two's complement from the head": {"packing": "nibbles_high", "sums": [{"kind": "twos", "from": 4}]},
    "low nibbles first, 14-bit sum": {
        "packing": "nibbles_low", "sums": [{"kind": "sum", "bits": 14, "order": "lsb_first", "from": "data"}],
    },
    "file dump, sum of the unpacked data": {
        "packing": "file_dump", "sums": [{"kind": "sum", "from": "data", "view": "unpacked"}],
    },
    "top bits reversed, one's complement": {"packing": "reversed", "sums": [{"kind": "ones", "from": "data"}]},
    "top bits after, all after F0": {"packing": "file_dump_after", "sums": [{"kind": "sum"}]},
    "top bits after and reversed, two checksums": {
        "packing": "reversed_after",
        "sums": [
            {"kind": "xor", "from": "data", "to": "data", "view": "unpacked"},
            {"kind": "sum", "from": "data", "to": "data"},
        ],
    },
    "one and seven bits, 14 bits of the unpacked data": {
        "packing": "split_high", "sums": [{"kind": "twos", "bits": 14, "from": "data", "view": "unpacked"}],
    },
    "seven and one bit, no checksum": {"packing": "split_low", "sums": []},
    "bit stream, nibbles of the sum": {
        "packing": "bitstream", "sums": [{"kind": "sum", "bits": 8, "digit": 4, "from": "data"}],
    },
    "a checksum inside the packed data": {
        "packing": "reversed", "inner": {"kind": "sum", "bits": 8, "from": "data", "to": "data"},
        "sums": [{"kind": "xor", "from": 5}],
    },
    "plain, spread values and codes": {"packing": "plain", "spread": True, "sums": [{"kind": "twos", "from": "data"}]},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hidden:
    """A chart that is not shown, and what the learner starts from: the same controls, without a word on dumps."""

    name: str
    chart: Chart
    start: str


def hidden(structure: str, seed: int, controls: int = 12) -> Hidden:
    """An instrument of this structure; the seed chooses its controls, their coding and their places."""
    chance = random.Random(f"{structure} {seed}")
    plan = STRUCTURES[structure]
    maker = chance.choice(("7D", "00 7F 7F"))
    controls = controls + chance.randrange(3)
    fields, parameters = _fields(chance, controls, eight=plan["packing"] != "plain", spread=plan.get("spread", False))
    head = (
        'id = "hidden"\nname = "Hidden"\nrevision = 1\n'
        f'\n[identity]\nmanufacturer = "{maker}"\n\n[address]\ndevice = 16\n'
    )
    panel = '\n[[section]]\nid = "panel"\nlabel = "Panel"\n'
    entries = "".join(_entry(one) for one in parameters)
    by_hand = "".join(_entry({**one, "by_hand": True}) for one in parameters)
    dumps = _message(plan, maker, chance) + f"\n[layout.patch]\nfields = {value_text(fields)}\n"
    return Hidden(structure, loads(head + panel + entries + dumps), head + panel + by_hand)


def of_chart(chart: Chart) -> Hidden:
    """A chart that exists, with a message `edit`, as the hidden one."""
    entries = [
        {
            **_parameter(name, one.low, one.high),
            **({"kind": "stepped", "positions": list(one.positions)} if one.positions else {}),
            "by_hand": True,
        }
        for name, one in chart.parameters.items()
    ]
    head = 'id = "hidden"\nname = "Hidden"\n\n[[section]]\nid = "panel"\nlabel = "Panel"\n'
    return Hidden(chart.name, chart, head + "".join(_entry(one) for one in entries))


def _entry(keys: Table) -> str:
    return "\n[[parameter]]\n" + "".join(f"{key_text(key)} = {value_text(value)}\n" for key, value in keys.items())


def _message(plan: Table, maker: str, chance: random.Random) -> str:
    sums = {f"s{number}": {"is": "checksum", **one} for number, one in enumerate(plan["sums"])}
    words = " ".join("{" + name + "}" for name in sums)
    command = chance.randrange(0x10, 0x70)
    more = " 00" * chance.randrange(3)
    parts: dict[str, Table] = {"data": {"is": "data", "layout": "patch", "packing": plan["packing"]}}
    body = "{data}"
    if "inner" in plan:
        body = "{body}"
        parts = {
            "body": {"is": "group", "holds": "{data} {inner}", "packing": plan["packing"]},
            "data": {"is": "data", "layout": "patch"},
            "inner": {"is": "checksum", **plan["inner"]},
        }
        for one in sums.values():
            one.update({"from": "body"} if one.get("from") == "data" else {})
    lines = [
        "\n[message.edit]",
        f'request = "F0 {maker} {{device}} {command:02X} F7"',
        f'answer = "F0 {maker} {{device}} {command + 1:02X}{more} {body} {words} F7"',
        *(f"parts.{name} = {value_text(part)}" for name, part in {**parts, **sums}.items()),
    ]
    return "\n".join(lines) + "\n"


def _fields(chance: random.Random, count: int, *, eight: bool, spread: bool) -> tuple[list[Any], list[dict[str, Any]]]:
    """Fields in a random order, and the parameters that they hold."""
    made = [_one(chance, f"panel.c{number}", eight=eight) for number in range(count)]
    fields = [group for group, _ in made]
    parameters = [one for _, some in made for one in some]
    fields.insert(chance.randrange(len(fields)), [{"gap": chance.randint(1, 4)}])
    flat: list[Any] = [field for group in fields for field in group]
    flat.append({"name": 8})
    if spread:
        size = _size(flat)
        flat.append({"of": "panel.far", "pieces": [{"at": size, "bits": "0-1"}, {"at": size + 3, "bits": "0-6"},
                                                   {"at": size + 1, "bits": 4}]})  # fmt: skip
        flat.append({"gap": 1, "at": size + 4})
        parameters.append(_parameter("panel.far", 0, 1023))
    return flat, parameters


def _size(fields: list[Any]) -> int:
    size = 0
    for field in fields:
        if isinstance(field, str):
            size += 1
        elif not field.get("same"):
            size += field.get("gap", field.get("name", field.get("bytes", 1)))
    return size


def _parameter(identity: str, low: int, high: int) -> dict[str, Any]:
    return {
        "id": identity, "label": identity.partition(".")[2].upper(), "section": "panel", "range": [low, high],
        "kind": "bipolar" if low < 0 else "continuous",
    }  # fmt: skip


def _stepped(identity: str, count: int) -> dict[str, Any]:
    return {
        "id": identity, "label": identity.partition(".")[2].upper(), "section": "panel", "kind": "stepped",
        "positions": [f"p{number}" for number in range(count)],
    }  # fmt: skip


def _one(chance: random.Random, name: str, *, eight: bool) -> tuple[list[Any], list[dict[str, Any]]]:
    """One field, or several in one byte."""
    full = 255 if eight else 127
    kind = chance.randrange(11 if eight else 10)
    order = chance.choice(("msb_first", "lsb_first"))
    if kind == 0:
        return [name], [_parameter(name, 0, chance.choice((full, 100, 99, 127)))]
    if kind == 1:
        return [{"of": name, "coding": "offset"}], [_parameter(name, -(full // 2) - 1, full // 2)]
    if kind == 2:
        return [{"of": name, "coding": "offset", "zero": 64}], [_parameter(name, -24, 24)]
    if kind == 3:
        return [{"of": name, "coding": "twos"}], [
            _parameter(name, -chance.choice((64, 24, 7)), chance.choice((63, 24)))
        ]
    if kind == 4:
        return [{"of": name, "coding": "sign"}], [_parameter(name, -50, 63)]
    if kind == 5:
        return [{"of": name, "inverted": True}], [_parameter(name, 0, full)]
    if kind == 6:
        return [
            {"of": f"{name}a", "bits": "0-2"},
            {"of": f"{name}b", "same": True, "bits": 3},
            {"of": f"{name}c", "same": True, "bits": "4-5"},
        ], [_parameter(f"{name}a", 0, 7), _stepped(f"{name}b", 2), _stepped(f"{name}c", 4)]
    if kind == 7:
        high = 65535 if eight else 16383
        return [{"of": name, "bytes": 2, "order": order}], [_parameter(name, 0, chance.choice((high, 1000, high // 3)))]
    if kind == 8:
        stored = chance.sample(range(full + 1), 5)
        return [{"of": name, "codes": stored}], [_stepped(name, 5)]
    if kind == 9:
        half = 32768 if eight else 8192
        coding = chance.choice(("offset", "twos"))
        return [{"of": name, "bytes": 2, "order": order, "coding": coding}], [_parameter(name, -half, half - 1)]
    return [{"of": name, "bytes": 2, "order": order, "bits": "2-11"}], [_parameter(name, 0, 1023)]


class Person:
    """Someone at the panel of a stand-in with the hidden chart: moves what is asked, and sends the dump."""

    def __init__(self, hidden: Hidden, seed: int) -> None:
        self.chart = hidden.chart
        self.address = Address(0, 16)
        self.request = self.chart.codec.request("edit", self.address)
        self.seed = seed
        self.now = 0.0
        self._begin()

    def _begin(self) -> None:
        self.instrument = Instrument(self.chart, seed=self.seed, address=self.address)
        self.instrument.bases["edit"] = base(self.chart, self.instrument.sound, random.Random(self.seed), self.address)

    def other(self) -> bytes:
        """Choose another sound, and dump."""
        self.seed += 1000
        self._begin()
        return self.dump()

    def move(self, control: str, value: int) -> bytes:
        """Move one control, and dump."""
        self.now += 1.0
        self.instrument.turn(control, value, self.now)
        return self.dump()

    def dump(self) -> bytes:
        """Ask the stand-in over its cable."""
        self.now += 5.0
        self.instrument.due(self.now)
        self.instrument.feed(self.request, self.now)
        self.now += 5.0
        sent = [raw for _, raw in self.instrument.due(self.now)]
        (raw,) = [raw for raw in sent if raw[0] == 0xF0]
        return raw


def base(chart: Chart, values: Mapping[str, int], chance: random.Random, address: Address) -> tuple[bytes, ...]:
    """A dump with a name, and something in the bytes that nothing explains."""
    name = "".join(chance.choice("ABCDEFGHIJ abcdef") for _ in range(8)).strip() or "A"
    return chart.codec.encode("edit", dict(values), address, name=name, form="answer")
