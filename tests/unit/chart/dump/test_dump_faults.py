"""Faults of dump tables: each has its own sentence, its place in the file, and what to write instead."""

from __future__ import annotations

import pytest

from librarian.chart.dump import AddressRule, Problem
from tests.dumped import RULE, problems_of, specs

PARAMETERS = specs(
    ("level", 0, 127), ("pan", -64, 63), ("time", 0, 16383), ("wave", 0, 2), ("op1.rate", 0, 15), ("op2.rate", 0, 15)
)

HEAD = """
[message.edit]
answer = "F0 7D {device} 01 {data} F7"
parts.data = { is = "data", layout = "patch" }
"""


def with_fields(fields: str, more: str = "") -> str:
    return f"{HEAD}\n[layout.patch]\n{more}\nfields = [{fields}]"


def with_message(message: str) -> str:
    return f'[message.edit]\n{message}\n[layout.patch]\nfields = ["level"]'


def only(problems: list[Problem]) -> Problem:
    assert len(problems) == 1, problems
    return problems[0]


FIELDS = ("layout", "patch", "fields")


@pytest.mark.parametrize(
    ("fields", "path", "sentence", "remedy"),
    [
        ('"levle"', (*FIELDS, 0, "of"), "There is no parameter levle.", "Did you mean level?"),
        ('"level", "level"', (*FIELDS, 1, "of"), "level has two fields in this layout.", "`pieces`"),
        ('"pan"', (*FIELDS, 0), "pan runs from -64 to 63, but 7 bits (plain) hold 0 to 127.", 'coding = "offset"'),
        ('"time"', (*FIELDS, 0), "time runs from 0 to 16383, but 7 bits (plain) hold 0 to 127.", "Use more bits"),
        ('{ of = "level", bits = "0-3" }', (*FIELDS, 0), "level runs from 0 to 127, but 4 bits", "high = 15"),
        ('{ of = "level", bits = "0-9" }', (*FIELDS, 0, "bits"), "Bit 9 does not exist here.", "within 0 to 6"),
        ('{ of = "level", bits = "3-0" }', (*FIELDS, 0, "bits"), "The bits “3-0” run backwards.", ""),
        ('{ of = "level", bits = "low" }', (*FIELDS, 0, "bits"), "“low” is no range of bits.", ""),
        ('"level", { of = "wave", at = 0 }', (*FIELDS, 1), "wave and level both claim bits of byte 0.", "`at`"),
        ('"level", { of = "wave", same = true }', (*FIELDS, 1), "wave and level both claim bits of byte 0.", ""),
        ('{ of = "level", same = true }', (*FIELDS, 0, "same"), "`same` means the bytes of the field before", ""),
        ('{ of = "level", at = "00 80" }', (*FIELDS, 0, "at"), "“00 80” has the byte 80; the bytes of an address", ""),
        ('{ of = "level", at = "next" }', (*FIELDS, 0, "at"), "“next” is no address.", "two hexadecimal digits"),
        ('{ of = "level", zero = 3 }', (*FIELDS, 0, "zero"), "`zero` belongs to the coding offset.", ""),
        (
            '{ of = "wave", codes = [0, 1] }',
            (*FIELDS, 0, "codes"),
            "wave has 3 values here, but there are 2 codes.",
            "",
        ),
        ('{ of = "wave", codes = [0, 1, 1] }', (*FIELDS, 0, "codes"), "The code 1 stands for two values.", ""),
        ('{ of = "wave", codes = [0, 1, 200] }', (*FIELDS, 0, "codes"), "The code 200 needs more than the 7 bits", ""),
        ('{ of = "wave", codes = "waves" }', (*FIELDS, 0, "codes"), "no table of codes named waves.", "[codes.waves]"),
        ('{ of = "wave", high = 9 }', (*FIELDS, 0, "high"), "wave runs from 0 to 2; 9 is outside.", ""),
        ('{ of = "level", low = 9, high = 3 }', (*FIELDS, 0, "low"), "The lowest value 9 is above the highest 3.", ""),
        ("{ name = 4 }, { name = 4 }", (*FIELDS, 1), "A layout holds one name; this is a second one.", "`gap`"),
        (
            '{ name = 4, charset = "own" }',
            (*FIELDS, 0, "charset"),
            "no table of characters named own.",
            "[charset.own]",
        ),
        ('{ name = 4, charset = "asci" }', (*FIELDS, 0, "charset"), "characters named asci.", "Did you mean ascii?"),
        ("{ name = 4, stride = 1, bytes = 2 }", (*FIELDS, 0, "stride"), "A character has 2 bytes", ""),
        ("{ name = 4, pad = 200 }", (*FIELDS, 0, "pad"), "The code 200 does not fit the 7 bits", ""),
        (
            '{ repeat = "n", over = "1..3", fields = ["op{n}.rate"] }',
            (*FIELDS, 0, "fields", 0, "of"),
            "There is no parameter op3.rate.",
            "",
        ),
        ('{ repeat = "n", over = "1-3", fields = ["level"] }', (*FIELDS, 0, "over"), "“1-3” is no series.", '"1..4"'),
        ('{ repeat = "n", over = "1..2", fields = ["level"] }', (*FIELDS, 0, "fields", 0, "of"), "level has two", ""),
        ('{ repeat = "", over = "1..2", fields = ["level"] }', (*FIELDS, 0, "repeat"), "“” is no index word.", ""),
        (
            '{ repeat = "n", over = "1..2", stride = 1, fields = [{ of = "op{n}.rate", bytes = 2 }] }',
            (*FIELDS, 0, "fields", 0),
            "op2.rate and op1.rate both claim bits of byte 1.",
            "",
        ),
        (
            '{ repeat = "n", over = "1..2", fields = [{ repeat = "n", over = "1..2", fields = ["op{n}.rate"] }] }',
            (*FIELDS, 0, "fields", 0, "repeat"),
            "The index word n is in use further out.",
            "",
        ),
        (
            '{ of = "level", at = 3, pieces = [{ at = 0 }] }',
            (*FIELDS, 0, "pieces"),
            "`pieces` stands instead of at, bytes, bits and same.",
            "",
        ),
        ('{ of = "level", at = 4194304 }', (*FIELDS, 0), "would end at byte 4194305; a dump has at most", ""),
        ('{ of = "level", bytes = 8 }', (*FIELDS, 0), "The field has 56 bits; a value has at most 32.", ""),
    ],
)
def test_layouts(fields: str, path: tuple[str | int, ...], sentence: str, remedy: str) -> None:
    problem = only(problems_of(with_fields(fields), PARAMETERS))
    assert problem.path == path
    assert sentence in problem.sentence
    assert remedy in problem.remedy


def test_a_layout_that_is_too_small() -> None:
    problem = only(problems_of(with_fields('"level", "wave"', "size = 1"), PARAMETERS))
    assert problem.path == ("layout", "patch", "size")
    assert problem.sentence == "The layout patch has 1 bytes, but its last field ends with byte 1 (from 0)."
    assert problem.remedy == "Write size = 2, or move the field."


EDIT = ("message", "edit")
DATA = 'parts.data = { is = "data", layout = "patch" }\n'


@pytest.mark.parametrize(
    ("message", "path", "sentence"),
    [
        ("", EDIT, "The message edit has no frame."),
        ('request = "F0 7D 10 F7"', EDIT, "What edit looks like is not said."),
        ('answer = "F0 7D {device} F7"', (*EDIT, "answer"), "The frame has no data part."),
        (f'answer = "7D {{data}} F7"\n{DATA}', (*EDIT, "answer"), "The frame does not begin with F0."),
        (f'answer = "F0 7D {{data}}"\n{DATA}', (*EDIT, "answer"), "The frame does not end with F7."),
        (f'answer = "F0 7D 81 {{data}} F7"\n{DATA}', (*EDIT, "answer"), "The byte 81 stands inside the message"),
        (f'answer = "F0 7D 8{{channel}} {{data}} F7"\n{DATA}', (*EDIT, "answer"), "A byte above 7F stands inside"),
        (
            f'answer = "F0 41 {{data}} F7"\n{DATA}',
            (*EDIT, "answer"),
            "The frame is of maker 41, but [identity] says 7D.",
        ),
        (f'answer = "F0 7D {{data}} xx F7"\n{DATA}', (*EDIT, "answer"), "“xx” is neither a byte nor a part."),
        (f'answer = "F0 7D {{data}} 123 F7"\n{DATA}', (*EDIT, "answer"), "“123” is half a byte too long or too short."),
        (f'answer = "F0 7D {{data}} {{data F7"\n{DATA}', (*EDIT, "answer"), "“{data” is no part in braces."),
        (f'answer = "F0 7D {{dta}} {{data}} F7"\n{DATA}', (*EDIT, "answer"), "The frame names {dta}, but the message"),
        (f'answer = "F0 7D {{data}} {{data}} F7"\n{DATA}', (*EDIT, "answer"), "{data} stands twice in the frame."),
        (
            f'answer = "F0 7D {{data}} F7"\n{DATA}parts.sum = {{ is = "checksum", kind = "xor" }}',
            (*EDIT, "parts", "sum"),
            "The part sum stands in no frame.",
        ),
        (
            f'answer = "F0 7D 3{{data}} F7"\n{DATA}',
            (*EDIT, "parts", "data"),
            "data stands in one nibble of a byte",
        ),
        (
            'answer = "F0 7D {data} F7"\nparts.data = { is = "data", layout = "pach" }',
            (*EDIT, "parts", "data", "layout"),
            "There is no layout named pach.",
        ),
        (
            'answer = "F0 7D {data} F7"\nparts.data = { is = "data" }',
            (*EDIT, "parts", "data"),
            "The data has no layout, or two kinds of it.",
        ),
        (
            'answer = "F0 7D {data} F7"\nparts.data = { is = "data", layouts = { "1" = "patch" } }',
            (*EDIT, "answer"),
            "The layout depends on a version, but the frame has no version part.",
        ),
        (
            'answer = "F0 7D {v} {data} F7"\nparts.v = { is = "version" }\n'
            'parts.data = { is = "data", layouts = { first = "patch" } }',
            (*EDIT, "parts", "data", "layouts"),
            "A version of the layout is no number.",
        ),
        (
            f'answer = "F0 7D {{data}} {{sum}} F7"\n{DATA}'
            'parts.sum = { is = "checksum", kind = "xor", from = "dat" }',
            (*EDIT, "parts", "sum", "from"),
            "The range names dat, which is no part of the same frame.",
        ),
        (
            f'answer = "F0 7D {{data}} {{sum}} F7"\n{DATA}parts.sum = {{ is = "checksum", kind = "xor", from = 9 }}',
            (*EDIT, "parts", "sum", "from"),
            "Byte 9 is outside the frame, which has bytes 1 to 5.",
        ),
        (
            f'answer = "F0 7D {{data}} {{sum}} F7"\n{DATA}'
            'parts.sum = { is = "checksum", kind = "xor", from = "data", to = 2 }',
            (*EDIT, "parts", "sum"),
            "The range ends before it begins.",
        ),
        (
            f'answer = "F0 7D {{data}} {{sum}} F7"\n{DATA}parts.sum = {{ is = "checksum", kind = "xor", to = "sum" }}',
            (*EDIT, "parts", "sum"),
            "The checksum sum covers itself, or one that covers it.",
        ),
        (
            f'answer = "F0 7D {{data}} {{sum}} F7"\n{DATA}parts.sum = {{ is = "checksum", kind = "sum", digit = 8 }}',
            (*EDIT, "parts", "sum", "digit"),
            "8 bits do not fit a byte of the message.",
        ),
        (
            'answer = "F0 7D {n} {data} F7"\nparts.n = { is = "length", from = "data", plus = 200 }\n' + DATA,
            (*EDIT, "parts", "n"),
            "The length is 201, which does not fit 1 bytes of 7 bits.",
        ),
        (
            'answer = "F0 7D {n} {data} F7"\nparts.n = { is = "slot", of = "part", high = 200 }\n' + DATA,
            (*EDIT, "parts", "n"),
            "n runs from 0 to 200 with 0 added, but its place holds 0 to 127.",
        ),
        (
            'answer = "F0 7D {n} {data} F7"\nparts.n = { is = "slot", of = "base" }\n' + DATA,
            (*EDIT, "parts", "n", "of"),
            "“base” cannot be the word for a number.",
        ),
        (f'request = "F0 7D 01 {{data}} F7"\nanswer = "F0 7D 02 {{data}} F7"\n{DATA}', (*EDIT, "request"), "no data"),
        (
            f'request = "F0 7D {{program}} F7"\nanswer = "F0 7D {{data}} F7"\n{DATA}',
            (*EDIT, "answer"),
            "The answer of edit cannot be told from the request of edit.",
        ),
        (
            f'answer = "F0 7D {{data}} F7"\nwrite = "F0 7D 01 {{data}} F7"\nwritable = false\n{DATA}',
            (*EDIT, "write"),
            "",
        ),
        (f'answer = "F0 7D {{data}} F7"\nlayout = "patch"\n{DATA}', (*EDIT, "layout"), 'belongs to kind = "parameter"'),
        (
            f'answer = "F0 7D {{data}} F7"\nend = "F0 7D 01 02 F7"\n{DATA}',
            (*EDIT, "end"),
            "belongs to data in several messages",
        ),
        (
            f'answer = "F0 7D {{packet}} {{data}} F7"\n{DATA}',
            EDIT,
            "The packets are numbered, but the data is not split.",
        ),
        (
            'answer = "F0 7D {data} F7"\nparts.data = { is = "data", layout = "patch", times = 3 }',
            (*EDIT, "kind"),
            "The message holds 3 programs, so it is a bank.",
        ),
        (f'kind = "bank"\nanswer = "F0 7D {{data}} F7"\n{DATA}', (*EDIT, "kind"), "but nothing here is repeated"),
        ('kind = "bank"\nrequest = "F0 7D 01 F7"\neach = "edits"', (*EDIT, "each"), "There is no other message named"),
        (f'kind = "command"\nanswer = "F0 7D {{data}} F7"\n{DATA}', EDIT, "A command"),
        (
            'kind = "parameter"\nwrite = "F0 7D {v} F7"\nnumbers = { level = 1 }\nparts.v = { is = "value" }',
            (*EDIT, "write"),
            "The frame does not say which parameter is meant.",
        ),
        (
            'kind = "parameter"\nwrite = "F0 7D {p} F7"\nnumbers = { level = 1 }\nparts.p = { is = "parameter" }',
            (*EDIT, "write"),
            "The frame has no value.",
        ),
        (
            'kind = "parameter"\nwrite = "F0 7D {p} {v} F7"\nnumbers = { pan = 1 }\n'
            'parts.p = { is = "parameter" }\nparts.v = { is = "value" }',
            (*EDIT, "numbers", "pan"),
            "pan runs from -64 to 63, but the value holds 0 to 127.",
        ),
        (
            'kind = "parameter"\nwrite = "F0 7D {p} {v} F7"\nnumbers = { level = 1, wave = 1 }\n'
            'parts.p = { is = "parameter" }\nparts.v = { is = "value" }',
            (*EDIT, "numbers"),
            "wave and level have the same number 1.",
        ),
        (
            'kind = "parameter"\nwrite = "F0 7D {p} {v} F7"\nlayout = "patch"\n'
            'parts.p = { is = "parameter" }\nparts.v = { is = "value" }',
            (*EDIT, "numbering"),
            "No field of the layout has a number.",
        ),
        (
            f'answer = "F0 7D {{at}} {{data}} F7"\nparts.at = {{ is = "address" }}\n{DATA}',
            EDIT,
            "The message has addresses, but no ranges of them.",
        ),
        (
            f'answer = "F0 7D {{at}} {{data}} F7"\nblocks = [{{ start = "01 00", size = 1 }}]\n'
            f'parts.at = {{ is = "address" }}\n{DATA}',
            (*EDIT, "blocks", 0, "start"),
            "The address 01 00 has 2 bytes; the address in the frame has 3.",
        ),
        (
            f'answer = "F0 7D {{at}} {{data}} F7"\nblocks = [{{ start = "01 00 00", size = 2 }}]\n'
            f'parts.at = {{ is = "address" }}\n{DATA}',
            (*EDIT, "blocks"),
            "The blocks have 2 bytes together; the data has 1.",
        ),
        (
            'answer = "F0 7D {data} F7"\nparts.data = { is = "data", layout = "patch", split = 1 }\n'
            'handshake = { style = "own" }',
            (*EDIT, "handshake", "ack"),
            "The frame that acknowledges a packet is missing.",
        ),
    ],
)
def test_messages(message: str, path: tuple[str | int, ...], sentence: str) -> None:
    problems = problems_of(with_message(message), PARAMETERS)
    found = [problem for problem in problems if problem.path == path]
    assert found, problems
    assert any(sentence in problem.sentence for problem in found), problems
    assert all(problem.sentence.endswith(".") for problem in problems)


def test_bit_7_cannot_travel_unpacked() -> None:
    problem = only(problems_of(with_fields('{ of = "wave", bits = 7, high = 1 }', "digit = 8"), PARAMETERS))
    assert problem.path == ("message", "edit", "parts", "data", "packing")
    assert "The layout patch uses bit 7 of a byte, which cannot travel unpacked." in problem.sentence


def test_numbers_that_nothing_gives() -> None:
    text = """
    [message.edit]
    request = "F0 7D 01 {at} F7"
    answer = "F0 7D 02 {data} {v} F7"
    parts.at = { is = "address" }
    parts.v = { is = "value" }
    parts.data = { is = "data", layout = "patch" }
    [layout.patch]
    fields = ["level"]
    """
    assert [(problem.path[-1], problem.sentence) for problem in problems_of(text, PARAMETERS)] == [
        ("at", "at is an address, but no data of the message has one."),
        ("v", "v belongs to a single parameter."),
    ]


def test_packing_is_nested_once() -> None:
    text = """
    [message.edit]
    answer = "F0 7D {outer} F7"
    parts.outer = { is = "group", holds = "{data}", packing = "nibbles_high" }
    parts.data = { is = "data", layout = "patch", packing = "file_dump" }
    [layout.patch]
    fields = ["level"]
    """
    problem = only(problems_of(text, PARAMETERS))
    assert problem.path == ("message", "edit", "parts", "data", "packing")
    assert problem.sentence == "Data inside a packed group is packed already."


def test_a_group_that_holds_itself() -> None:
    text = """
    [message.edit]
    answer = "F0 7D {outer} F7"
    parts.outer = { is = "group", holds = "{outer} {data}" }
    parts.data = { is = "data", layout = "patch" }
    [layout.patch]
    fields = ["level"]
    """
    assert any("more than 2 deep" in problem.sentence for problem in problems_of(text, PARAMETERS))


def test_no_device_where_the_chart_says_so() -> None:
    problem = only(problems_of(with_fields('"level"'), PARAMETERS, AddressRule(manufacturer=b"\x7d", rule="absent")))
    assert problem.path == ("message", "edit", "parts", "device")
    assert "[address] says that there is none" in problem.sentence


def test_a_device_that_the_frame_cannot_hold() -> None:
    text = with_fields('"level"').replace("{device}", "3{device}")
    problem = only(problems_of(text, PARAMETERS, AddressRule(manufacturer=b"\x7d", device=16)))
    assert problem.path == ("message", "edit", "parts", "device")
    assert problem.sentence == "The frame holds device IDs 0 to 15, but [address] has device 16."
    assert problems_of(text, PARAMETERS, AddressRule(manufacturer=b"\x7d", device=15)) == []


def test_two_messages_that_look_alike() -> None:
    text = """
    [message.edit]
    answer = "F0 7D {device} 01 {data} F7"
    parts.data = { is = "data", layout = "patch" }
    [message.other]
    kind = "setup"
    answer = "F0 7D {device} {program} {data} F7"
    parts.data = { is = "data", layout = "patch" }
    [layout.patch]
    fields = ["level"]
    """
    problem = only(problems_of(text, PARAMETERS))
    assert problem.path == ("message", "other", "answer")
    assert problem.sentence == "The answer of other cannot be told from the answer of edit."
    apart = text.replace("{device} 01", "{device} 40")
    assert problems_of(apart, PARAMETERS, RULE) == [], "programs stop at 63, so 40h (64) is something else"


def test_the_same_parameter_twice_in_a_message() -> None:
    text = """
    [message.edit]
    answer = "F0 7D {a} {b} F7"
    parts.a = { is = "data", layout = "patch" }
    parts.b = { is = "data", layout = "more" }
    [layout.patch]
    fields = ["level", { name = 2 }]
    [layout.more]
    fields = ["level", { name = 2 }]
    """
    sentences = {problem.sentence for problem in problems_of(text, PARAMETERS)}
    assert "level stands in two parts of the message, a and b." in sentences


def test_all_faults_come_at_once() -> None:
    fields = '"levle", "pan", { of = "wave", bits = "9" }, { of = "time", at = 0 }'
    paths = [problem.path for problem in problems_of(with_fields(fields), PARAMETERS)]
    assert [path[3] for path in paths] == [0, 1, 2, 3]
