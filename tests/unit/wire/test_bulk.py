"""`split_all` against the `Assembler`, which test_assembler.py holds against the standard."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.messages import Damaged, Message
from librarian.wire import bulk
from librarian.wire.assembler import Assembler
from librarian.wire.bulk import split_all

SEVEN = st.binary(max_size=12).map(lambda body: bytes(byte & 0x7F for byte in body))
SYSEX = SEVEN.map(lambda body: b"\xf0" + body + b"\xf7")
RUN = st.builds(lambda status, pairs: bytes((status,)) + pairs * 2, st.integers(0x80, 0xEF), SEVEN.filter(len))
COMMON = st.sampled_from([b"\xf1\x05", b"\xf2\x10\x08", b"\xf3\x01", b"\xf6"])
REALTIME = st.sampled_from([b"\xf8", b"\xfa", b"\xfe", b"\xff"])
GOOD = st.lists(st.one_of(SYSEX, RUN, COMMON, REALTIME), max_size=20).map(b"".join)
ODD = st.one_of(st.binary(max_size=5), SEVEN, st.integers(0x80, 0xFF).map(lambda byte: bytes((byte,))))
MIXED = st.lists(st.one_of(SYSEX, RUN, COMMON, REALTIME, ODD), max_size=20).map(b"".join)


def one_by_one(data: bytes, cap: int = 4 * 1024 * 1024) -> list[Message | Damaged]:
    assembler = Assembler(cap)
    return assembler.feed(data, 0.0) + assembler.finish()


@pytest.fixture(params=[16, 1 << 16])
def segment(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Small segments, so that short inputs have many borders."""
    monkeypatch.setattr(bulk, "_SEGMENT", request.param)
    return int(request.param)


@pytest.mark.usefixtures("segment")
class TestSameAsTheAssembler:
    @given(st.one_of(GOOD, MIXED, st.binary(max_size=200)), st.integers(2, 40) | st.just(4 * 1024 * 1024))
    def test_arrivals(self, data: bytes, cap: int) -> None:
        split = split_all(data, cap)
        expected = one_by_one(data, cap)
        assert list(split) == expected
        assert len(split) == len(expected)
        assert [split[index] for index in range(len(split))] == expected
        assert split[::-1] == expected[::-1]

    @given(st.one_of(GOOD, MIXED, st.binary(max_size=200)))
    def test_offsets_lead_to_the_bytes(self, data: bytes) -> None:
        split = split_all(data)
        own = []
        for index, arrival in enumerate(split):
            offset = split.offset(index)
            realtime = arrival.raw[0] >= 0xF8
            kept = bytes(byte for byte in data[offset:] if byte < 0xF8)
            if realtime:
                assert data[offset] == arrival.raw[0]
                own.append([offset])
            else:
                implied = kept[0] != arrival.raw[0]
                assert kept.startswith(arrival.raw[implied:])
                assert not implied or 0x80 <= arrival.raw[0] < 0xF0
                places = [place for place in range(offset, len(data)) if data[place] < 0xF8]
                own.append(places[: len(arrival.raw) - implied])
        assert sorted(place for places in own for place in places) == list(range(len(data)))


def test_ordinary_input_is_not_read_byte_by_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("whole messages went down the slow road")

    monkeypatch.setattr(bulk, "_damaged", refuse)
    data = bytes.fromhex("B0 4A 40 4B F8 41 C0 05 06 F0 7D 01 FE 02 F7 F2 10 08 F6 E3 00 40") * 10_000
    assert list(split_all(data)) == one_by_one(data)


def test_nothing_in_nothing() -> None:
    assert list(split_all(b"")) == []


def test_an_index_outside_is_an_error() -> None:
    split = split_all(b"\xb0\x4a\x40")
    assert split[-1] == split[0] == Message(b"\xb0\x4a\x40")
    for index in (1, -2):
        with pytest.raises(IndexError):
            split[index]


def test_a_megabyte_of_text_is_one_piece_of_damage() -> None:
    data = b"no midi at all. " * 65536
    (arrival,) = split_all(data)
    assert isinstance(arrival, Damaged)
    assert (arrival.raw, arrival.kind) == (data, "ignored")
