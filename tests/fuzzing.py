"""Damaged and random charts and dumps, for the chartfuzz bench and its small run in the test suite."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterator
from typing import Any

from librarian.chart import Chart, carry, loads
from librarian.chart.language.root import ChartTable
from librarian.chart.language.writing import chart_text
from librarian.chart.paper import html, markdown
from librarian.chart.proving import prove
from librarian.chart.proving.values import dumps_of, sound
from librarian.chart.reference import example, tables
from librarian.errors import BadInput, LibrarianError
from librarian.messages import ALL_CALL, Address, Values, Version

PIECES = (
    '"', "'", "[", "]", "{", "}", "=", ".", ",", "\n", "#", "-1", "0", "127", "128", "16384", "1e400", "true", "nan",
    "[[", "]]", '"""', "{n}", "{device}", "\\", "\u2028", "[[parameter]]\n", "[identity]\n", "repeat = 1\n", "inf",
    "F0", "F7", "80", '"n"', "remove = true\n", "\x00", "é", "\u202e",
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    0, 1, -1, 2, 7, 8, 64, 127, 128, 255, 16383, 16384, 65536, 2**31, 2**70, -(2**31), 0.5, -1.5, 1e300, True, False,
    "", "x", "a" * 5000, "{n}", "{device}", "F0 7D F7", "F0 7D {data} F7", "0-3", "1..9999999", "\n", [], {}, [[]],
    [0, 1], [1, 0], [0, 16383], [-(2**31), 2**31 - 1], {"x": 1}, [{}], ["x"], [0] * 300,
)  # fmt: skip


def damaged(text: str, chance: random.Random) -> str:
    """A text with a few slips of the hand: pieces put in, letters and lines taken out, lines swapped."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at = chance.randrange(len(text) + 1)
        kind = chance.randrange(4)
        if kind == 0:
            text = text[:at] + chance.choice(PIECES) + text[at:]
        elif kind == 1:
            text = text[:at] + text[at + chance.choice((1, 3, 20, 200)) :]
        elif kind == 2:
            text = text[:at] + chance.choice(PIECES) + text[at + chance.randint(1, 3) :]
        else:
            lines = text.split("\n")
            one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
            lines[one], lines[other] = lines[other], lines[one]
            text = "\n".join(lines)
    return text


def changed(tree: dict[str, Any], chance: random.Random) -> dict[str, Any]:
    """Values of a chart with one to three of them replaced, dropped, copied or renamed."""
    tree = tomllib.loads(written(tree))
    for _ in range(chance.choice((1, 1, 2, 3))):
        holder, key = _somewhere(tree, chance)
        kind = chance.randrange(8)
        if kind == 0:
            holder[key] = chance.choice(VALUES)
        elif kind >= 4:
            holder[key] = _nearly(holder[key], chance)
        elif kind == 1:
            del holder[key]
        elif kind == 2 and isinstance(holder, list):
            holder.append(holder[key])
        else:
            other, from_there = _somewhere(tree, chance)
            if not _inside(other[from_there], holder):
                holder[key] = other[from_there]
        if not tree:
            break
    return tree


def _nearly(value: Any, chance: random.Random) -> Any:
    """A value near the one that stands there: such a chart often loads."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + chance.choice((-64, -2, -1, 1, 2, 64))
    if isinstance(value, str) and value:
        at = chance.randrange(len(value))
        return value[:at] + chance.choice("0123456789abcF {}") + value[at + chance.randint(0, 1) :]
    if isinstance(value, list) and value:
        return chance.sample(value, len(value))
    return value


def _somewhere(tree: Any, chance: random.Random) -> tuple[Any, Any]:
    holder: Any = None
    key: Any = None
    here = tree
    while isinstance(here, dict | list) and here:
        holder, key = here, chance.choice(list(here)) if isinstance(here, dict) else chance.randrange(len(here))
        here = holder[key]
        if chance.random() < 0.2:
            break
    return holder, key


def _inside(tree: Any, what: Any) -> bool:
    """True where `what` is part of `tree`: putting it into itself would make an endless chart."""
    if tree is what:
        return True
    parts = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ()
    return any(_inside(part, what) for part in parts)


def written(tree: dict[str, Any]) -> str:
    """A tree as TOML text."""
    return chart_text(tree, lambda _: 0, "fuzz")


def invented(chance: random.Random) -> dict[str, Any]:
    """A chart of random keys of the language with their examples, or with values that make little sense."""
    models = {model.__name__: model for _, model in tables()}

    def table(name: str) -> dict[str, Any]:
        made: dict[str, Any] = {}
        for key, field in models[name].model_fields.items():
            word = field.alias or key
            if field.is_required() or chance.random() < 0.3:
                made[word] = chance.choice(VALUES) if chance.random() < 0.1 else example(models[name], word, field)
        return made

    tree: dict[str, Any] = {"id": "fuzz", "name": "Fuzz", "revision": chance.randint(1, 5)}
    tree["section"] = [{**table("SectionTable"), "id": f"s{n}"} for n in range(chance.randint(1, 3))]
    tree["parameter"] = [
        {**table("ParameterTable"), "id": f"p{n}", "section": f"s{chance.randint(0, 2)}"} for n in range(4)
    ]
    for one in tree["parameter"]:
        one["bindings"] = [table("BindingTable") for _ in range(chance.randint(0, 2))]
    for key, field in ChartTable.model_fields.items():
        if key not in tree and chance.random() < 0.3:
            tree[key] = example(ChartTable, key, field)
    return tree


DISPLAYS: tuple[dict[str, Any], ...] = (
    {}, {"unit": "st"}, {"zero": 3, "unit": "ct"}, {"from": 0, "to": 100, "unit": "%", "decimals": 0},
    {"scale": "exponential", "from": 20, "to": 20000, "unit": "Hz"}, {"from": -60.0, "to": 6.5, "unit": "dB"},
    {"scale": "logarithmic", "from": 0, "to": 3, "base": 50.0, "ends": {"low": "off"}},
    {"scale": "square", "from": 0, "to": 10, "unit": "s"}, {"scale": "power", "exponent": 0.4, "from": 5, "to": -5},
    {"scale": "exponential", "from": 0.125, "to": 8, "form": "ratio"}, {"form": "note", "middle_c": 3},
    {"scale": "exponential", "from": 0.0005, "to": 30, "unit": "s", "decimals": 2, "ends": {"high": "endless"}},
)  # fmt: skip


def plausible(chance: random.Random) -> dict[str, Any]:
    """A chart that should load: random parameters, displays, bindings of every kind, and a history."""
    numbers = chance.sample([n for n in range(1, 96) if n not in {6, 32, 38}], 40)
    parameters: list[dict[str, Any]] = []
    for index in range(chance.randint(1, 12)):
        low = chance.choice((0, 0, 0, -64, -3, 5))
        high = low + chance.choice((1, 2, 5, 63, 100, 127, 300, 1023, 16383))
        one: dict[str, Any] = {"id": f"p{index}", "label": f"P {index}", "section": "s", "range": [low, high]}
        one["display"] = chance.choice(DISPLAYS)
        if high - low < 8 and chance.random() < 0.5:
            one |= {"kind": "stepped", "positions": [f"name {n}" for n in range(high - low + 1)]}
            del one["display"]
        one["kind"] = one.get("kind", chance.choice(("continuous", "bipolar")))
        one["bindings"] = [_binding(index, low, high, numbers, chance) for _ in range(chance.randint(1, 2))]
        one["bindings"] = one["bindings"][: 1 if "nrpn" in one["bindings"][0] else 2]
        if chance.random() < 0.3:
            one["default"] = chance.randint(low, high)
        parameters.append(one)
    chart = {"id": "likely", "name": "Likely", "revision": 2, "section": [{"id": "s", "label": "S"}]}
    last = parameters[-1]
    change = chance.choice((
        {"added": last["id"]}, {"renamed": "old", "to": last["id"]}, {"moved": last["id"]},
        {"rescaled": last["id"], "was": [0, 10]}, {"removed": "gone", "was": [0, 9]},
        {"merged": ["m1", "m2"], "ranges": [[0, 5], [0, 9]], "to": last["id"]},
    ))  # fmt: skip
    return {**chart, "parameter": parameters, "history": [{"number": 2, "changes": [change]}]}


def _binding(index: int, low: int, high: int, numbers: list[int], chance: random.Random) -> dict[str, Any]:
    width = high - low
    maps = ["scaled"] if width > 127 else ["scaled", "stepped", "direct"]
    name = chance.choice(maps)
    made: dict[str, Any] = {"map": name, "offset": -low} if name == "direct" else {"map": name}
    if chance.random() < 0.2:
        made["inverted"] = True
    if chance.random() < 0.5:
        return {
            "nrpn": [index, chance.randrange(128)],
            "bits": 7 if width < 128 and chance.random() < 0.5 else 14,
            **made,
        }
    if chance.random() < 0.3:
        order = chance.choice(("msb_first", "lsb_first", "either"))
        return {"cc14": [numbers.pop(), numbers.pop()], "order": order, **made}
    return {"cc": numbers.pop(), **made}


def used(chart: Chart, chance: random.Random) -> None:
    """Everything that is done with a chart, on values, texts and dumps that may be damaged."""
    values = sound(chart, chance)
    for name, one in chart.parameters.items():
        value = values[name]
        if one.display(one.parse(one.display(value))) != one.display(value):
            raise AssertionError(f"{name}: {value} reads {one.display(value)} and cannot be typed back")
        one.difference(value, one.low)
        _tried(one.parse, "".join(chance.choice("0123456789 kHzms−-+.,:#") for _ in range(chance.randint(0, 8))))
    proof = prove(chart, seed=chance.randrange(1000), count=3)
    if not proof.passed:
        raise AssertionError(f"{[one.trouble for one in proof.trials if one.trouble]}")
    markdown(chart)
    html(chart)
    for revision in chart.revisions:
        _tried(carry, Version(chart.id, chart.revision, Values(values)), chart, revision)
    for raw in _dumps(chart, values, chance):
        received(chart, raw)


def _dumps(chart: Chart, values: dict[str, int], chance: random.Random) -> Iterator[bytes]:
    for info in chart.codec.messages.values():
        if not info.carries or info.single_parameter:
            continue
        device = chart.default_address.device
        there = Address(chart.channel, 0 if device == ALL_CALL else device)
        raws, _ = dumps_of(chart, info, values, chance, there)
        for raw in raws[:2]:
            yield raw
            for _ in range(3):
                yield damaged_bytes(raw, chance)


def damaged_bytes(raw: bytes, chance: random.Random) -> bytes:
    """A dump with a byte changed, dropped, put in, or cut off."""
    at = chance.randrange(len(raw))
    kind = chance.randrange(4)
    if kind == 0:
        return raw[:at] + bytes((chance.randrange(256),)) + raw[at + 1 :]
    if kind == 1:
        return raw[:at] + raw[at + 1 :]
    if kind == 2:
        return raw[:at] + bytes((chance.randrange(128),)) + raw[at:]
    return raw[:at]


def received(chart: Chart, raw: bytes) -> None:
    """What is done with bytes that came; only our own errors may come out of it."""
    codec = chart.codec
    _tried(codec.explain, raw, chart.default_address)
    for address in (chart.default_address, Address(3, ALL_CALL)):
        _tried(codec.recognise, raw, address)
        _tried(codec.decode, raw, address)
        _tried(codec.heard, raw, address)
        listener = codec.listener(address)
        listener.is_known(raw)
        listener.feed(raw)
        for name in codec.messages:
            _tried(_gathered, chart, name, address, raw)


def _gathered(chart: Chart, name: str, address: Address, raw: bytes) -> None:
    chart.codec.gather(name, address).feed(raw)


def _tried(call: Any, *arguments: Any) -> None:
    try:
        call(*arguments)
    except LibrarianError as error:
        if not str(error):
            raise AssertionError("an error without a sentence") from error


def case(texts: list[str], number: int, seed: int) -> str:
    """Case `number` of a seed: make a chart text, load it and use it. Gives what happened; raises what is a bug."""
    chance = random.Random(f"{seed}/{number}")
    kind = number % 4
    if kind == 0:
        text = damaged(chance.choice(texts), chance)
    elif kind == 1:
        text = written(changed(tomllib.loads(chance.choice(texts)), chance))
    elif kind == 2:
        text = written(plausible(chance))
    else:
        text = written(invented(chance))
    try:
        chart = loads(text)
    except BadInput as error:
        if not str(error) or kind == 2:
            raise AssertionError(f"refused: {error}") from error
        return "refused"
    used(chart, chance)
    return "used"
