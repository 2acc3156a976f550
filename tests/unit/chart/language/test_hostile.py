"""Charts from anywhere: a chart comes out, or one of our own errors; soon, and never half a chart."""

from __future__ import annotations

import contextlib
import os
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import ChartFaults, load, loads, shipped
from librarian.chart.language.read import MOST_BYTES
from librarian.errors import BadInput, LibrarianError, OutsideProblem

TEXTS = {name: path.read_text(encoding="utf-8") for name, path in shipped().items()}


def refused(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        loads(text)
    return str(caught.value)


def test_bytes_that_are_no_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes('id = "x"\nname = "Nebelglocke für Spieler"\n'.encode("latin-1"))
    with pytest.raises(ChartFaults) as caught:
        load(path)
    (fault,) = caught.value.faults
    assert (fault.line, fault.column, fault.source) == (2, 22, "latin.toml")
    assert "FC is not UTF-8" in fault.sentence


def test_a_byte_order_mark_and_windows_lines_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "chart.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXTS["fogbell"].replace("\n", "\r\n").encode())
    assert load(path).name == "Fogbell"


def test_a_file_of_50_megabytes_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "large.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    with pytest.raises(BadInput, match="50,000,000 bytes; a chart has at most 4,194,304"):
        load(path)


def test_no_file_a_folder_and_a_name_that_cannot_be(tmp_path: Path) -> None:
    with pytest.raises(OutsideProblem, match="no chart file"):
        load(tmp_path / "nothing.toml")
    with pytest.raises(BadInput, match="is a folder"):
        load(tmp_path)
    with pytest.raises(OutsideProblem, match="cannot be read"):
        load(Path("a\0b.toml"))


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "[" * 2_000 + "]" * 2_000,
        "a = " + "{ b = " * 2_000 + "1" + " }" * 2_000,
        ".".join("a" * 50_000) + " = 1",
        "[" + ".".join("a" * 50_000) + "]",
        "[[" + ".".join("a" * 50_000) + "]]",
        "x = { " + ".".join("a" * 50_000) + " = 1 }",
        "revision = " + "9" * 10_000,
        "revision = 0x" + "f" * 100_000,
        "revision = nan",
        "revision = 1979-13-99",
        'id = "' + "x" * 1_000_000 + '"',
        "[parameter]\n" * 3,
        "parameter = 5\nsection = true\nmessage = []\ngroup = {}\n",
        "id = [[[[1]]]]\n",
        "\0",
        "id = '\x01'",
        '"" = 1',
        "[[parameter]]\n" * 3_000,
        "[[group]]\nrepeat = { a = [0, 65000], b = [0, 65000], c = [0, 65000] }\n",
        "=\n" * 30_000,
        "x = 'a\n" * 1_000,
        'id = "x"\nname = "x"\n' + "[[parameter]]\na = 1\nb = 2\n" * 10_000,
        'id = "x"\nname = "x"\n[[section]]\nid = "s"\nlabel = "S"\n'
        + "".join(
            f'[[parameter]]\nid = "p{n}"\nlabel = "P"\nsection = "t"\nrange = [0, 1]\nbindings = [{{ nrpn = {n} }}]\n'
            for n in range(3_000)
        ),
    ],
    ids=lambda text: text[:20].replace("\n", " ") + f" {len(text)}",
)
def test_hostile_texts_are_refused_soon(text: str) -> None:
    assert refused(text)  # one that expands without bound runs into the time limit of a test


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(BadInput, match="no ordinary file"):
        load(tmp_path / "pipe.toml")


def test_one_character_too_many() -> None:
    assert "4,194,304" in refused("#" * (MOST_BYTES + 1))


def test_many_faults_are_counted_not_listed() -> None:
    with pytest.raises(ChartFaults) as caught:
        loads('id = "x"\nname = "x"\n' + "[[parameter]]\nwrong = 1\n" * 1_000)
    assert "more faults are not listed" in caught.value.faults[-1].sentence


def test_expansion_is_bounded() -> None:
    section = '[[section]]\nid = "s"\nlabel = "S"\n'
    group = "[[group]]\nrepeat = { a = [1, 255], b = [1, 255] }\n" + "".join(
        f'[[group.parameter]]\nid = "p{{a}}.{{b}}.{n}"\nlabel = "P"\nsection = "s"\nrange = [0, 1]\n' for n in range(2)
    )
    assert "130,050 entries" in refused(f'id = "x"\nname = "X"\n{section}{group}')


def pieces() -> st.SearchStrategy[str]:
    """What a slip of the hand, or a mean one, puts into a chart."""
    return st.sampled_from(
        ['"', "'", "[", "]", "{", "}", "=", ".", ",", "\n", "#", "-1", "0", "99999999999", "1e400", "true",
         "id", "[[", "]]", '"""', "{n}", "\\", "\u2028", "[[parameter]]\n", "[identity]\n",
         "repeat = 1\n", "inf", " = "]
    ) | st.text(max_size=4)  # fmt: skip


@settings(max_examples=80)
@given(st.data())
def test_a_damaged_chart_is_a_chart_or_one_of_our_errors(data: st.DataObject) -> None:
    text = TEXTS[data.draw(st.sampled_from(sorted(TEXTS)))]
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        gone = data.draw(st.sampled_from([0, 0, 1, 3, 20, 200]))
        text = text[:at] + data.draw(pieces()) + text[at + gone :]
    try:
        chart = loads(text)
    except LibrarianError:
        return
    assert chart.parameters


@settings(max_examples=25)
@given(st.recursive(
    st.integers() | st.booleans() | st.text(max_size=5) | st.floats(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
), st.data())  # fmt: skip
def test_any_value_at_any_key_is_survived(value: object, data: st.DataObject) -> None:
    text = TEXTS[data.draw(st.sampled_from(sorted(TEXTS)))]
    tree = tomllib.loads(text)
    here: object = tree
    while True:
        if isinstance(here, dict):
            key: object = data.draw(st.sampled_from(sorted(here)))
        elif isinstance(here, list) and here:
            key = data.draw(st.integers(0, len(here) - 1))
        else:
            return
        inside = here[key]  # type: ignore[index]
        if not isinstance(inside, dict | list) or not inside or data.draw(st.booleans()):
            here[key] = value  # type: ignore[index]
            break
        here = inside
    with contextlib.suppress(LibrarianError):
        loads(tomlkit.dumps(tree))
