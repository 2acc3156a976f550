"""The traffic log: bounded, both directions, to text and to a file that can be replayed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.errors import BadInput, OutsideProblem
from librarian.messages import Damaged, Message
from librarian.wire.traffic import Crossing, Traffic, as_text, load, save

CC = b"\xb0\x4a\x40"


def some() -> Traffic:
    traffic = Traffic()
    traffic.sent("Fogbell", CC, 10.0)
    traffic.came("Fogbell", Message(b"\xf0\x7d\xf7", 10.0125))
    traffic.came("Fogbell", Damaged(b"\xf0\x7d", "unterminated", "Cut off.", 11.5))
    return traffic


def test_numbers_run_on_and_only_newer_ones_are_given() -> None:
    traffic = some()
    assert [one.number for one in traffic.after()] == [1, 2, 3]
    assert [one.raw for one in traffic.after(2)] == [b"\xf0\x7d"]
    traffic.clear()
    assert traffic.after() == ()
    traffic.sent("Fogbell", CC, 12.0)
    assert [one.number for one in traffic.after(3)] == [4]


def test_the_oldest_go_when_there_are_too_many() -> None:
    traffic = Traffic(most=3)
    for number in range(10):
        traffic.sent("x", bytes((0xC0, number)), 0.0)
    assert [one.raw[1] for one in traffic.after()] == [7, 8, 9]


def test_the_oldest_go_when_there_are_too_many_bytes() -> None:
    traffic = Traffic(most_bytes=100)
    for length in (40, 40, 40, 300):
        traffic.sent("x", bytes(length), 0.0)
        assert sum(len(one.raw) for one in traffic.after()) <= 100 or len(traffic.after()) == 1
    assert [len(one.raw) for one in traffic.after()] == [300]


def test_as_text() -> None:
    assert as_text(some().after()).splitlines() == [
        "       0.000 ms  Fogbell -> B0 4A 40",
        "      12.500 ms  Fogbell <- F0 7D F7",
        "    1500.000 ms  Fogbell <- F0 7D  (Cut off.)",
    ]
    assert as_text(()) == ""
    (line,) = as_text(some().after()[:1], lambda one: f"{len(one.raw)} bytes").splitlines()
    assert line == "       0.000 ms  Fogbell -> 3 bytes  [B0 4A 40]"


CROSSINGS = st.lists(
    st.builds(
        Crossing,
        st.just(0),
        st.floats(0, 1e6).map(lambda at: round(at, 6)),
        st.text(max_size=10),
        st.sampled_from(["in", "out"]),
        st.binary(min_size=1, max_size=10),
        st.text(max_size=10),
    ),
    max_size=5,
)


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("traffic") / "log.jsonl"


@settings(max_examples=50)
@given(crossings=CROSSINGS)
def test_what_is_saved_is_loaded(log: Path, crossings: list[Crossing]) -> None:
    save(log, crossings)
    loaded = load(log)
    assert [one.number for one in loaded] == list(range(1, len(crossings) + 1))
    assert [(one.at, one.cable, one.direction, one.raw, one.damage) for one in loaded] == [
        (one.at, one.cable, one.direction, one.raw, one.damage) for one in crossings
    ]


HEAD = json.dumps({"file": "librarian traffic", "edition": 1})
GOOD = '{"at": 0, "cable": "x", "direction": "in", "bytes": "B0 4A 40"}'


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "its first line is not what this program writes"),
        ("B0 4A 40", "its first line is not what this program writes"),
        ("{}", "its first line does not say so"),
        ('{"file": "librarian traffic", "edition": 2}', "is of edition 2; this program reads edition 1"),
        (f"{HEAD}\n{GOOD}\n[1]", "line 3: not a JSON object"),
        (f"{HEAD}\n{GOOD.replace('0,', 'true,')}", "line 2: 'at' is not a number of seconds"),
        (f"{HEAD}\n{GOOD.replace('0,', 'NaN,')}", "line 2: 'at' is not a number of seconds"),
        (f"{HEAD}\n{GOOD.replace('in', 'up')}", "line 2: 'direction' is 'in' or 'out'"),
        (f"{HEAD}\n{GOOD.replace('B0', 'B')}", "line 2: 'bytes' is not a row of hexadecimal bytes"),
        (f"{HEAD}\n{GOOD.replace('B0 4A 40', '')}", "line 2: 'bytes' is not a row of hexadecimal bytes"),
        (f"{HEAD}\n" + GOOD.replace('"x"', "7"), "line 2: 'cable' and 'damage' are texts"),
        (f"{HEAD}\n" + "[" * 100_000, "line 2: not a JSON object"),
    ],
)
def test_a_file_that_is_none_is_refused_with_its_line(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "log.jsonl"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as problem:
        load(path)
    assert sentence in str(problem.value)
    assert str(path) in str(problem.value)


def test_a_binary_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.jsonl"
    path.write_bytes(b"\xf0\x7d\xf7")
    with pytest.raises(BadInput, match="not UTF-8 text"):
        load(path)


def test_files_that_cannot_be_opened_are_the_worlds_problem(tmp_path: Path) -> None:
    with pytest.raises(OutsideProblem, match="could not be read"):
        load(tmp_path / "missing")
    with pytest.raises(OutsideProblem, match="could not be written"):
        save(tmp_path / "no folder" / "log", ())
