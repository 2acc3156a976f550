"""Messages and layouts of a group: a multitimbral unit whose parts travel as one message of one form for each part.

The bytes are worked by hand: F0 7D, device 10h, 02, part from 0, level, tune + 64, checksum that makes the sum of part,
level and tune a multiple of 128 (standard practice of address-mapped dumps), F7.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.chart import ChartFaults, loads
from librarian.messages import Values, Version
from librarian.transfer import capture, recall, verify
from tests.dumped import FOLDER
from tests.simulated import world

CHART = (FOLDER / "trellis.toml").read_text(encoding="utf-8")

SOUND = {f"part{n}.{what}": value for n in range(1, 17) for what, value in (("level", 100 - n), ("tune", n - 8))}


RAWS = loads(CHART).codec.encode("multi", SOUND, loads(CHART).default_address)


def test_the_bytes_of_the_first_and_the_last_part() -> None:
    chart = loads(CHART)
    assert len(RAWS) == 16
    # part 1: level 99 = 63h, tune -7 = 39h; 00 + 63 + 39 = 9Ch, 100h - 9Ch = 64h
    assert RAWS[0] == bytes.fromhex("F0 7D 10 02 00 63 39 64 F7")
    # part 16: level 84 = 54h, tune 8 = 48h; 0F + 54 + 48 = ABh, 100h - ABh = 55h
    assert RAWS[15] == bytes.fromhex("F0 7D 10 02 0F 54 48 55 F7")
    assert chart.codec.request("part16", chart.default_address) == bytes.fromhex("F0 7D 10 01 0F F7")
    assert dict(chart.codec.decode_all(list(reversed(RAWS)), chart.default_address).values) == SOUND


def test_it_is_captured_recalled_and_proved_as_one_sound() -> None:
    chart = loads(CHART)
    one = world(chart, values=SOUND)
    got = capture(one.line)
    assert dict(got.version.values) == SOUND
    other = {name: chart.parameters[name].low for name in SOUND}
    version = Version(chart.id, chart.revision, Values(other))
    assert recall(one.line, version).state == "arrived"
    assert one.sound == other
    assert verify(one.line, version).state == "arrived"


def test_two_indices_make_messages_in_their_order() -> None:
    text = CHART.replace("{ n = [1, 16] }", "{ b = [0, 1], n = [1, 3] }").replace("part{n}", "part{b}-{n}")
    text = text.replace("01 {n-1} F7", "01 {b+64} {n-1} F7").replace('holds = "{n-1}"', 'holds = "{b+64} {n-1}"')
    chart = loads(text)
    raws = chart.codec.encode("multi", dict.fromkeys(chart.sound_ids, 0), chart.default_address)
    assert [raw[4:6].hex(" ") for raw in raws] == ["40 00", "40 01", "40 02", "41 00", "41 01", "41 02"]


@pytest.mark.parametrize(
    ("old", "new", "said", "line"),
    [
        ('part{n}.level", {', 'part{n}.lvel", {', "lvel", 37),
        ("01 {n-1} F7", "01 {n+120} F7", "{n+120} is 128 at n = 8, which is no data byte.", 30),
        ("01 {n-1} F7", "01 {m} F7", "no such part", 30),
        ('[group.message."part{n}"]', '[group.message."part"]', "the same name, “part”, in every round", 28),
        ("[1, 16]", "[1, 500]", "messages of this group would be written 500 times", 28),
        ("[1, 16]", "[16, 1]", "runs from 16 to 1", 10),
    ],
)
def test_a_slip_of_the_hand_is_told_once_and_where_it_was_written(old: str, new: str, said: str, line: int) -> None:
    assert old in CHART
    with pytest.raises(ChartFaults) as told:
        loads(CHART.replace(old, new, 1))
    there = [fault for fault in told.value.faults if said in fault.sentence]
    assert len(there) == 1, [str(fault) for fault in told.value.faults]
    assert there[0].line == line, str(there[0])


def test_a_name_that_stands_already_is_refused() -> None:
    with pytest.raises(ChartFaults, match="There is a message “part3” already"):
        loads(f'{CHART}\n[message.part3]\nkind = "command"\nwrite = "F0 7D {{device}} 44 F7"\n')


def test_what_it_becomes_is_bounded() -> None:
    fields = ", ".join(['"part{n}.level"'] * 20_000)
    text = CHART.replace("[1, 16]", "[1, 128]").replace('fields = ["part{n}.level"', f"fields = [{fields}")
    with pytest.raises(ChartFaults, match="too much for their size"):
        loads(text)


def test_a_chart_that_extends_one_with_a_group_keeps_its_messages(tmp_path: Path) -> None:
    (tmp_path / "trellis.toml").write_text(CHART, encoding="utf-8")
    chart = loads('extends = "trellis.toml"\nid = "osier"\nname = "Osier"\n', "osier.toml", folder=tmp_path)
    for one in (chart, loads(chart.text)):
        assert one.codec.encode("multi", SOUND, one.default_address) == RAWS
