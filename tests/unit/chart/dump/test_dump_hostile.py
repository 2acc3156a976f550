"""Dump tables that want too much: refused with a sentence, quickly, whatever their numbers."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from librarian.chart import dump
from librarian.errors import BadInput
from librarian.messages import Address
from tests.dumped import RULE as WIDE_RULE
from tests.dumped import codec_of, plain_specs, problems_of, specs

ADDRESS = Address(0, 5)
RULE = replace(WIDE_RULE, device=5)
LEVEL = specs(("level", 0, 127))


pytestmark = pytest.mark.timeout(60)
"""What is refused for its size would take hours, or more memory than there is."""


def sentences_of(text: str, parameters: dict[str, dump.ParameterSpec]) -> list[str]:
    """The sentences of the problems."""
    return [problem.sentence for problem in problems_of(text, parameters)]


MESSAGE = """
[message.edit]
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "patch" }
[layout.patch]
"""


def test_repetitions_multiply_to_too_many_fields() -> None:
    inner = '"p"'
    for word in ("a", "b", "c"):
        inner = f'{{ repeat = "{word}", over = "1..60000", fields = [{inner}] }}'
    sentences = sentences_of(f"{MESSAGE}fields = [{inner}]", LEVEL)
    assert any("more than 65536 fields" in sentence or "There is no parameter" in sentence for sentence in sentences)
    assert len(sentences) <= 200


def test_empty_repetitions_are_counted_too() -> None:
    inner = "{ gap = 1 }"
    for word in ("a", "b", "c", "d"):
        inner = f'{{ repeat = "{word}", over = "1..65536", fields = [{inner}] }}'
    sentences = sentences_of(f"{MESSAGE}fields = [{inner}]", LEVEL)
    assert sentences == ["The layout patch has more than 65536 fields."] or sentences == [
        "The layout has more than 65536 fields."
    ]


def test_repetitions_stand_at_most_four_deep() -> None:
    inner = '"level"'
    for word in ("a", "b", "c", "d", "e"):
        inner = f'{{ repeat = "{word}", over = "1..1", fields = [{inner}] }}'
    assert "Repetitions stand more than 4 deep." in sentences_of(f"{MESSAGE}fields = [{inner}]", LEVEL)


def test_a_layout_larger_than_any_message() -> None:
    text = f'{MESSAGE}fields = [{{ repeat = "n", over = "1..60000", stride = 4194304, fields = [{{ gap = 1 }}] }}]'
    sentences = sentences_of(text, LEVEL)
    assert any("a dump has at most 4194304" in sentence for sentence in sentences)


@pytest.mark.parametrize(
    ("part", "more"),
    [
        ('{ is = "data", layout = "patch", times = 65536 }', "size = 4194304"),
        ('{ is = "group", holds = "{inner} {room}", times = 65536 }', "size = 4096"),
        ('{ is = "reserved", bytes = 4194304 }', ""),
    ],
)
def test_a_message_longer_than_four_mebibytes(part: str, more: str) -> None:
    text = f"""
    [message.bank]
    kind = "bank"
    answer = "F0 7D {{data}} {{sound}} F7"
    parts.data = {part}
    parts.sound = {{ is = "data", layout = "patch" }}
    {
        '''parts.inner = { is = "data", layout = "patch" }
    parts.room = { is = "reserved", bytes = 100000 }'''
        if "inner" in part
        else ""
    }
    [layout.patch]
    {more}
    fields = ["level"]
    """
    sentences = sentences_of(text, LEVEL)
    assert any("longer than 4194304 bytes" in sentence for sentence in sentences), sentences


def test_a_very_long_frame() -> None:
    assert any(
        "8192 are the most" in sentence
        for sentence in sentences_of(MESSAGE.replace("{data}", "00 " * 5000 + "{data}") + 'fields = ["level"]', LEVEL)
    )


def test_many_messages_are_compared_in_reasonable_time() -> None:
    messages = "".join(
        f"""
        [message.m{number}]
        answer = "F0 7D {number >> 7:02X} {number & 127:02X} {{data}} F7"
        parts.data = {{ is = "data", layout = "patch" }}
        """
        for number in range(500)
    )
    assert sentences_of(f'{messages}\n[layout.patch]\nsize = 300\nfields = ["level"]', LEVEL) == []


def test_a_large_bank_is_read_and_written_in_seconds() -> None:
    """4,096 programs of 1,000 bytes: 4 MB, the largest there is."""
    ids = [f"p{n}" for n in range(8)]
    text = """
    [message.bank]
    kind = "bank"
    answer = "F0 7D {data} F7"
    parts.data = { is = "data", layout = "patch", times = 4096 }
    [layout.patch]
    size = 1000
    fields = [{ repeat = "n", over = "0..7", stride = 100, fields = ["p{n}"] }]
    """
    codec = codec_of(text, plain_specs(ids))
    raw = b"\xf0\x7d" + bytes(range(100)) * 40960 + b"\xf7"
    decoded = codec.decode(raw, ADDRESS)
    assert codec.encode_bank("bank", {}, ADDRESS, base=raw) == (raw,)
    assert len(decoded.programs) == 4096


def test_tables_nested_without_end() -> None:
    table: Any = "level"
    for _ in range(400):
        table = {"repeat": "n", "over": "1..1", "fields": [table]}
    try:
        layout = dump.Layout.model_validate({"fields": [table]})
    except ValidationError:
        return
    problems = dump.check(dump.Dumps(layout={"patch": layout}), LEVEL, RULE)
    assert problems


_texts = st.text(st.sampled_from("F07D3{}abdevic-._ \t9"), max_size=30) | st.sampled_from(
    ["F0 7D {device} {data} F7", "F0 7D {data} {sum} F7", "{data}", "F0 {program}{channel} {data} F7", "level", "1..4"]
)
_scalars = st.none() | st.booleans() | st.integers(-5, 5_000_000) | _texts
_anything = st.recursive(
    _scalars,
    lambda inside: st.lists(inside, max_size=4) | st.dictionaries(_texts, inside, max_size=4),
    max_leaves=12,
)
_keys = st.sampled_from(
    (
        *dump.Message.model_fields, *dump.Layout.model_fields, "data", "sum", "is", "bytes", "order", "digit", "from",
        "plus", "bits", "view", "packing", "split", "holds", "kind", "coding", "zero", "low", "at", "same", "pieces",
        "codes", "name", "stride", "gap", "repeat", "over", "nesting",
    )
)  # fmt: skip
_values = st.sampled_from(
    (
        "data", "checksum", "group", "slot", "version", "length", "address", "packet", "parameter", "value", "reserved",
        "xor", "twos", "plain", "file_dump", "msb_first", "unpacked", "patch", "level", "bank", "command", "items",
    )
)  # fmt: skip
_tables = st.recursive(
    _scalars | _values,
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(_keys, inside, max_size=5),
    max_leaves=25,
)


@settings(max_examples=80)
@given(st.dictionaries(_keys, _tables, max_size=6), st.dictionaries(_keys, _tables, max_size=6))
def test_random_tables_raise_nothing_but_validation_errors(message: dict[str, Any], layout: dict[str, Any]) -> None:
    messages, layouts = {}, {}
    try:
        messages["edit"] = dump.Message.model_validate(message)
    except ValidationError:
        messages["edit"] = dump.Message.model_validate({"answer": "F0 7D {data} F7", "parts": _DATA})
    try:
        layouts["patch"] = dump.Layout.model_validate(layout)
    except ValidationError:
        layouts["patch"] = dump.Layout.model_validate({"fields": ["level"]})
    problems = dump.check(dump.Dumps(message=messages, layout=layouts), LEVEL, RULE)
    if not problems:
        dump.compile(dump.Dumps(message=messages, layout=layouts), LEVEL, RULE)


_DATA = {"data": {"is": "data", "layout": "patch"}}


_packings = st.sampled_from(["plain", "plain", "file_dump", "nibbles_low", "bitstream"])
_ends = st.none() | st.sampled_from(["a", "a", "b", "c", 3, 4])


def _small_part(draw: Any) -> dict[str, Any]:
    kind = draw(st.sampled_from(["checksum", "checksum", "length", "slot", "version", "reserved", "packet", "value"]))
    part: dict[str, Any] = {"is": kind}
    if kind == "checksum":
        part |= {
            "kind": "sum",
            "bits": draw(st.sampled_from([7, 14])),
            "view": draw(st.sampled_from(["wire", "unpacked"])),
        }
    if kind in ("checksum", "length"):
        part |= {key: end for key in ("from", "to") if (end := draw(_ends)) is not None}
    if kind == "slot":
        part |= {"of": draw(st.sampled_from(["program", "bank", "x"])), "high": draw(st.integers(0, 140))}
    if kind == "reserved":
        part |= {"bytes": draw(st.integers(1, 5)), "fill": draw(st.integers(0, 130))}
    return part


@st.composite
def near_messages(draw: Any) -> dict[str, Any]:
    """Messages that pass the models and may be wrong in what they mean."""
    parts: dict[str, Any] = {"a": {"is": "data", "layout": "patch", "packing": draw(_packings)}}
    before, after = [draw(st.sampled_from(["01", "02", "{device}", "3{device}"]))], []
    for name in draw(st.sampled_from(["", "b", "b", "bc"])):
        parts[name] = _small_part(draw)
        (before if draw(st.booleans()) else after).append(f"{{{name}}}")
    message: dict[str, Any] = {"parts": parts, "kind": draw(st.sampled_from(["edit buffer", "program", "setup"]))}
    middle = "{a}"
    shape = draw(st.sampled_from(["plain", "plain", "group", "split", "bank", "address"]))
    if shape == "group":
        parts["g"] = {
            "is": "group",
            "holds": draw(st.sampled_from(["{a}", "{a} 55", "FF {a} 00"])),
            "packing": draw(_packings),
        }
        middle = "{g}"
    elif shape == "split":
        parts["a"]["split"] = draw(st.integers(1, 4))
        before.append(draw(st.sampled_from(["{packet}", "00"])))
    elif shape == "bank":
        parts["a"]["times"] = draw(st.integers(1, 3))
        message["kind"] = "bank"
    elif shape == "address":
        parts["at"] = {"is": "address"}
        before.append("{at}")
        message["blocks"] = [{"start": "01 00 00", "size": draw(st.sampled_from([2, 2, 3]))}]
    message["answer"] = " ".join(["F0 7D", *before, middle, *after, "F7"])
    if draw(st.booleans()):
        message["request"] = f"F0 7D {before[0]} {draw(st.sampled_from(['7F', '7E 01', '{program}']))} F7"
    if draw(st.integers(0, 9)) == 0:
        message[draw(st.sampled_from(["layout", "of", "each"]))] = "patch"
    return message


@settings(max_examples=120)
@given(near_messages(), near_messages() | st.none(), st.binary(max_size=40))
def test_messages_that_are_nearly_right(one: dict[str, Any], other: dict[str, Any] | None, noise: bytes) -> None:
    """Either every fault is told, or the codec works: there is no third way."""
    named = {"edit": one} if other is None else {"edit": one, "other": other}
    dumps = dump.Dumps(
        message={name: dump.Message.model_validate(table) for name, table in named.items()},
        layout={"patch": dump.Layout.model_validate({"fields": ["level", {"gap": 1}]})},
    )
    problems = dump.check(dumps, LEVEL, RULE)
    assert all(problem.sentence.endswith(".") and problem.path for problem in problems)
    event("faulty" if problems else "sound")
    if problems:
        return
    codec = dump.compile(dumps, LEVEL, RULE)
    for name, info in codec.messages.items():
        slots = {word: low for word, (low, _high) in info.slots.items()}
        if "request" in info.forms:
            for raw in codec.requests(name, ADDRESS, **slots):
                found = codec.recognise(raw, ADDRESS)
                assert found is not None
                assert (found.message, found.form) == (name, "request")
        if one_needs_more(dumps.message[name]):
            continue
        if info.programs > 1:
            sources = {n: dump.ProgramSource({"level": n}) for n in range(info.programs)}
            raws = codec.encode_bank(name, sources, ADDRESS, form="answer", **slots)
        else:
            raws = codec.encode(name, {"level": 0}, ADDRESS, form="answer", **slots)
        assert all(each[:1] == b"\xf0" and each[-1:] == b"\xf7" and each[1:-1].isascii() for each in raws)
        decoded = codec.decode_all(raws, ADDRESS)
        assert decoded.message == name
        programs = decoded.programs or (decoded,)
        assert [dict(program.values) for program in programs] == [{"level": n} for n in range(len(programs))]
    raw = b"\xf0\x7d" + bytes(byte & 0x7F for byte in noise) + b"\xf7"
    codec.explain(raw, ADDRESS)
    with suppress(BadInput):
        codec.decode(raw, ADDRESS)


def one_needs_more(message: dump.Message) -> bool:
    """A dump with a version or a value in it needs a number that these tests do not give."""
    return any(part.is_ in ("version", "value", "packet") for part in message.parts.values())
