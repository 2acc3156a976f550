"""Instruments that nobody has seen: a whole random chart from a seed, with everything a conversation may meet."""

from __future__ import annotations

from functools import cache
from random import Random
from typing import Any

from librarian.chart import Chart, loads
from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS
from librarian.chart.dump.steps.packing import PACKING_NAMES, PACKINGS
from librarian.chart.language.writing import chart_text

Table = dict[str, Any]

SHAPES = (
    "dump", "dump only", "dump and controllers", "packets", "packets, answers wanted", "addresses", "singles",
    "singles and controllers", "controllers", "by hand", "half a dump", "half a dump and singles", "bank only",
)  # fmt: skip
"""What kinds of instruments there are, by how their sound travels."""


@cache
def unseen(seed: int, shape: str = "") -> Chart:
    """The chart of this seed; `shape`: one of `SHAPES`, else the seed chooses."""
    chance = Random(f"unseen {seed} {shape}")
    return _Maker(chance, shape or SHAPES[seed % len(SHAPES)], seed).chart()


class _Maker:
    """Puts one chart together."""

    def __init__(self, chance: Random, shape: str, seed: int) -> None:
        self._chance = chance
        self._shape = shape
        self._maker = chance.choice(("7D", "00 7F 7F"))
        self._singly = shape in {"addresses", "singles", "singles and controllers", "half a dump and singles"}
        self._by_controllers = shape in {
            "dump and controllers", "singles and controllers", "controllers", "by hand", "half a dump",
        }  # fmt: skip
        self._numbers = chance.sample([number for number in range(1, 120) if self._is_free(number)], 60)
        self._pairs = chance.sample([number for number in range(12, 32) if number != 6], 8)
        self._numbers = [n for n in self._numbers if n not in self._pairs and n - 32 not in self._pairs]
        self._selected = chance.randrange(100)
        self._device = "" if chance.random() < 0.15 else " {device}"
        self._tree: Table = {
            "id": f"unseen-{seed}", "name": f"Unseen {seed}", "revision": chance.randint(1, 4),
        }  # fmt: skip
        self._sides = self._parameters()
        self._dumped = {"half a dump": self._half, "half a dump and singles": self._half}.get(shape, self._every)()

    @staticmethod
    def _is_free(number: int) -> bool:
        return number not in {6, 38, 32, 64} and not 96 <= number <= 101

    def chart(self) -> Chart:
        """Everything, compiled."""
        self._head()
        tree, shape = self._tree, self._shape
        if shape.startswith(("dump", "half")):
            self._plain("edit", "edit buffer", "10")
        elif shape.startswith("packets"):
            self._packets(required="wanted" in shape)
        elif shape == "addresses":
            self._addresses()
        if shape == "bank only" or (tree.get("memory") and shape not in {"addresses", "by hand", "controllers"}):
            self._stored()
        if self._singly and shape != "addresses":
            self._numbered()
        self._ways()
        return loads(chart_text(tree, lambda path: path[1] if isinstance(path[1], int) else 0, "nobody's"))

    # -- the instrument as a whole ------------------------------------------------------------------------------------

    def _head(self) -> None:
        chance, tree = self._chance, self._tree
        if chance.random() < 0.75:
            tree["identity"] = {"manufacturer": self._maker, "family": chance.randrange(1000), "member": 7}
            if chance.random() < 0.6:
                tree["identity"]["firmware"] = {"text": "{1}.{2}", "from": "1.0", "before": "3.0"}
        tree["address"] = {"channel": chance.randint(1, 16), "device": chance.randrange(16)}
        rule = chance.choice(("plain", "plain", "nibble")) if self._device else "absent"
        if rule != "plain":
            tree["address"]["device_rule"] = rule
        if rule == "nibble":
            tree["address"]["device_base"] = 0x30
        tree["pace"] = {
            "gap_after_sysex_ms": chance.choice((0, 5, 20, 60)),
            "gap_after_cc_ms": chance.choice((0, 1, 4)),
            "write_delay_ms": chance.choice((0, 40, 200)),
        }
        if chance.random() < 0.3:
            tree["pace"]["bytes_per_second"] = chance.choice((1000, 3125, 31250))
        tree["panel"] = {"takeover": chance.choice(("jumps", "waits", "scaled", "unknown"))}
        tree["controllers"] = {"null": chance.choice(("after_group", "after_group", "after_each", "never"))}
        if chance.random() < 0.5 or self._shape == "bank only":
            tree["memory"] = {"programs": chance.choice((3, 4, 8)), "display": chance.choice(("from_one", "letters"))}

    def _parameters(self) -> list[Table]:
        chance = self._chance
        sections = [{"id": f"s{number}", "label": f"S {number}"} for number in range(chance.randint(1, 4))]
        self._tree["section"] = sections
        made: list[Table] = []
        for number in range(chance.randint(4, 30)):
            one: Table = {"id": f"p{number}", "label": f"P {number}", "section": sections[number % len(sections)]["id"]}
            kind = chance.randrange(5)
            if kind == 0:
                one |= {"kind": "stepped", "positions": [f"step {step}" for step in range(chance.randint(2, 9))]}
                one["range"] = [0, len(one["positions"]) - 1]
            elif kind == 1:
                one |= {"kind": "switch", "positions": ["off", "on"], "range": [0, 1]}
            elif kind == 2:
                one |= {"kind": "bipolar", "range": [-chance.choice((7, 24, 64)), chance.choice((7, 24, 63))]}
            else:
                one |= {"kind": "continuous", "range": [0, chance.choice((1, 31, 100, 127, 127, 1023, 16383))]}
            if chance.random() < 0.1:
                one["setup"] = True
            often = {"half a dump": 1.0 if number % 2 == 0 else 0.3, "dump only": 0.0}
            chances = often.get(self._shape, 1.0 if self._by_controllers else 0.2)
            if chance.random() < chances:
                one["bindings"] = [self._binding(*one["range"])]
            made.append(one)
        if all(one.get("setup") for one in made):
            made[0].pop("setup")
        self._tree["parameter"] = made
        return made

    def _binding(self, low: int, high: int) -> Table:
        chance = self._chance
        direct = {"map": "direct", "offset": -low} if low else {"map": "direct"}
        if high - low <= 127 and self._numbers and chance.random() < 0.6:
            return {"cc": self._numbers.pop(), **chance.choice((direct, direct, {"map": "scaled"}))}
        if self._pairs and chance.random() < 0.4:
            return {"cc14": self._pairs.pop(), "order": chance.choice(("msb_first", "lsb_first", "either")), **direct}
        self._selected += chance.choice((1, 1, 1, 128, 40))
        kind = {"nrpn": self._selected}
        return {**kind, "bits": 7, **direct} if high - low <= 127 and chance.random() < 0.4 else {**kind, **direct}

    # -- messages -----------------------------------------------------------------------------------------------------

    def _every(self) -> list[Table]:
        return self._sides

    def _half(self) -> list[Table]:
        """The others must come another way: by a controller, or one by one."""
        bare = [one for one in self._sides if "bindings" not in one]
        held = [one for number, one in enumerate(self._sides) if number % 2 or (one in bare and not self._singly)]
        return held or self._sides[:1]

    def _layout(self, name: str, *, eight: bool) -> None:
        chance = self._chance
        fields: list[Any] = []
        for one in chance.sample(self._dumped, len(self._dumped)):
            low, high = one["range"]
            full = 255 if eight else 127
            field: Table = {"of": one["id"]}
            width = high - low
            if width > full:
                field |= {"bytes": 2, "order": chance.choice(("msb_first", "lsb_first"))}
                if chance.random() < 0.3:
                    field |= {"bytes": 4, "digit": 4}
            elif chance.random() < 0.2:
                field |= {"bytes": 2, "digit": 4}
            if low < 0:
                field["coding"] = chance.choice(("offset", "twos"))
            if chance.random() < 0.1:
                field["inverted"] = True
            fields.append(field)
            if chance.random() < 0.15:
                fields.append({"gap": chance.randint(1, 5)})
        if chance.random() < 0.7:
            fields.insert(chance.randrange(len(fields) + 1), {"name": chance.randint(4, 12)})
        self._tree.setdefault("layout", {})[name] = {"fields": fields, "digit": 8 if eight else 7}

    def _sums(self, start: str) -> tuple[str, Table]:
        chance = self._chance
        count = chance.choice((0, 1, 1, 1, 2))
        parts = {
            f"sum{number}": {
                "is": "checksum", "kind": chance.choice(CHECKSUM_KINDS),
                "bits": chance.choice((7, 7, 14)), "from": start,
            }
            for number in range(count)
        }  # fmt: skip
        return "".join(f" {{{name}}}" for name in parts), dict(parts)

    def _packing(self) -> str:
        return self._chance.choice(PACKING_NAMES)

    def _plain(self, name: str, kind: str, number: str, slot: str = "", times: int = 1) -> None:
        packing = self._packing()
        layout = f"{name}_sound"
        self._layout(layout, eight=PACKINGS[packing].eight)
        words, sums = self._sums("data")
        head = f"F0 {self._maker}{self._device}"
        answer = f"{int(number, 16) + 1:02X}"
        data: Table = {"is": "data", "layout": layout, "packing": packing}
        if times > 1:
            data["times"] = times
        self._tree.setdefault("message", {})[name] = {
            "kind": kind,
            "request": f"{head} {number}{slot} F7",
            "answer": f"{head} {answer}{slot} {{data}}{words} F7",
            "parts": {"data": data, **sums},
        }

    def _stored(self) -> None:
        chance = self._chance
        programs = self._tree["memory"]["programs"]
        if self._shape != "bank only":
            self._plain("program", "program", "20", " {program}")
        if self._shape == "bank only" or chance.random() < 0.4:
            self._plain("bank", "bank", "30", times=programs)

    def _packets(self, *, required: bool) -> None:
        chance = self._chance
        packing = self._packing()
        self._layout("sound", eight=PACKINGS[packing].eight)
        head = f"F0 {self._maker}{self._device}"
        words, sums = self._sums("data")
        split: Table = {
            "is": "data", "layout": "sound", "packing": packing, "split": chance.randint(7, 24),
            "split_view": chance.choice(("wire", "unpacked")), "last": chance.choice(("short", "filled")),
        }  # fmt: skip
        handshake: Table = {"style": "universal", "answer_ms": chance.choice((30, 60, 200)), "retries": 3}
        if required:
            handshake["required"] = True
        message: Table = {
            "kind": "edit buffer", "request": f"{head} 10 F7", "handshake": handshake,
            "answer": f"{head} 19 {{packet}} {{data}}{words} F7", "parts": {"data": split, **sums},
        }  # fmt: skip
        if chance.random() < 0.5:
            message |= {"begin": f"{head} 18 F7", "end": f"{head} 1A F7"}
        self._tree.setdefault("message", {})["edit"] = message

    def _addresses(self) -> None:
        chance = self._chance
        self._layout("sound", eight=False)
        size = sum(
            field.get("gap", field.get("name", field.get("bytes", 1)))
            for field in self._tree["layout"]["sound"]["fields"]
        )
        cut = chance.choice((0, size // 2))
        blocks = [{"start": "10 00 00", "size": cut or size}]
        if cut:
            blocks.append({"start": "10 20 00", "size": size - cut})
        head = f"F0 {self._maker}{self._device}"
        ends = {"sum": {"is": "checksum", "kind": chance.choice(CHECKSUM_KINDS), "from": "address"}}
        where = {"address": {"is": "address", "bytes": 3}, "size": {"is": "size", "bytes": 3}}
        asks, brings = f"{head} 11 {{address}} {{size}} {{sum}} F7", f"{head} 12 {{address}}"
        self._tree["message"] = {
            "edit": {
                "kind": "edit buffer", "request": asks, "answer": f"{brings} {{data}} {{sum}} F7",
                "blocks": blocks, "chunk": chance.choice((200, 16, 9)),
                "parts": {**where, "data": {"is": "data", "layout": "sound"}, **ends},
            },
            "one": {
                "kind": "parameter", "layout": "sound", "of": "edit", "request": asks,
                "write": f"{brings} {{value}} {{sum}} F7", "parts": {**where, "value": {"is": "value"}, **ends},
            },
        }  # fmt: skip

    def _numbered(self) -> None:
        """A message for each parameter alone: its number and its value."""
        head = f"F0 {self._maker}{self._device}"
        low = min(one["range"][0] for one in self._sides)
        value: Table = {"is": "value", "bytes": 3}
        if low < 0:
            value |= {"coding": "offset", "zero": 8192}
        numbers = {one["id"]: number for number, one in enumerate(self._sides)}
        self._tree.setdefault("message", {})["one"] = {
            "kind": "parameter", "request": f"{head} 41 {{number}} F7", "write": f"{head} 42 {{number}} {{value}} F7",
            "numbers": numbers, "parts": {"number": {"is": "parameter"}, "value": value},
        }  # fmt: skip

    # -- ways ---------------------------------------------------------------------------------------------------------

    def _ways(self) -> None:
        chance, shape, messages = self._chance, self._shape, self._tree.get("message", {})
        capture: list[Table] = []
        recall: list[Table] = []
        timeout = chance.choice((300, 800, 2000))
        if "edit" in messages:
            capture.append({"way": "dump", "message": "edit", "timeout_ms": timeout})
            recall.append({"way": "dump", "message": "edit", "settle_ms": chance.choice((0, 0, 30))})
            recall[-1]["acknowledged"] = chance.random() < 0.2 and "handshake" not in messages["edit"]
        if shape in {"controllers", "half a dump"} or (shape == "dump and controllers" and chance.random() < 0.5):
            capture.append(self._controllers_asked(timeout))
        if self._by_controllers:
            recall.append({"way": "controllers"})
        if any(one.get("bindings") for one in self._sides):
            capture.append({"way": "hand"})
        if "one" in messages:
            recall.append({"way": "parameters"})
        if shape == "bank only":
            recall.append({"way": "dump", "message": "bank", "into": "memory"})
        if shape in {"dump and controllers", "addresses"}:
            chance.shuffle(recall)
        self._tree["capture"], self._tree["recall"] = capture, recall
        for key in ("capture", "recall"):
            if not self._tree[key]:
                del self._tree[key]

    def _controllers_asked(self, timeout: int) -> Table:
        chance = self._chance
        carried = [one["id"] for one in self._sides if one.get("bindings")]
        bound = {binding.get("cc") for one in self._sides for binding in one.get("bindings", ())}
        free = next(number for number in range(119, 101, -1) if number not in bound)
        request: Table = chance.choice((
            {"cc": free, "value": 127}, {"nrpn": 16000, "value": 1}, {"program": 99},
            {"sysex": f"F0 {self._maker} 7A 01 F7"},
        ))  # fmt: skip
        end: Table = {"silence_ms": chance.choice((100, 300))}
        end |= chance.choice(({}, {"count": len(carried)}, {"last": chance.choice(carried)}))
        return {"way": "controllers", "request": [request], "end": end, "timeout_ms": timeout}
