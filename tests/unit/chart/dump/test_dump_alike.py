"""Very many dumps read as one matrix are what each of them is when it is read for itself: for every chart."""

from __future__ import annotations

from collections import defaultdict
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart, DumpRefused
from librarian.chart.dump.steps import rows
from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS, Rule
from librarian.chart.dump.steps.packing import PACKINGS, NotPacked, PackingName
from librarian.chart.dump.steps.text import NameCoding
from librarian.messages import Address
from tests.dumps_at_random import addresses, damaged, dumps, every_chart

SINGLE = ("edit buffer", "program")


def of_one_message(chart: Chart) -> list[str]:
    """Messages that are one sound in one message."""
    infos = chart.codec.messages.values()
    return [each.name for each in infos if each.kind in SINGLE and each.messages == 1 and not each.single_parameter]


CHARTS = {chart.id: chart for chart in every_chart() if of_one_message(chart)}


def one_by_one(chart: Chart, raw: bytes, address: Address) -> tuple[object, ...] | None:
    try:
        found = chart.codec.decode(raw, address)
    except DumpRefused:
        return None
    return found.message, found.form, dict(found.slots), dict(found.values), found.name


def together(chart: Chart, raws: list[bytes], address: Address) -> dict[int, tuple[object, ...]]:
    found: dict[int, tuple[object, ...]] = {}
    for alike in chart.codec.decode_alike(raws, address):
        for row, (place, values) in enumerate(zip(alike.places, alike.values, strict=True)):
            slots = {word: numbers[row] for word, numbers in alike.slots.items()}
            found[place] = (alike.message, alike.form, slots, values, alike.names[row])
    return found


@pytest.mark.parametrize("name", CHARTS)
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_both_roads_agree(name: str, seed: int) -> None:
    chart = CHARTS[name]
    luck = Random(seed)
    by_length: dict[int, list[bytes]] = defaultdict(list)
    for _ in range(12):
        for raw in dumps(chart, luck.choice(of_one_message(chart)), luck, addresses(chart, luck)):
            for each in (raw, damaged(raw, luck)):
                by_length[len(each)].append(each)
    usual = chart.default_address
    for address in (usual, Address(usual.channel, 127), Address(3, 5)):
        for raws in by_length.values():
            found = together(chart, raws, address)
            for place, raw in enumerate(raws):
                if place in found:
                    assert found[place] == one_by_one(chart, raw, address)


@pytest.mark.parametrize("name", CHARTS)
def test_whole_dumps_are_read_together(name: str) -> None:
    """All of them, except those that are cut by addresses and happen to be one piece."""
    chart = CHARTS[name]
    luck = Random(1)
    usual = chart.default_address
    address = Address(usual.channel, 16 if usual.device == 127 else usual.device)
    for message in of_one_message(chart):
        raws = [raw for _ in range(20) for raw in dumps(chart, message, luck, address)]
        raws = [raw for raw in raws if len(raw) == len(raws[0])]
        spread = chart.codec.dumps.message(message).spread
        assert len(together(chart, raws, address)) == (0 if spread is not None else len(raws))


@given(st.sampled_from(sorted(PACKINGS)), st.integers(1, 40), st.integers(1, 6), st.randoms(use_true_random=False))
def test_packings_of_rows(name: PackingName, size: int, count: int, luck: Random) -> None:
    packing = PACKINGS[name]
    limit = 128 if packing.eight is False or luck.random() < 0.5 else 256
    raw = [bytes(luck.randrange(limit) for _ in range(size)) for _ in range(count)]
    wire = [bytearray(packing.pack(each)) for each in raw]
    if luck.random() < 0.5:
        wire[-1][luck.randrange(len(wire[-1]))] = luck.randrange(256)
    data, fine = rows.unpack(packing, np.frombuffer(b"".join(wire), np.uint8).reshape(count, -1))
    for place, each in enumerate(wire):
        try:
            expected = packing.unpack(bytes(each))
        except NotPacked:
            assert not fine[place]
        else:
            assert fine[place]
            assert data[place].tobytes() == expected


RULES = st.one_of(
    st.builds(Rule, st.sampled_from(CHECKSUM_KINDS), st.integers(1, 16), st.integers(0, 300), st.integers(0, 300)),
    st.builds(
        Rule,
        st.just("crc"),
        st.integers(3, 32),
        st.integers(0, 2**32 - 1),
        st.integers(0, 2**32 - 1),
        st.integers(1, 2**32 - 1),
        st.booleans(),
        st.booleans(),
    ),
)


@given(RULES, st.integers(0, 40), st.integers(1, 5), st.randoms(use_true_random=False))
def test_checksums_of_rows(rule: Rule, size: int, count: int, luck: Random) -> None:
    data = [bytes(luck.randrange(256) for _ in range(size)) for _ in range(count)]
    found = rows.sums(rule, np.frombuffer(b"".join(data), np.uint8).reshape(count, size))
    assert found.tolist() == [rule.of(each) for each in data]


SIGNS = st.sampled_from(" ABÄ~\0·\ud800😀")


@given(st.dictionaries(st.integers(0, 12), SIGNS), st.integers(0, 12), st.integers(1, 8), st.data())
def test_names_of_rows(table: dict[int, str], pad: int, size: int, data: st.DataObject) -> None:
    coding = NameCoding(size, pad, table)
    codes = data.draw(st.lists(st.lists(st.integers(0, 15), min_size=size, max_size=size), min_size=1, max_size=5))
    assert rows.texts(coding, np.array(codes, np.int64)) == [coding.decode(each) for each in codes]
