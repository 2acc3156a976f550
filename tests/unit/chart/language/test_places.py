"""Every key of a TOML text has its place; the values are tomllib's, the places are checked against the text."""

from __future__ import annotations

import tomllib
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart.faults import Path
from librarian.chart.language.places import Places

TEXT = """\
# a chart
id = "x"           # comment with [brackets] and = signs
"quoted key" = 1
a.b . c = 2

[table]
plain = '''
several = "lines" of [text]
'''
inline = { one = 1, two = { three = [1, { four = 4 }] } }
list = [
  # a comment, with a comma
  1,
  [2, 3],  { x = 5 },
]
when = 1979-05-27 07:32:00
'l' = 'it'

[[entry]]
id = "first"
[entry.sub]
deep = true
[[entry.list]]
n = 1
[[entry.list]]
n = 2
[[entry]]
id = "second"
[[entry.list]]
n = 3
"""


def paths(data: Any, base: Path = ()) -> list[Path]:
    """Every path in parsed TOML."""
    found: list[Path] = [base] if base else []
    if isinstance(data, dict):
        for key, value in data.items():
            found += paths(value, (*base, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            found += paths(value, (*base, index))
    return found


def at(text: str, path: Path) -> str:
    line, column = Places(text).at(path)
    return text.split("\n")[line - 1][column - 1 :]


def test_every_path_of_a_text_has_its_place() -> None:
    text = TEXT
    places = Places(text)
    for path in paths(tomllib.loads(text)):
        assert places.has(path), path
    assert at(text, ("id",)).startswith('id = "x"')
    assert at(text, ("quoted key",)).startswith('"quoted key"')
    assert at(text, ("a", "b", "c")).startswith("c = 2")
    assert at(text, ("a",)).startswith("a.b")
    assert at(text, ("table", "inline", "two", "three", 1, "four")).startswith("four = 4")
    assert at(text, ("table", "list", 1, 1)).startswith("3]")
    assert at(text, ("table", "list", 2, "x")).startswith("x = 5")
    assert at(text, ("table", "when")).startswith("when")
    assert at(text, ("entry", 1, "id")).startswith('id = "second"')
    assert at(text, ("entry", 0, "list", 1, "n")).startswith("n = 2")
    assert at(text, ("entry", 1, "list", 0)).startswith("[[entry.list]]")
    assert at(text, ("entry", 0, "sub", "deep")).startswith("deep")


def test_what_is_not_written_has_the_place_of_what_holds_it() -> None:
    places = Places(TEXT)
    assert places.at(("entry", 1, "label")) == places.at(("entry", 1))
    assert places.at(("nothing",)) == (0, 0)


def test_strings_hide_everything() -> None:
    text = 'a = "\\"]"\nb = \'\'\'\n[x]\nc = 1\'\'\'\nd = """\\"""" \ne = """x""""\n'
    places = Places(text)
    assert set(tomllib.loads(text)) == {"a", "b", "d", "e"}
    assert [places.at((key,))[0] for key in "abde"] == [1, 2, 5, 6]


def toml_values() -> st.SearchStrategy[Any]:
    leaf = st.integers(-1000, 1000) | st.booleans() | st.text(max_size=8) | st.floats(-5, 5)
    keys = st.text(min_size=1, max_size=6)
    return st.dictionaries(
        keys, st.recursive(leaf, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3))
    )


@settings(max_examples=50)
@given(toml_values())
def test_every_path_of_any_text_has_its_place(data: dict[str, Any]) -> None:
    text = tomlkit.dumps(data)
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:  # tomlkit lets some control characters through that the standard forbids
        return
    places = Places(text)
    for path in paths(parsed):
        assert places.has(path), path
        line, column = places.at(path)
        assert 1 <= line <= text.count("\n") + 1
        assert column >= 1
