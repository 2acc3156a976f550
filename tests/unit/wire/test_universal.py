"""Universal messages byte for byte. Bytes without another source: MIDI 1.0 Detailed Specification 4.2.1 (M1)."""

from __future__ import annotations

import contextlib
import csv
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.messages import ALL_CALL
from librarian.wire import universal
from librarian.wire.assembler import Assembler
from librarian.wire.universal import HandshakeMessage, IdentityReply, Malformed

VECTORS = Path(__file__).parents[2] / "data" / "vectors.csv"
SEVEN = st.integers(0, 127)
FOURTEEN = st.integers(0, 16383)


def vector(name: str) -> bytes:
    with VECTORS.open(encoding="utf-8", newline="") as file:
        return next(bytes.fromhex(row["hex"]) for row in csv.DictReader(file) if row["id"] == name)


def is_sysex_for_mido(raw: bytes) -> bool:
    message = mido.Message.from_bytes(raw)
    return message.type == "sysex" and bytes(message.bytes()) == raw


def test_v27_identity_request_to_all() -> None:
    assert universal.identity_request() == vector("V27")


def test_identity_request_to_one_device() -> None:  # M1 p.40
    assert universal.identity_request(16) == bytes.fromhex("F0 7E 10 06 01 F7")


def test_v28_reply_of_a_one_byte_maker() -> None:
    reply = IdentityReply(16, b"\x7d", 130, 2356, b"\x00\x01\x02\x00")
    assert universal.parse_identity(vector("V28")) == reply
    assert universal.identity_reply(reply) == vector("V28")


def test_v29_reply_of_a_three_byte_maker() -> None:
    reply = IdentityReply(0, b"\x00\x7f\x7f", 130, 2356, b"\x00\x01\x02\x00")
    assert universal.parse_identity(vector("V29")) == reply
    assert universal.identity_reply(reply) == vector("V29")


def test_v30_a_short_reply_is_malformed() -> None:
    with pytest.raises(Malformed, match="has 14 bytes; it should have 15"):
        universal.parse_identity(vector("V30"))


def test_surplus_bytes_do_not_make_a_three_byte_maker() -> None:  # 17 bytes, but the ID does not begin with 00
    raw = bytes.fromhex("F0 7E 10 06 02 7D 02 01 34 12 00 01 02 00 55 66 F7")
    reply = universal.parse_identity(raw)
    assert (reply.manufacturer, reply.family, reply.member) == (b"\x7d", 130, 2356)
    assert (reply.revision, reply.surplus) == (b"\x00\x01\x02\x00", b"\x55\x66")
    assert universal.identity_reply(reply) == raw


def test_v31_handshake() -> None:
    assert universal.parse_handshake(vector("V31")) == HandshakeMessage("nak", 16, 5)
    assert universal.handshake("nak", 16, 5) == vector("V31")


@pytest.mark.parametrize(
    ("kind", "number"),
    [("end of file", 0x7B), ("wait", 0x7C), ("cancel", 0x7D), ("nak", 0x7E), ("ack", 0x7F)],  # M1 p.36, 44-45
)
def test_each_handshake(kind: universal.Handshake, number: int) -> None:
    raw = bytes((0xF0, 0x7E, 3, number, 9, 0xF7))
    assert universal.handshake(kind, 3, 9) == raw
    assert universal.parse_handshake(raw) == HandshakeMessage(kind, 3, 9)


def test_v32_master_volume() -> None:
    assert universal.master_volume(8192) == vector("V32")
    assert universal.parse_master_volume(vector("V32")) == (ALL_CALL, 8192)


def test_master_volume_ends() -> None:  # M1 p.57: 00 00 is silence, 7F 7F full
    assert universal.master_volume(0) == bytes.fromhex("F0 7F 7F 04 01 00 00 F7")
    assert universal.master_volume(16383, 16) == bytes.fromhex("F0 7F 10 04 01 7F 7F F7")


@given(
    st.builds(
        IdentityReply,
        SEVEN,
        st.one_of(
            st.integers(1, 127).map(lambda byte: bytes((byte,))),
            st.tuples(SEVEN, SEVEN).map(lambda two: bytes((0, *two))),
        ),
        FOURTEEN,
        FOURTEEN,
        st.lists(SEVEN, min_size=4, max_size=4).map(bytes),
        st.lists(SEVEN, max_size=5).map(bytes),
    )
)
def test_identity_there_and_back(reply: IdentityReply) -> None:
    raw = universal.identity_reply(reply)
    assert universal.parse_identity(raw) == reply
    assert is_sysex_for_mido(raw)


@given(FOURTEEN, SEVEN)
def test_volume_there_and_back(value: int, device: int) -> None:
    raw = universal.master_volume(value, device)
    assert universal.parse_master_volume(raw) == (device, value)
    assert is_sysex_for_mido(raw)


@given(st.one_of(st.binary(max_size=20), st.binary(max_size=16).map(lambda body: b"\xf0\x7e\x00\x06\x02" + body)))
def test_nothing_but_malformed_comes_of_any_bytes(raw: bytes) -> None:
    for parse in (universal.parse_identity, universal.parse_handshake, universal.parse_master_volume):
        with contextlib.suppress(Malformed):
            assert parse(raw) is not None


@pytest.mark.parametrize(
    "call",
    [
        lambda: universal.identity_request(128),
        lambda: universal.master_volume(16384),
        lambda: universal.master_volume(-1),
        lambda: universal.handshake("ack", 0, 128),
        lambda: universal.identity_reply(IdentityReply(0, b"\x00\x01", 0, 0, bytes(4))),
        lambda: universal.identity_reply(IdentityReply(0, b"\x7d\x01\x02", 0, 0, bytes(4))),
        lambda: universal.identity_reply(IdentityReply(0, b"\x7d", 0, 0, bytes(3))),
        lambda: universal.identity_reply(IdentityReply(0, b"\x7d", 0, 0, b"\x80\0\0\0")),
        lambda: universal.parse_identity(vector("V27")),
        lambda: universal.parse_handshake(vector("V27")),
        lambda: universal.parse_master_volume(bytes.fromhex("F0 7F 7F 04 02 00 40 F7")),
    ],
)
def test_what_does_not_fit_is_refused(call: object) -> None:
    with pytest.raises(Malformed):
        call()  # type: ignore[operator]


def test_panic_order() -> None:
    # M1 p.A-5: the pedal outranks All Notes Off. Value and order of CC 123 and 120: M1 Table IV.
    assert universal.panic([2], [(2, 60), (2, 64)]) == [
        bytes.fromhex("B2 40 00"),
        bytes.fromhex("B2 7B 00"),
        bytes.fromhex("B2 78 00"),
        bytes.fromhex("82 3C 40"),
        bytes.fromhex("82 40 40"),
    ]
    everywhere = universal.panic()
    assert len(everywhere) == 48
    assert not any(raw[1] == 121 for raw in everywhere)  # Reset All Controllers would change the sound


@pytest.mark.parametrize(
    ("raw", "name"),
    [
        ("F0 7E 7F 06 01 F7", "general information: identity request"),
        ("F0 7E 10 06 02 7D 02 01 34 12 00 01 02 00 F7", "general information: identity reply"),
        ("F0 7E 10 7E 05 F7", "NAK"),
        ("F0 7F 7F 04 01 00 40 F7", "device control: master volume"),
        ("F0 7E 7F 09 01 F7", "General MIDI: level 1 on"),
        # The same sub-IDs in the two families; MIDI Association, table of Universal System Exclusive messages
        ("F0 7E 00 08 07 00 F7", "tuning: single notes, with bank"),
        ("F0 7E 00 08 00 05 F7", "tuning: bulk dump request"),
        ("F0 7F 00 08 00 05 F7", "tuning: 00"),
        ("F0 7E 00 50 00 F7", "unknown universal message 7E 50"),
        ("F0 7D 10 01 F7", "SysEx message of Non-commercial use (7D)"),
        ("F0 00 7F 7F 01 F7", "SysEx message of an unknown maker (00 7F 7F)"),
        ("F0 F7", "empty SysEx message"),
        ("B3 4A 40", "controller on channel 4"),
        ("F8", "clock"),
    ],
)
def test_describe(raw: str, name: str) -> None:
    assert universal.describe(bytes.fromhex(raw)) == name


@given(st.binary(max_size=60))
def test_describe_has_a_name_for_every_message(data: bytes) -> None:
    assembler = Assembler()
    for arrival in assembler.feed(data, 0.0):
        if not hasattr(arrival, "kind"):
            assert universal.describe(arrival.raw)
