"""Faults of dumps that belong together, of CRCs and of lengths: each has its own sentence, at its own place."""

from __future__ import annotations

import pytest

from librarian.chart import ChartFaults, loads
from tests.dumped import plain_specs, problems_of

PARAMETERS = plain_specs("abcd")
LAYOUTS = """
[layout.one]
fields = ["a", "b"]
[layout.two]
fields = ["c", "d"]
[layout.both]
fields = ["b", "c"]
"""
EDIT = """
[message.edit]
answer = "F0 7D {{data}} {{sum}} F7"
parts.data = {{ is = "data", layout = "one" }}
parts.sum = {{ is = "checksum", from = "data", {sum} }}
"""
PAIR = """
[message.all]
{all}
[message.x]
{x}
answer = "F0 7D 01 {{data}} F7"
parts.data = {{ is = "data", layout = "one" }}
[message.y]
request = "F0 7D 12 F7"
answer = "F0 7D 02 {{data}} F7"
parts.data = {{ is = "data", layout = "{y}" }}
[message.z]
kind = "command"
write = "F0 7D 03 F7"
"""
MAP = """
[message.map]
request = "F0 7D 11 {request} F7"
answer = "F0 7D 12 {{address}} {{data}} F7"
blocks = [{{ start = "10 00 00", size = 1 }}, {{ start = "20 00 00", size = 1 }}]
parts.address = {{ is = "address" }}
parts.data = {data}
{more}
[message.one]
kind = "parameter"
of = "{of}"
answer = "F0 7D 13 {{address}} {{value}} F7"
parts.address = {{ is = "address" }}
parts.value = {{ is = "value" }}
[message.plain]
answer = "F0 7D 14 {{data}} F7"
parts.data = {{ is = "data", layout = "two" }}
"""
DATA = '{ is = "data", layout = "one" }'


@pytest.mark.parametrize(
    ("text", "path", "sentence"),
    [
        (EDIT.format(sum='kind = "crc", bits = 16'), ("edit", "parts", "sum", "polynomial"), "A CRC needs its polyn"),
        (
            EDIT.format(sum='kind = "sum", polynomial = 9'),
            ("edit", "parts", "sum", "polynomial"),
            "`polynomial` belongs to a CRC, but this is sum.",
        ),
        (
            EDIT.format(sum='kind = "xor", reflected_out = true'),
            ("edit", "parts", "sum", "reflected_out"),
            "`reflected_out` belongs to a CRC",
        ),
        (
            EDIT.format(sum='kind = "crc", bits = 7, polynomial = 0x89'),
            ("edit", "parts", "sum", "polynomial"),
            "The polynomial 89 (hexadecimal) needs more than the 7 bits",
        ),
        (EDIT.format(sum='kind = "sum", final = 255'), ("edit", "parts", "sum", "final"), "The final FF"),
        (EDIT.format(sum='kind = "sum", or = 255'), ("edit", "parts", "sum", "or"), "The or FF"),
        (
            EDIT.format(sum='kind = "sum"').replace('is = "checksum"', 'is = "length", unit = 3').replace(
                ', kind = "sum"', ""
            ),
            ("edit", "parts", "sum", "unit"),
            "The range has 2 bytes, which is no whole number of units of 3 bytes.",
        ),
        (PAIR.format(all='sequence = ["x", "yy"]', x="", y="two"), ("all", "sequence", 1), "no other message named yy"),
        (PAIR.format(all='sequence = ["x", "x"]', x="", y="two"), ("all", "sequence", 1), "x stands twice."),
        (PAIR.format(all='sequence = ["x", "z"]', x="", y="two"), ("all", "sequence", 1), "z is no single dump"),
        (PAIR.format(all='sequence = ["x", "y"]', x="", y="two"), ("all", "sequence", 0), "Nothing asks for x."),
        (
            PAIR.format(all='sequence = ["x", "y"]', x='request = "F0 7D 11 F7"', y="both"),
            ("all", "sequence", 1),
            "b stands in two messages of the sequence, x and y.",
        ),
        (
            PAIR.format(all='sequence = ["x", "y"]\nkind = "bank"', x='request = "F0 7D 11 F7"', y="two"),
            ("all", "kind"),
            "A sequence cannot be a bank.",
        ),
        (
            PAIR.format(all='sequence = ["x", "y"]\nanswer = "F0 7D 09 F7"', x="", y="two"),
            ("all", "sequence"),
            "`sequence` stands instead of answer, write and each.",
        ),
        (
            MAP.format(request="{address}", data=DATA, more='begin = "F0 7D 15 F7"', of="map"),
            ("map", "request"),
            "asked for as a whole, but the request names an address",
        ),
        (MAP.format(request="00", data=DATA, more="", of="plain"), ("one", "of"), "plain has no addresses."),
        (MAP.format(request="00", data=DATA, more="", of="mapp"), ("one", "of"), "There is no message named mapp."),
        (
            MAP.format(
                request="00", data=DATA.replace(" }", ', packing = "nibbles_low", split_view = "unpacked" }'), more="",
                of="map",
            ),
            ("one", "of"),
            "The data of map is packed",
        ),
        (
            MAP.format(
                request="00", data='{ is = "group", holds = "{inner}" }', more=f"parts.inner = {DATA}", of="map"
            ),
            ("one", "of"),
            "The data of map is a group",
        ),
        (
            MAP.format(
                request="00", data='{ is = "group", holds = "{inner}" }',
                more="parts.inner = " + DATA.replace(" }", ", split = 1 }"), of="map",
            ),
            ("map", "parts", "inner", "split"),
            "Data inside a group cannot be split by itself.",
        ),
        (
            MAP.format(request="00", data=DATA.replace(" }", ", shortest = 1 }"), more="", of="map"),
            ("map", "parts", "data", "shortest"),
            "varies in length in a dump of several messages",
        ),
        (
            '[message.edit]\nanswer = "F0 7D {data} F7"\nparts.data = { is = "data", layout = "steps" }\n'
            '[layout.steps]\nfields = [{ repeat = "n", over = ["a", "b"], bit_step = 1, nesting = "fields", '
            'fields = [{ of = "{n}", bits = 0 }] }]',
            ("layout", "steps", "fields", 0, "bit_step"),
            "`bit_step` and nesting “fields” do not go together.",
        ),
    ],
)  # fmt: skip
def test_faults(text: str, path: tuple[str | int, ...], sentence: str) -> None:
    problems = problems_of(text + LAYOUTS, PARAMETERS)
    whole = path if path[0] == "layout" else ("message", *path)
    found = [problem for problem in problems if problem.path == whole]
    assert any(sentence in problem.sentence for problem in found), problems
    assert all(problem.remedy for problem in found)


HEAD = 'id = "x"\nname = "X"\n[[section]]\nid = "s"\nlabel = "S"\n[[parameter]]\nid = "a"\nlabel = "A"\nsection = "s"\n'


def faults_of(text: str) -> list[str]:
    with pytest.raises(ChartFaults) as raised:
        loads(HEAD + text)
    return [f"{fault.key}: {fault.sentence} {fault.remedy}" for fault in raised.value.faults]


def test_asking_one_by_one_needs_a_message_that_asks() -> None:
    said = faults_of('range = [0, 127]\nbindings = [{ cc = 74 }]\n[[capture]]\nway = "parameters"\n')
    assert said == [
        'capture[1].way: No message asks for a single parameter. Add a message with kind = "parameter" and a request, '
        "or remove this way."
    ]


@pytest.mark.parametrize("write", ["B0 7A", "B0 7A 80", "C0 01 02", "90", "{program} 01"])
def test_a_command_that_is_no_whole_message(write: str) -> None:
    said = faults_of(f'range = [0, 127]\nby_hand = true\n[message.c]\nkind = "command"\nwrite = "{write}"\n')
    assert any("does not begin with F0" in each for each in said)


def test_only_a_command_is_a_channel_message() -> None:
    said = faults_of('range = [0, 127]\nby_hand = true\n[message.c]\nanswer = "B0 7A 00"\n')
    assert any("does not begin with F0" in each for each in said)


def test_many_parameters_that_no_recall_reaches_are_said_a_few_times() -> None:
    """They stand in a dump, which the one way of recall does not send."""
    text = """
range = [0, 127]
bindings = [{ cc = 74 }]
[[group]]
repeat = { n = [1, 40] }
[[group.parameter]]
id = "key{n}"
label = "Key {n}"
section = "s"
range = [0, 127]
[message.keys]
kind = "program"
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "keys" }
[layout.keys]
fields = [{ repeat = "n", over = "1..40", fields = ["key{n}"] }]
[[recall]]
way = "controllers"
"""
    said = faults_of(text)
    assert len(said) == 4
    assert 'It stands in keys: add [[recall]] with way = "dump", message = "keys", into = "memory".' in said[0]
    assert "37 more of its repetitions" in said[-1]
