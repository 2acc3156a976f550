"""Invented instruments for learning: a random chart that the learner does not see, and a person who obeys it."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from librarian.chart import Chart, loads
from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS
from librarian.chart.dump.steps.packing import PACKING_NAMES, PACKINGS, PackingName
from librarian.chart.language.writing import key_text, value_text
from librarian.messages import Address
from librarian.standin import Instrument

Table = Mapping[str, Any]
DRAWN = "drawn"

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
    "a sum that begins with a number": {
        "packing": "plain", "sums": [{"kind": "sum", "from": "data", "to": "data", "start": 71}],
    },
    "an XOR of the unpacked data that begins with a number": {
        "packing": "reversed", "sums": [{"kind": "xor", "from": "data", "view": "unpacked", "start": 90}],
    },
    "numbered packets": {
        "packing": "file_dump", "frame": "packets", "split": 24, "sums": [{"kind": "xor", "from": 3}],
    },
    "numbered packets that say how long they are": {
        "packing": "nibbles_low", "frame": "packets", "split": 20, "length": True, "sums": [{"kind": "twos"}],
    },
    "addresses": {"packing": "plain", "frame": "addresses", "chunk": 16, "sums": [{"kind": "twos", "from": "address"}]},
    "the program's number in front of packed data": {
        "packing": "reversed", "frame": "program", "sums": [{"kind": "sum", "from": 3}],
    },
    "names in nibbles": {"packing": "plain", "wide_name": True, "sums": [{"kind": "ones", "from": "data"}]},
    "a checksum that nobody knows": {
        "packing": "plain", "secret": True,
        "sums": [{"kind": "crc", "bits": 14, "polynomial": 0x0805, "start": 99, "from": "data", "to": "data"}],
    },
    "plain, spread values and codes": {"packing": "plain", "spread": True, "sums": [{"kind": "twos", "from": "data"}]},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hidden:
    """A chart that is not shown, and what the learner starts from: the same controls, without a word on dumps."""

    name: str
    chart: Chart
    start: str
    secret: bool = False
    frame: str = "one"


def drawn(chance: random.Random) -> dict[str, Any]:
    """A structure that nobody wrote down: packing, frame and checksums as they fall."""
    packing = chance.choice(PACKING_NAMES)
    frame = chance.choice(("one", "one", "one", "packets", "addresses", "program"))
    first = "address" if frame == "addresses" else 3
    sums = []
    for _ in range(chance.choice((0, 1, 1, 1, 2)) if frame == "one" else chance.choice((0, 1, 1))):
        one: dict[str, Any] = {"kind": chance.choice(CHECKSUM_KINDS)}
        if frame == "one":
            one |= chance.choice(({"from": "data"}, {"from": "data", "to": "data"}, {}, {"from": 4}))
            if chance.random() < 0.3 and packing != "plain":
                one = {"kind": one["kind"], "from": "data", "to": "data", "view": "unpacked"}
            if chance.random() < 0.2:
                one["start"] = chance.randrange(1, 100)
            one |= chance.choice(({}, {}, {"bits": 14}, {"bits": 14, "order": "lsb_first"}, {"bits": 8, "digit": 4}))
        else:
            one |= chance.choice(({"from": "data"}, {"from": first}, {}))
        sums.append(one)
    plan: dict[str, Any] = {"packing": packing, "sums": sums, "frame": frame}
    if frame == "packets":
        plan |= {"split": chance.choice((16, 24, 32, 40)), "length": chance.random() < 0.4}
    if frame == "addresses":
        plan |= {"chunk": chance.choice((16, 24, 32))}
    plan["spread"] = chance.random() < 0.3 and frame != "addresses"
    plan["wide_name"] = chance.random() < 0.3
    return plan


def hidden(structure: str, seed: int, controls: int = 12) -> Hidden:
    """An instrument of this structure; the seed chooses its controls, their coding and their places."""
    chance = random.Random(f"{structure} {seed}")
    plan = drawn(chance) if structure == DRAWN else STRUCTURES[structure]
    maker = chance.choice(("7D", "00 7F 7F"))
    controls = controls + chance.randrange(3)
    fields, parameters = _fields(
        chance, controls, eight=plan["packing"] != "plain", spread=plan.get("spread", False),
        wide=plan.get("wide_name", False),
    )  # fmt: skip
    head = (
        'id = "hidden"\nname = "Hidden"\nrevision = 1\n'
        f'\n[identity]\nmanufacturer = "{maker}"\n\n[address]\ndevice = 16\n'
    )
    panel = '\n[[section]]\nid = "panel"\nlabel = "Panel"\n'
    entries = "".join(_entry(one) for one in parameters)
    by_hand = "".join(_entry({**one, "by_hand": True}) for one in parameters)
    dumps = _message(plan, maker, chance, _packed(plan["packing"], _size(fields)))
    dumps += f"\n[layout.patch]\nfields = {value_text(fields)}\n"
    name = structure if structure != DRAWN else f"drawn {plan['packing']}, {plan['frame']}, {len(plan['sums'])} sums"
    chart = loads(head + panel + entries + dumps)
    return Hidden(name, chart, head + panel + by_hand, plan.get("secret", False), plan.get("frame", "one"))


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


def _packed(packing: PackingName, size: int) -> int:
    """Bytes on the wire."""
    return len(PACKINGS[packing].pack(bytes(size)))


def _message(plan: Table, maker: str, chance: random.Random, size: int) -> str:
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
    frame, asked, before = plan.get("frame", "one"), "", []
    if frame == "packets":
        more, parts["data"] = " {packet}", {**parts["data"], "split": plan["split"]}
        if plan.get("length"):
            more += " {length}"
            parts["length"] = {"is": "length", "plus": chance.choice((0, -1))}
    elif frame == "addresses":
        high = chance.randrange(0x10, 0x60)
        more, parts["address"] = " {address}", {"is": "address", "bytes": 3}
        before = [
            f'blocks = [{{ start = "{high:02X} 00 00", size = {size} }}]', f"chunk = {plan['chunk']}",
        ]  # fmt: skip
    elif frame == "program":
        more, asked = " {program}", " {program}"
        before = ['kind = "program"']
    lines = [
        "\n[message.edit]",
        *before,
        f'request = "F0 {maker} {{device}} {command:02X}{asked} F7"',
        f'answer = "F0 {maker} {{device}} {command + 1:02X}{more} {body} {words} F7"',
        *(f"parts.{name} = {value_text(part)}" for name, part in {**parts, **sums}.items()),
    ]
    return "\n".join(lines) + "\n"


def _fields(
    chance: random.Random, count: int, *, eight: bool, spread: bool, wide: bool
) -> tuple[list[Any], list[dict[str, Any]]]:
    """Fields in a random order, and the parameters that they hold."""
    made = [_one(chance, f"panel.c{number}", eight=eight) for number in range(count)]
    fields = [group for group, _ in made]
    parameters = [one for _, some in made for one in some]
    fields.insert(chance.randrange(len(fields)), [{"gap": chance.randint(1, 4)}])
    flat: list[Any] = [field for group in fields for field in group]
    flat.append({"name": 8, "bytes": 2, "digit": 4} if wide else {"name": 8})
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
            size += field.get("gap", field.get("name", 1) * field.get("bytes", 1))
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
        self.frame = hidden.frame
        self.seed = seed
        self.now = 0.0
        self.name = ""
        self.program = 0
        self.slots: dict[str, Any] = {}
        self._begin()
        self.request = self.chart.codec.request("edit", self.address, **self.slots)

    def _begin(self) -> None:
        self.instrument = Instrument(self.chart, seed=self.seed, address=self.address)
        chance = random.Random(self.seed)
        self.program = chance.randrange(100) if self.frame == "program" else 0
        if self.frame == "program":
            self.slots = {"program": self.program}
        self.bases = base(self.chart, self.instrument.sound, chance, self.address, **self.slots)
        self.instrument.name = self.chart.codec.decode_all(self.bases, self.address).name

    @property
    def told(self) -> str:
        """What this person types when a sound was chosen."""
        return str(self.program) if self.frame == "program" else ""

    def other(self) -> tuple[bytes, ...]:
        """Choose another sound, and dump."""
        self.seed += 1000
        self._begin()
        return self.dump()

    def move(self, control: str, value: int) -> tuple[bytes, ...]:
        """Move one control, and dump."""
        self.now += 1.0
        self.instrument.turn(control, value, self.now)
        return self.dump()

    def call(self, name: str) -> tuple[bytes, ...]:
        """Name the sound, as far as the name goes, and dump."""
        name = name[: self.chart.codec.messages["edit"].name_size]
        self.bases = self._encoded(name=name)
        self.instrument.name = name
        return self.dump()

    def dump(self) -> tuple[bytes, ...]:
        """Ask the stand-in over its cable; one that answers with the program it plays is asked by hand."""
        if self.frame == "program":
            return self._encoded()
        self.instrument.bases["edit"] = self.bases
        self.now += 5.0
        self.instrument.due(self.now)
        self.instrument.feed(self.request, self.now)
        self.now += 5.0
        return tuple(raw for _, raw in self.instrument.due(self.now) if raw[0] == 0xF0)

    def _encoded(self, name: str | None = None) -> tuple[bytes, ...]:
        return self.chart.codec.encode(
            "edit", dict(self.instrument.sound), self.address, base=self.bases, name=name, form="answer", **self.slots
        )


def base(
    chart: Chart, values: Mapping[str, int], chance: random.Random, address: Address, **slots: Any
) -> tuple[bytes, ...]:
    """A dump with a name, and something in the bytes that nothing explains."""
    name = "".join(chance.choice("ABCDEFGHIJ abcdef") for _ in range(8)).strip() or "A"
    return chart.codec.encode("edit", dict(values), address, name=name, form="answer", **slots)
