"""Names inside dumps. The padded name of 10 characters is the row of the project's table; the rest from memory."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump.steps.text import ASCII, UNSHOWN, NameCoding, NotWritable

BLANKS = NameCoding(10, 0x20, ASCII)
ZEROS = NameCoding(10, 0x00, ASCII)
OWN = NameCoding(5, 0, dict(enumerate(" ABCDEFGHIJKLMNOPQRSTUVWXYZ")))


@pytest.mark.parametrize(
    ("coding", "codes"),
    [(BLANKS, "46 4F 47 42 45 4C 4C 20 20 20"), (ZEROS, "46 4F 47 42 45 4C 4C 00 00 00")],
)
def test_padding(coding: NameCoding, codes: str) -> None:
    assert coding.decode(bytes.fromhex(codes)) == "FOGBELL"
    assert bytes(coding.encode("FOGBELL")) == bytes.fromhex(codes)


def test_a_zero_ends_the_name_where_zeros_fill_it() -> None:
    assert ZEROS.decode(b"OLD\x00NAMES.") == "OLD"


def test_codes_outside_the_table_are_shown_as_a_dot_and_kept() -> None:
    codes = b"\x05AB\x7fC     "
    text = BLANKS.decode(codes)
    assert text == f"{UNSHOWN}AB{UNSHOWN}C"
    assert bytes(BLANKS.encode(text, codes)) == codes
    assert bytes(BLANKS.encode(f"{UNSHOWN}XY{UNSHOWN}C", codes)) == b"\x05XY\x7fC     "


def test_the_same_text_keeps_its_own_padding() -> None:
    assert bytes(BLANKS.encode("AB", b"AB\x20\x20\x20\x20\x20\x20\x20\x20")) == b"AB        "
    assert bytes(ZEROS.encode("AB", b"AB\x00leftov.")) == b"AB\x00leftov."


def test_an_alphabet_of_its_own() -> None:
    assert OWN.encode("CAB") == (3, 1, 2, 0, 0)
    assert OWN.decode((3, 1, 2, 0, 0)) == "CAB"


@pytest.mark.parametrize(
    ("coding", "text", "sentence"),
    [
        (BLANKS, "ELEVEN LONG", "has 11 characters; the instrument stores 10"),
        (BLANKS, "Smørbrød", "the character “ø”"),
        (OWN, "abc", "the character “a”"),
    ],
)
def test_names_that_cannot_be_stored(coding: NameCoding, text: str, sentence: str) -> None:
    with pytest.raises(NotWritable, match=sentence):
        coding.encode(text)


@given(st.binary(min_size=10, max_size=10), st.sampled_from([BLANKS, ZEROS]))
def test_codes_that_came_go_back_unchanged(codes: bytes, coding: NameCoding) -> None:
    assert bytes(coding.encode(coding.decode(codes), codes)) == codes


@given(st.text(st.sampled_from(list(ASCII.values())), max_size=10))
def test_text_there_and_back(text: str) -> None:
    for coding in (BLANKS, ZEROS):
        assert coding.decode(coding.encode(text)) == text.rstrip(" ")
