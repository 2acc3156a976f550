"""A hypothesis strategy over the dump language: charts nobody thought of, all of them sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from librarian.chart import dump
from librarian.chart.dump.planning.plan import make_plan
from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS
from librarian.chart.dump.steps.number import Coding
from librarian.chart.dump.steps.packing import PACKING_NAMES, PACKINGS

RULE = dump.AddressRule(device=5, programs=32, banks=4)
Draw = Any


@dataclass(frozen=True)
class Sketch:
    """Dump tables as TOML would give them, and the parameters they need."""

    tables: dict[str, Any]
    parameters: dict[str, dump.ParameterSpec]

    @property
    def dumps(self) -> dump.Dumps:
        """The tables as models."""
        return dump.Dumps(
            message={name: dump.Message.model_validate(table) for name, table in self.tables["message"].items()},
            layout={name: dump.Layout.model_validate(table) for name, table in self.tables["layout"].items()},
            charset={name: dump.Charset.model_validate(table) for name, table in self.tables["charset"].items()},
        )

    def codec(self) -> dump.DumpCodec:
        """The codec; any problem is a fault of the strategy, or of the check."""
        problems = dump.check(self.dumps, self.parameters, RULE)
        assert problems == [], problems
        return dump.compile(self.dumps, self.parameters, RULE)


def _field(draw: Draw, parameters: dict[str, dump.ParameterSpec], identity: str, digit: int) -> dict[str, Any]:
    """One parameter field in whole bytes or in bits of one, with a range that it can hold."""
    size = draw(st.sampled_from([1, 1, 1, 2, 3]))
    own = draw(st.sampled_from([digit, digit, 4, 7])) if digit == 8 else draw(st.sampled_from([digit, digit, 4]))
    width = size * own
    low_bit = draw(st.integers(0, width - 1)) if draw(st.booleans()) else 0
    high_bit = draw(st.integers(low_bit, width - 1)) if low_bit or draw(st.booleans()) else width - 1
    bits = high_bit - low_bit + 1
    table: dict[str, Any] = {"of": identity}
    if size > 1:
        table["bytes"] = size
    if own != digit:
        table["digit"] = own
    if size > 1 and draw(st.booleans()):
        table["order"] = "lsb_first"
    if bits < width:
        table["bits"] = f"{low_bit}-{high_bit}" if bits > 1 else low_bit
    if bits <= 6 and draw(st.integers(0, 4)) == 0:
        stored = draw(st.lists(st.integers(0, 2**bits - 1), min_size=1, max_size=2**bits, unique=True))
        table["codes"] = stored
        low = draw(st.integers(-3, 3))
        parameters[identity] = dump.ParameterSpec(identity, low, low + len(stored) - 1)
        return table
    name = draw(st.sampled_from(["plain", "offset", "twos", "sign"])) if bits > 1 else "plain"
    inverted = draw(st.booleans()) and draw(st.booleans())
    zero = draw(st.integers(-5, 2**bits + 5)) if name == "offset" and draw(st.booleans()) else None
    low, high = Coding(bits, name, zero, inverted).limits()
    if name != "plain":
        table["coding"] = name
    if zero is not None:
        table["zero"] = zero
    if inverted:
        table["inverted"] = True
    if draw(st.booleans()):
        low, high = sorted((draw(st.integers(low, high)), draw(st.integers(low, high))))
    parameters[identity] = dump.ParameterSpec(identity, low, high)
    return table


def _items(
    draw: Draw, parameters: dict[str, dump.ParameterSpec], prefix: str, digit: int, depth: int, words: list[str]
) -> list[Any]:
    """A list of fields without `at`: every offset is implied."""
    items: list[Any] = []
    for number in range(draw(st.integers(1, 4))):
        identity = f"{prefix}{number}" + "".join(f".{{{word}}}" for word in words)
        what = draw(st.sampled_from(["field", "field", "field", "gap", "same", "repeat"]))
        if what == "gap":
            items.append({"gap": draw(st.integers(1, 3)), "fill": draw(st.integers(0, 127))})
        elif what == "same":
            cut = draw(st.integers(1, digit - 1))
            for half, bits in (("l", f"0-{cut - 1}"), ("h", f"{cut}-{digit - 1}")):
                own = f"{identity}{half}"
                width = cut if half == "l" else digit - cut
                parameters[own] = dump.ParameterSpec(own, 0, 2**width - 1)
                items.append({"of": own, "bits": bits} | ({"same": True} if half == "h" else {}))
        elif what == "repeat" and depth < 2:
            word = f"w{depth}"
            count = draw(st.integers(1, 3))
            inner = _items(draw, parameters, f"{prefix}{number}r", digit, depth + 1, [*words, word])
            nesting = draw(st.sampled_from(["items", "fields"]))
            over = draw(st.sampled_from([f"1..{count}", f"{count}..1", [f"k{index}" for index in range(count)]]))
            items.append({"repeat": word, "over": over, "fields": inner, "nesting": nesting})
        else:
            items.append(_field(draw, parameters, identity, digit))
    return items


@st.composite
def layouts(
    draw: Draw, prefix: str, *, digit: int, named: bool
) -> tuple[dict[str, Any], dict[str, dump.ParameterSpec]]:
    """A layout and its parameters. `digit`: bits in each byte of the data."""
    templates: dict[str, dump.ParameterSpec] = {}
    items = _items(draw, templates, prefix, digit, 0, [])
    parameters = _written_out(templates, items)
    if named and draw(st.booleans()):
        items.insert(draw(st.integers(0, len(items))), _name(draw))
    # `same` binds a field to the one before: nothing may come between
    for place in range(1, len(items)):
        if isinstance(items[place], dict) and items[place].get("same") and "of" not in items[place - 1]:
            items[place - 1], items[place - 2] = items[place - 2], items[place - 1]
    return {"fields": items, "digit": digit}, parameters


def _name(draw: Draw) -> dict[str, Any]:
    table: dict[str, Any] = {"name": draw(st.integers(1, 8))}
    if draw(st.booleans()):
        table["pad"] = 0
    shape = draw(st.sampled_from(["bytes", "nibbles", "apart"]))
    if shape == "nibbles":
        table |= {"bytes": 2, "digit": 4}
    elif shape == "apart":
        table |= {"stride": 2, "bits": "0-6"}
    return table


def _written_out(templates: dict[str, dump.ParameterSpec], items: list[Any]) -> dict[str, dump.ParameterSpec]:
    """Parameters of the fields, one for every repetition."""
    found: dict[str, dump.ParameterSpec] = {}

    def series(over: Any) -> list[str]:
        if isinstance(over, list):
            return [str(each) for each in over]
        first, last = (int(word) for word in over.split(".."))
        step = 1 if last >= first else -1
        return [str(index) for index in range(first, last + step, step)]

    def walk(inside: list[Any], words: dict[str, str]) -> None:
        for item in inside:
            if "repeat" in item:
                for index in series(item["over"]):
                    walk(item["fields"], {**words, item["repeat"]: index})
            elif "of" in item:
                spec = templates[item["of"]]
                own = item["of"]
                for word, index in words.items():
                    own = own.replace("{" + word + "}", index)
                found[own] = dump.ParameterSpec(own, spec.low, spec.high)

    walk(items, {})
    return found


@st.composite
def sum_kinds(draw: Draw, bits: int) -> dict[str, Any]:
    """A kind of checksum of this width, with all that it needs."""
    kind = draw(st.sampled_from([*CHECKSUM_KINDS, "crc"]))
    table: dict[str, Any] = {"kind": kind, "bits": bits}
    if kind == "crc":
        table["polynomial"] = draw(st.integers(1, (1 << bits) - 1)) | 1
        table |= {key: True for key in ("reflected_in", "reflected_out") if draw(st.booleans())}
    if draw(st.booleans()):
        table |= {"start": draw(st.integers(0, (1 << bits) - 1)), "final": draw(st.integers(0, (1 << bits) - 1))}
    return table


@st.composite
def sketches(draw: Draw) -> Sketch:
    """A chart's dump side with one message of one or two data areas, in any of the ways the language knows."""
    parameters: dict[str, dump.ParameterSpec] = {}
    layout_tables: dict[str, Any] = {}
    parts: dict[str, Any] = {}
    maker = draw(st.sampled_from(["7D", "00 20 7A"]))
    head = [maker, draw(st.sampled_from(["{device}", "3{device}", "{device}"])), f"{draw(st.integers(0, 127)):02X}"]
    if draw(st.booleans()):
        head.append("{program}")
    if draw(st.booleans()):
        parts["kept"] = {"is": "reserved", "bytes": draw(st.integers(1, 3)), "fill": draw(st.integers(0, 127))}
        head.append("{kept}")
    versions = draw(st.booleans()) and draw(st.booleans())
    body: list[str] = []
    spread = draw(st.sampled_from(["no", "no", "packets", "addresses"]))
    areas = 1 if spread != "no" else draw(st.integers(1, 2))
    times = draw(st.sampled_from([1, 1, 3])) if spread != "addresses" else 1
    for index in range(areas):
        packing = draw(st.sampled_from(PACKING_NAMES))
        eight = PACKINGS[packing].eight
        digit = 8 if eight else 7
        table, own = draw(layouts(f"{'ab'[index]}", digit=digit, named=index == 0))
        layout_tables[f"layout{index}"] = table
        parameters |= own
        part: dict[str, Any] = {"is": "data", "layout": f"layout{index}", "packing": packing}
        if times > 1:
            part["times"] = times
        if versions:
            name = part.pop("layout")
            part["layouts"] = {"1": name, "0x10": name}
        cut: dict[str, Any] = {}
        if spread == "packets":
            cut = {
                "split": draw(st.integers(1, 9)),
                "split_view": draw(st.sampled_from(["wire", "unpacked"])),
                "last": draw(st.sampled_from(["short", "filled"])),
            }
        elif spread == "addresses" and eight:
            part["split_view"] = "unpacked"
        if spread != "addresses" and eight and draw(st.booleans()):
            parts[f"inner{index}"] = {"is": "checksum", "from": f"data{index}", **draw(sum_kinds(8))}
            group_times = part.pop("times", 1)
            parts[f"group{index}"] = {
                "is": "group", "holds": f"{{data{index}}} {{inner{index}}}", "packing": packing, "times": group_times,
                **cut,
            }  # fmt: skip
            part["packing"] = "plain"
            body.append(f"{{group{index}}}")
        else:
            part |= cut
            body.append(f"{{data{index}}}")
        parts[f"data{index}"] = part
    if versions:
        parts["version"] = {"is": "version", "default": 1}
        head.append("{version}")
    message: dict[str, Any] = {"kind": "bank" if times > 1 else "edit buffer"}
    if spread == "packets":
        parts["packet"] = {"is": "packet", "bytes": 2, "first": draw(st.integers(0, 3))}
        head.append("{packet}")
    elif spread == "addresses":
        head = [word for word in head if word != "{program}"]
        parts["address"] = {"is": "address", "bytes": 3}
        head.append("{address}")
        message["chunk"] = draw(st.integers(1, 9))
    elif draw(st.booleans()):
        parts["length"] = {"is": "length", "bytes": 3, "from": body[0].strip("{}"), "to": body[-1].strip("{}")}
        head.append("{length}")
    tail: list[str] = []
    for index in range(draw(st.integers(0, 2))):
        start = draw(st.sampled_from([None, 3, body[0].strip("{}")]))
        bits = draw(st.sampled_from([7, 7, 14]))
        table = {"is": "checksum", **draw(sum_kinds(bits))}
        if start is not None:
            table["from"] = start
        if draw(st.booleans()):
            table["to"] = body[-1].strip("{}")
        if draw(st.booleans()):
            table["view"] = "unpacked"
        if draw(st.booleans()):
            table["order"] = "lsb_first"
        parts[f"sum{index}"] = table
        tail.append(f"{{sum{index}}}")
    message["answer"] = " ".join(["F0", *head, *body, *tail, "F7"])
    message["parts"] = parts
    sketch = Sketch({"message": {"dump": message}, "layout": layout_tables, "charset": {}}, parameters)
    if spread == "addresses":
        size = make_plan(sketch.dumps, parameters, RULE).places["layout0"].size
        cut = draw(st.integers(0, size - 1))
        blocks = [{"start": "10 00 00", "size": cut or size}]
        if cut:
            blocks.append({"start": "10 20 00", "size": size - cut})
        message["blocks"] = blocks
    return sketch


@st.composite
def sounds(draw: Draw, parameters: dict[str, dump.ParameterSpec]) -> dict[str, int]:
    """A value for every parameter, the ends of its range more often than by chance."""
    return {
        identity: draw(st.sampled_from([spec.low, spec.high]) | st.integers(spec.low, spec.high))
        for identity, spec in parameters.items()
    }
