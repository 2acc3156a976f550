"""Text from outside on a terminal: shown, never obeyed."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.cli.clean import clean

ANYTHING = st.text(st.characters(), max_size=200)  # lone surrogates too


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Harbour before the storm", "Harbour before the storm"),
        ("\x1b[31mred\x1b[0m", "\\x1b[31mred\\x1b[0m"),
        ("\x1b]0;title\x07", "\\x1b]0;title\\x07"),
        ("one\rtwo", "one\\x0dtwo"),
        ("one\ntwo", "one\\x0atwo"),
        ("\x9b2J", "\\x9b2J"),  # C1: one byte that begins a control sequence
        ("\u202eflac.exe", "\\u202eflac.exe"),
        ("\u2066a\u2069", "\\u2066a\\u2069"),
        ("a\u2028b", "a\\u2028b"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),
        ("Ærø – “fog” 🌫 日本", "Ærø – “fog” 🌫 日本"),
        ("[bold]no markup[/bold] :smile:", "[bold]no markup[/bold] :smile:"),
    ],
)
def test_examples(text, shown):
    assert clean(text) == shown


@given(ANYTHING)
def test_nothing_invisible_is_left(text):
    for character in clean(text):
        assert unicodedata.category(character) not in {"Cc", "Cs", "Zl", "Zp"}
        assert character not in "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u061c"


@given(ANYTHING)
def test_cleaning_twice_changes_nothing(text):
    assert clean(clean(text)) == clean(text)


@given(st.text(st.characters(categories=("L", "N", "P", "S", "Zs"))))
def test_plain_text_stays(text):
    assert clean(text) == text


def test_line_feeds_stay_when_asked():
    assert clean("a\nb\x1b", lines=True) == "a\nb\\x1b"


def test_what_is_too_long_is_cut_and_says_so():
    assert clean("x" * 5000, longest=10) == "xxxxxxxxxx… (5000 characters)"
