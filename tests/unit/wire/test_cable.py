"""What may be sent: exactly one whole message (MIDI 1.0 Detailed Specification 4.2.1, Tables I to VI), not too long."""

from __future__ import annotations

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.messages import Message
from librarian.wire.assembler import Assembler
from librarian.wire.cable import NotOneMessage, TooLong, check_message


@pytest.mark.parametrize("name", sorted(mido.messages.SPEC_BY_TYPE))
def test_everything_that_mido_can_name_is_a_message(name: str) -> None:
    check_message(bytes(mido.Message(name).bytes()))


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        ("", "There is no message in zero bytes."),
        ("4A 40", "4A 40 does not begin with the status byte of a message."),
        ("F7", "F7 does not begin with the status byte of a message."),
        ("F4", "F4 does not begin with the status byte of a message."),
        ("F9", "F9 does not begin with the status byte of a message."),
        ("B0 4A", "B0 4A has 2 bytes; a message B0 has 3."),
        ("B0 4A 40 4B 41", "B0 4A 40 4B 41 has 5 bytes; a message B0 has 3."),
        ("C0 05 06", "C0 05 06 has 3 bytes; a message C0 has 2."),
        ("F0 7D 01", "The SysEx message F0 7D 01 does not end with F7."),
        ("F0", "The SysEx message F0 does not end with F7."),
        ("F0 7D 01 F8 02 F7", "Byte 3 of F0 7D 01 F8 02 F7 is F8; data bytes stop at 7F."),
        ("B0 4A 80", "Byte 2 of B0 4A 80 is 80; data bytes stop at 7F."),
        ("F0 7D 01 02 03 04 05 06 07 80 F7", "Byte 9 of F0 7D 01 02 03 04 05 06 … is 80; data bytes stop at 7F."),
    ],
)
def test_what_is_not_one_message_is_refused(raw: str, sentence: str) -> None:
    with pytest.raises(NotOneMessage) as problem:
        check_message(bytes.fromhex(raw))
    assert str(problem.value) == sentence


def test_too_long() -> None:
    check_message(b"\xf0" + bytes(15_998) + b"\xf7", 16_000)
    with pytest.raises(TooLong, match="A message of 16,001 bytes cannot be sent: 16,000 is the most"):
        check_message(b"\xf0" + bytes(15_999) + b"\xf7", 16_000)


@given(st.binary(max_size=20))
def test_it_agrees_with_the_assembler(raw: bytes) -> None:
    assembler = Assembler()
    arrivals = assembler.feed(raw, 0.0) + assembler.finish()
    one = len(arrivals) == 1 and isinstance(arrivals[0], Message) and arrivals[0].raw == raw
    try:
        check_message(raw)
    except NotOneMessage:
        assert not one
    else:
        assert one
