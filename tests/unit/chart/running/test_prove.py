"""The proof of a chart: sound ones pass, real dumps go there and back, and what is wrong with one is said."""

from __future__ import annotations

import random

import pytest

from librarian.chart import Chart, load, loads, shipped
from librarian.chart.proving import prove
from librarian.chart.proving.values import dumps_of, sound
from tests.dumped import invented, invented_names

LANTERNFISH = load(shipped()["lanternfish"])


def dumps(chart: Chart) -> list[bytes]:
    """One dump of every message of a chart, with random values."""
    chance = random.Random(7)
    found: list[bytes] = []
    for info in chart.codec.messages.values():
        if info.carries and not info.single_parameter:
            found += dumps_of(chart, info, sound(chart, chance), chance, chart.default_address)[0]
    return found


@pytest.mark.parametrize("name", [*shipped(), *invented_names()])
def test_charts_prove_themselves(name: str) -> None:
    chart = load(shipped()[name]) if name in shipped() else invented(name)
    given = dumps(chart)
    proof = prove(chart, given, count=6)
    assert proof.passed, proof.trials
    assert proof.recallable == proof.sound
    assert sum(len(one.numbers) for one in proof.dumps) == len(given)
    assert all(0 < one.explained <= one.size for one in proof.dumps)


def test_what_is_tried_is_counted() -> None:
    proof = prove(LANTERNFISH, count=5)
    assert {one.what: one.tried for one in proof.trials} == {
        "message edit": 5, "message program": 5, "message bank": 3, "controllers": 5 * 104,
    }  # fmt: skip
    assert (proof.sound, proof.recallable, proof.readable, proof.by_hand) == (50, 50, 50, ())
    assert proof.sentence.startswith("533 of 533 trials passed; 50 of 50 sound parameters can be recalled")


def test_unexplained_bytes_are_counted_and_kept() -> None:
    (raw,) = (raw for raw in dumps(LANTERNFISH) if raw[3] == 0x21)
    strange = bytearray(raw)
    strange[37] ^= 0x55  # inside the setup part, behind the two fields
    strange[-2] = (-sum(strange[4:-2])) & 0x7F
    (one,) = prove(LANTERNFISH, [bytes(strange)], count=1).dumps
    assert one.identical
    assert one.explained < one.size == 263


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda raw: raw[:-2] + bytes((raw[-2] ^ 1,)) + raw[-1:], "checksum"),
        (lambda raw: raw[:-9] + raw[-1:], "bytes"),
        (lambda raw: b"\xf0\x01" + raw[2:], ""),
        (lambda raw: b"\xf0\xf7", ""),
    ],
)
def test_dumps_that_do_not_fit(damage: object, said: str) -> None:
    proof = prove(LANTERNFISH, [damage(raw) for raw in dumps(LANTERNFISH)[:1]], count=1)  # type: ignore[operator]
    (one,) = proof.dumps
    assert not one.identical
    assert not proof.passed
    assert said in one.sentence
    assert one.sentence


def test_requests_are_no_dumps() -> None:
    request = LANTERNFISH.codec.request("edit", LANTERNFISH.default_address)
    (one,) = prove(LANTERNFISH, [request], count=1).dumps
    assert one.identical
    assert "no dump" in one.sentence


def test_a_binding_that_cannot_carry_all_is_no_fault() -> None:
    text = 'id = "x"\nname = "X"\n[[section]]\nid = "s"\nlabel = "S"\n'
    text += '[[parameter]]\nid = "p"\nlabel = "P"\nsection = "s"\n'
    chart = loads(text + 'range = [0, 16383]\nbindings = [{ cc = 74, map = "top_bits" }, { nrpn = 5 }]\n')
    proof = prove(chart)
    assert proof.passed
    assert proof.readable == 0


def test_the_same_seed_tries_the_same() -> None:
    told: list[str] = []
    assert prove(LANTERNFISH, seed=3, count=3, tell=told.append) == prove(LANTERNFISH, seed=3, count=3)
    assert told == ["edit", "program", "bank", "controllers"]
