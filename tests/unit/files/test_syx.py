"""`.syx` files: every byte accounted for, text forms, writing. No standard defines them."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.errors import BadInput, OutsideProblem, Refused
from librarian.files import syx
from librarian.files.pieces import Piece

SYSEX = st.binary(max_size=12).map(lambda data: b"\xf0" + bytes(byte & 0x7F for byte in data) + b"\xf7")


def of_kind(data: bytes, kind: str) -> list[Piece]:
    return [piece for piece in syx.scan(data) if piece.kind == kind]


@given(st.binary(max_size=200))
def test_every_byte_belongs_to_one_piece(data: bytes) -> None:
    place = 0
    for piece in syx.scan(data):
        assert piece.place == place
        assert piece.size > 0
        assert len(piece.raw) + piece.realtime == piece.size
        place += piece.size
    assert place == len(data)


@given(st.lists(SYSEX, max_size=8), st.binary(max_size=5).map(lambda data: bytes(byte & 0x7F for byte in data)))
def test_whole_messages_are_found_whatever_stands_between(messages: list[bytes], junk: bytes) -> None:
    found = of_kind(junk + junk.join(messages) + junk, "sysex")
    assert [piece.raw for piece in found] == messages


@given(SYSEX, st.integers(0, 12), st.integers(0xF8, 0xFF))
def test_realtime_inside_is_taken_out(message: bytes, at: int, realtime: int) -> None:
    at = min(max(at, 1), len(message) - 1)
    pieces = list(syx.scan(message[:at] + bytes([realtime]) + message[at:]))
    assert [(piece.raw, piece.realtime) for piece in pieces] == [(message, 1)]


def test_a_missing_end_is_kept_and_said() -> None:
    # mido 1.3.3's reader loses both of these without a word
    data = bytes.fromhex("F07D0102 F07D03F7 F07D04")
    assert [piece.raw.hex() for piece in of_kind(data, "cut")] == ["f07d0102", "f07d04"]
    told = syx.account(syx.from_bytes(data, "x.syx"))
    assert (told.sysex, told.cut) == (1, 2)
    assert "byte 0 ends after 4 bytes without F7" in told.sentences[0]


def test_bytes_before_padding_behind_and_empty_messages_are_told_apart() -> None:
    told = syx.account(syx.from_bytes(bytes.fromhex("0102 F07D01F7 0000FF1A F0F7 1A"), "x.syx"))
    assert (told.outside, told.padding, told.sysex) == (2, 5, 2)
    assert told.sentences[0] == "2 bytes outside messages at byte 0 before the first message."
    assert any("1 SysEx messages are empty" in each for each in told.sentences)


def test_channel_messages_between_keep_running_status() -> None:
    piece = of_kind(bytes.fromhex("F07DF7 B04A404B F8 4105 F07DF7"), "channel")[0]
    assert [raw.hex() for raw in piece.messages()] == ["b04a40", "b04b41"]
    assert piece.surplus == b"\x05"


@pytest.mark.parametrize(
    "text",
    [
        "F0 7D 01 F7", "f0,7d;01\tf7", "F07D01F7", "F0h 7Dh 01h F7h", "0xF0, 0x7D, 0x01, 0xF7", "$F0 $7D $01 $F7",
        "; a comment\n# one more\n  // and F0\nF0 7D\r\n01 F7\r\n", "\ufeffF0 7D 01 F7",
    ],
)  # fmt: skip
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_hexadecimal_text(text: str, encoding: str) -> None:
    file = syx.from_bytes(text.encode(encoding), "x.syx")
    assert file.data.hex() == "f07d01f7"
    assert "hexadecimal" in file.notes[0]


def test_other_text_is_refused_with_the_line() -> None:
    with pytest.raises(BadInput, match="Line 2: “hello”"):
        syx.from_bytes(b"F0 7D\nhello F7", "x.syx")


@given(SYSEX)
def test_bytes_saved_as_utf8_or_as_half_bytes_are_taken_back(message: bytes) -> None:
    assert syx.from_bytes(message.decode("latin-1").encode(), "x.syx").data == message
    halves = bytes(half for byte in message for half in (byte >> 4, byte & 15))
    assert syx.from_bytes(halves, "x.syx").data == message


@given(st.binary(max_size=60))
def test_no_bytes_crash_the_reader(data: bytes) -> None:
    with suppress(BadInput):
        syx.account(syx.from_bytes(data, "x.syx"))


def test_writing_is_exact_whole_and_overwrites_nothing(tmp_path: Path) -> None:
    path = tmp_path / "out.syx"
    messages = [bytes.fromhex("F07D01F7"), bytes.fromhex("B04A40")]
    assert syx.write(path, messages) == 7
    assert path.read_bytes() == b"".join(messages)
    with pytest.raises(Refused, match="exists already"):
        syx.write(path, [])
    syx.write(path, messages[:1], replace=True)
    assert path.read_bytes() == messages[0]

    def broken() -> object:
        yield b"\xf0"
        raise OSError(28, "No space left on device")

    with pytest.raises(OutsideProblem, match="No space left"):
        syx.write(tmp_path / "other.syx", broken())  # type: ignore[arg-type]
    assert [each.name for each in tmp_path.iterdir()] == ["out.syx"]


def test_problems_of_the_disk_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(OutsideProblem, match="cannot be read"):
        syx.read(tmp_path / "missing.syx")
    with pytest.raises(OutsideProblem, match="cannot be written"):
        syx.write(tmp_path / "no folder" / "x.syx", [])


def test_a_large_file_of_one_status_byte_takes_little_memory() -> None:
    data = b"\xf0\xf7" * 200_000 + b"\xff" * 1_000_000
    assert sum(piece.size for piece in syx.scan(data)) == len(data)
    assert syx.account(syx.from_bytes(data, "x.syx")).padding == 1_000_000
