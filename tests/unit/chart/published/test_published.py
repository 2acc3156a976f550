"""Instruments laid out as published implementations of forty years are, under invented names.

`charts/NAME.toml` was written from the guide alone. `worked/NAME.toml` holds bytes and values that were worked out from
the layout by hand, or by a script that shares nothing with the codec:

- `[[dump]]` message, its messages in hexadecimal, name and values; `same = false` where bytes that no field claims do
  not have their usual value, so that encoding without a base cannot give them; `unchecked = true` where the checksum is
  left out; `[[dump.program]]` of a bank;
- `[[request]]`, `[[single]]` (one parameter; `others`: known values that share its bytes), `[[control]]` (channel
  messages; `heard = false` where the instrument sends by another number), `[[reading]]` (what a person reads).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest

from librarian.chart import Chart, load
from librarian.chart.dump import DumpRefused, ProgramSource
from librarian.messages import Values
from librarian.transfer import backup, capture, capture_by_hand, recall, restore, verify
from tests.simulated import World, world

HERE = Path(__file__).parent
NAMES = sorted(path.stem for path in (HERE / "charts").glob("*.toml"))
Table = dict[str, Any]


@cache
def chart_of(name: str) -> Chart:
    return load(HERE / "charts" / f"{name}.toml")


@cache
def worked(name: str) -> Table:
    return tomllib.loads((HERE / "worked" / f"{name}.toml").read_text(encoding="utf-8"))


def cases(kind: str) -> list[Any]:
    """Every entry of one kind in every worked file, as (instrument, entry)."""
    return [
        pytest.param(name, entry, id=f"{name}-{entry.get('message') or entry.get('parameter')}-{place}")
        for name in NAMES
        for place, entry in enumerate(worked(name).get(kind, ()), 1)
    ]


def messages(entry: Table) -> tuple[bytes, ...]:
    return tuple(bytes.fromhex(text) for text in entry["hex"])


def values_of(text: str) -> dict[str, int]:
    """`id=number` by blanks and line ends."""
    return {word.partition("=")[0]: int(word.partition("=")[2]) for word in text.split()}


def channel_messages(raw: bytes) -> Iterator[bytes]:
    """Whole messages from bytes without running status."""
    place = 0
    while place < len(raw):
        size = 2 if raw[place] >> 4 in (0xC, 0xD) else 3
        yield raw[place : place + size]
        place += size


def slots_of(entry: Table) -> dict[str, int]:
    return dict(entry.get("slots", {}))


# --- there and back -------------------------------------------------------------------------------------------------


def test_every_chart_has_its_bytes() -> None:
    assert sorted(path.stem for path in (HERE / "worked").glob("*.toml")) == NAMES
    assert len(NAMES) >= 25
    assert all(worked(name) for name in NAMES)


@pytest.mark.parametrize(("name", "entry"), cases("dump"))
def test_a_dump_reads_as_worked_out(name: str, entry: Table) -> None:
    chart = chart_of(name)
    decoded = chart.codec.decode_all(messages(entry), chart.default_address)
    assert decoded.message == entry["message"]
    assert {word: decoded.slots[word] for word in slots_of(entry)} == slots_of(entry)
    if "values" in entry:
        assert dict(decoded.values) == values_of(entry["values"])
    if "name" in entry:
        assert decoded.name == entry["name"]
    for program in entry.get("program", ()):
        found = decoded.programs[program["number"]]
        assert dict(found.values) == values_of(program["values"])
        assert found.name == program.get("name", "")


@pytest.mark.parametrize(("name", "entry"), [case for case in cases("dump") if "values" in case.values[1]])
def test_a_dump_goes_back_to_the_byte(name: str, entry: Table) -> None:
    chart, raws = chart_of(name), messages(entry)
    values = Values(values_of(entry["values"]))
    usual: Table = {"name": entry.get("name"), "form": entry.get("form", "answer"), **slots_of(entry)}
    assert chart.codec.encode(entry["message"], values, chart.default_address, base=raws, **usual) == raws
    if entry.get("same", True):
        assert chart.codec.encode(entry["message"], values, chart.default_address, **usual) == raws


@pytest.mark.parametrize(("name", "entry"), [case for case in cases("dump") if "program" in case.values[1]])
def test_a_bank_goes_back_to_the_byte(name: str, entry: Table) -> None:
    chart, raws = chart_of(name), messages(entry)
    swapped = {
        program["number"]: ProgramSource(Values(values_of(program["values"])), program.get("name"))
        for program in entry["program"]
    }
    usual: Table = {"form": entry.get("form", "answer"), **slots_of(entry)}
    assert chart.codec.encode_bank(entry["message"], swapped, chart.default_address, base=raws, **usual) == raws


@pytest.mark.parametrize(("name", "entry"), [case for case in cases("dump") if "values" in case.values[1]])
def test_other_values_leave_what_is_not_explained(name: str, entry: Table) -> None:
    """Another sound on these bytes, then the first again: the bytes of the beginning, unexplained ones included."""
    chart, raws = chart_of(name), messages(entry)
    first = values_of(entry["values"])
    chance = Random(name)
    limits = {ident: chart.parameters[ident] for ident in first}
    other = {ident: chance.randint(limit.low, limit.high) for ident, limit in limits.items()}
    if name == "tarnwick":  # its first version holds the rate in 8 bits
        other["body.rate"] %= 256
    usual: Table = {"form": entry.get("form", "answer"), **slots_of(entry)}
    there = chart.codec.encode(entry["message"], Values(other), chart.default_address, base=raws, **usual)
    assert dict(chart.codec.decode_all(there, chart.default_address).values) == other
    back = chart.codec.encode(entry["message"], Values(first), chart.default_address, base=there, **usual)
    assert back == raws


# --- smaller messages -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "entry"), cases("request"))
def test_a_request_is_as_worked_out(name: str, entry: Table) -> None:
    chart = chart_of(name)
    assert chart.codec.requests(entry["message"], chart.default_address, **slots_of(entry)) == messages(entry)


@pytest.mark.parametrize(("name", "entry"), cases("single"))
def test_one_parameter_travels_as_worked_out(name: str, entry: Table) -> None:
    chart, raw = chart_of(name), bytes.fromhex(entry["hex"])
    others = values_of(entry.get("others", ""))
    made = chart.codec.set_one(entry["parameter"], entry["value"], chart.default_address, others)
    assert made == (raw,)
    heard = dict(chart.codec.heard(raw, chart.default_address))
    assert heard[entry["parameter"]] == entry["value"]
    assert all(others[ident] == value for ident, value in heard.items() if ident != entry["parameter"])


@pytest.mark.parametrize(("name", "entry"), cases("control"))
def test_a_controller_travels_as_worked_out(name: str, entry: Table) -> None:
    chart, raw = chart_of(name), bytes.fromhex(entry["hex"])
    (burst,) = chart.codec.controllers({entry["parameter"]: entry["value"]}, chart.default_address)
    assert b"".join(burst.messages) == raw
    listener = chart.codec.listener(chart.default_address)
    heard = [found for message in channel_messages(raw) for found in listener.feed(message)]
    if entry.get("heard", True):
        assert (heard[-1].parameter, heard[-1].value) == (entry["parameter"], entry["value"])
    else:
        assert heard == []


@pytest.mark.parametrize(("name", "entry"), cases("reading"))
def test_a_value_reads_and_is_read_back(name: str, entry: Table) -> None:
    parameter = chart_of(name).parameters[entry["parameter"]]
    assert parameter.display(entry["value"]) == entry["text"]
    assert parameter.parse(entry["text"]) == entry["value"]


# --- faults ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "entry"), cases("dump"))
def test_a_damaged_dump_is_refused(name: str, entry: Table) -> None:
    """One byte less, one more, one of another maker, and, where there is a checksum, changed bits."""
    chart, raws = chart_of(name), messages(entry)
    longest = max(range(len(raws)), key=lambda place: len(raws[place]))
    raw = raws[longest]

    def refused(damaged: bytes) -> bool:
        try:
            chart.codec.decode_all((*raws[:longest], damaged, *raws[longest + 1 :]), chart.default_address)
        except DumpRefused as refusal:
            return bool(str(refusal))
        return False

    assert refused(raw[:-2] + raw[-1:])
    assert refused(raw[:-1] + b"\x00" + raw[-1:])
    assert refused(raw[:1] + b"\x01" + raw[2:])
    if 'is = "checksum"' in chart.text and not entry.get("unchecked"):
        chance = Random(f"{name} {entry['message']}")
        seen = len(raw) - 2 if 'view = "unpacked"' in chart.text else len(raw) * 2 // 3  # 7 bits cannot see an 8th
        for _ in range(6):
            place = chance.randrange(seen, len(raw) - 1)
            assert refused(raw[:place] + bytes([raw[place] ^ 1 << chance.randrange(4)]) + raw[place + 1 :]), place


@pytest.mark.parametrize(("name", "entry"), cases("dump"))
def test_every_byte_is_explained(name: str, entry: Table) -> None:
    chart = chart_of(name)
    for raw in messages(entry):
        rows = chart.codec.explain(raw, chart.default_address)
        assert [(row.offset, row.byte) for row in rows] == list(enumerate(raw))
        assert all(row.what for row in rows)


# --- the whole job, with the chart's stand-in -----------------------------------------------------------------------


def shuffled(here: World, chart: Chart) -> dict[str, int]:
    """The player changes everything; what was set."""
    chance = Random(3)
    turned = {}
    for parameter in chart.parameters.values():
        if parameter.id in here.instrument.sound:
            turned[parameter.id] = chance.randint(parameter.low, parameter.high)
            here.turn(parameter.id, turned[parameter.id])
    here.clock.sleep(5.0)
    while here.cable.receive(0.0) is not None:
        pass
    return here.sound


ASKED = [name for name in NAMES if name not in {"hobday", "oakapple", "plumbago", "sedgebank", "splintbox"}]
"""Those that can be asked for the sound that is in them now."""


@pytest.mark.parametrize("name", ASKED)
def test_capture_change_recall_verify(name: str) -> None:
    chart = chart_of(name)
    here = world(chart, seed=5, introduced=False)
    before = here.sound
    taken = capture(here.line).version
    assert {ident: before[ident] for ident in taken.values} == dict(taken.values)
    assert {ident for ident in chart.sound_ids if ident not in taken.values} <= {"p.width", "seq.kit", "voice.output"}
    changed = shuffled(here, chart)
    done = recall(here.line, taken)
    assert (done.state, done.equal) == ("arrived", done.of)
    for ident, value in taken.values.items():
        wanted = value if chart.parameters[ident].sound else changed[ident]
        assert here.sound[ident] == wanted, ident
    assert verify(here.line, taken).state == "arrived"


@pytest.mark.parametrize("name", ["plumbago", "sallowfen", "splintbox"])
def test_capture_by_hand_and_recall(name: str) -> None:
    """Every control is moved once: bytes of several parameters and pots that wait included."""
    chart = chart_of(name)
    here = world(chart, seed=2)
    movable = [parameter for parameter in chart.parameters.values() if not parameter.by_hand]
    for place, parameter in enumerate(movable):
        value = parameter.high if here.sound[parameter.id] != parameter.high else parameter.low

        def turn(now: float, ident: str = parameter.id, value: int = value) -> None:
            here.instrument.turn(ident, value, now)

        here.bad.at(100.5 + place * 0.4, turn)
    taken = capture_by_hand(here.line).version
    assert set(taken.values) >= {parameter.id for parameter in movable}
    assert {ident: here.sound[ident] for ident in taken.values} == dict(taken.values)
    shuffled(here, chart)
    done = recall(here.line, taken)
    assert done.state == ("arrived" if name == "sallowfen" else "sent")
    sound = {parameter.id for parameter in movable if parameter.sound}
    assert {ident: here.sound[ident] for ident in sound} == dict(taken.values.only(sound))


STORED = (
    "brackenhull", "cobnut", "corbelstone", "hobday", "inkhorn", "ledgerline", "oakapple", "quillfeather", "sallowfen",
    "thimblerig", "thornwick", "withybed",
)  # fmt: skip


@pytest.mark.parametrize("name", STORED)
def test_stored_programs_are_read(name: str) -> None:
    """First, second and last of the memory; a universal message is answered where the chart describes it."""
    chart = chart_of(name)
    here = world(chart, seed=2)
    assert chart.memory is not None
    places = [0, 1, chart.memory.size - 1]
    read = backup(here.line, programs=places)
    assert list(read.programs) == places
    for place, version in read.programs.items():
        held = here.instrument.memory[place]
        assert {ident: held.values[ident] for ident in version.values} == dict(version.values)
        assert version.values


@pytest.mark.parametrize("name", ["cobnut", "ledgerline", "thimblerig"])
def test_programs_of_several_banks_change_places(name: str) -> None:
    """By whole banks, by one program each, and with the bank's number inside a group; the other programs stay."""
    chart = chart_of(name)
    here = world(chart, seed=2)
    assert chart.memory is not None
    size = chart.memory.size
    first, last = 0, size - 1
    was = [dict(here.instrument.memory[place].values) for place in range(size)]
    read = backup(here.line, programs=[first, last]).programs
    new = {first: read[last], last: read[first]}
    done = restore(here.line, new, allow=lambda _: True, keep_before=lambda _place, _version: None)
    assert sorted(done.new) == [first, last]
    wanted = {place: {**was[place], **new[place].values} if place in new else was[place] for place in range(size)}
    assert {place: dict(here.instrument.memory[place].values) for place in range(size)} == wanted


@pytest.mark.parametrize(
    ("name", "message", "slots"), [("plumbago", "edit", {}), ("sedgebank", "tone", {"program": 7})]
)
def test_a_dump_that_is_started_on_the_panel_is_captured(name: str, message: str, slots: Table) -> None:
    chart = chart_of(name)
    here = world(chart, seed=2)
    usual: Table = {"form": "answer", **slots}
    (dump,) = chart.codec.encode(message, Values(here.sound), chart.default_address, **usual)

    def start(now: float) -> None:
        here.instrument.send(dump, now)

    here.bad.at(102.0, start)
    taken = capture_by_hand(here.line)
    assert taken.known == taken.of
    assert dict(taken.version.values) == here.sound
