"""The reference page is what the models say, its examples are possible, and the charts in it load."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter

from librarian.chart import load, loads, shipped
from librarian.chart.dump.steps.packing import PACKINGS
from librarian.chart.language.lookup import fields_of
from librarian.chart.language.writing import value_text
from librarian.chart.reference import example, tables, with_reference

PAGE = Path(__file__).parents[4] / "assets" / "guide" / "chart.md"
KEYS = [(place, model, key) for place, model in tables() for key in fields_of(model)]
CHARTS = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


def test_the_page_is_current() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert with_reference(page) == page, "run: python -m tests.guide"


@pytest.mark.parametrize(("place", "model", "key"), KEYS, ids=lambda part: getattr(part, "__name__", str(part)))
def test_every_example_is_possible(place: str, model: type[BaseModel], key: str) -> None:
    field = fields_of(model)[key]
    shown: Any = example(model, key, field)
    assert tomllib.loads(f"key = {value_text(shown)}") == {"key": shown}
    TypeAdapter(field.annotation, config=None).validate_python(shown)


@pytest.mark.parametrize("text", CHARTS, ids=[text.split("\n", 1)[0] for text in CHARTS])
def test_charts_of_the_page_load(text: str) -> None:
    chart = loads(text)
    assert chart.parameters


EXAMPLES = re.findall(r"```toml\n((?:(?!```).)*)```\s+```dump\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


@pytest.mark.parametrize(("text", "dumps"), EXAMPLES, ids=[text.split("\n", 1)[0] for text, _dumps in EXAMPLES])
def test_the_messages_on_the_page_say_what_stands_beside_them(text: str, dumps: str) -> None:
    """The bytes were worked out by hand, with the sums beside them."""
    chart = loads(text)
    for line in dumps.strip().splitlines():
        wire, message, said, name = (word.strip() for word in line.split("|"))
        raws = [bytes.fromhex(f"{each} F7") for each in wire.removesuffix(" F7").split(" F7 ")]
        decoded = chart.codec.decode_all(raws, chart.default_address)
        assert decoded.message == message
        assert decoded.name == name
        if decoded.programs:
            assert said == f"{len(decoded.programs)} programs"
        else:
            assert said == ", ".join(f"{identity} {value}" for identity, value in decoded.values.items())


def test_the_page_tells_every_packing() -> None:
    rows = dict(re.findall(r"\| `(\w+)` \|[^|]*\| ([0-9A-F ]+) \|", PAGE.read_text(encoding="utf-8")))
    for name, packing in PACKINGS.items():
        if name != "plain":
            assert packing.pack(b"\x85\x01") == bytes.fromhex(rows[name])


def test_the_page_explains_with_charts() -> None:
    assert len(CHARTS) == 11
    assert len(EXAMPLES) == 5


def test_every_table_of_the_shipped_charts_is_in_the_reference() -> None:
    page = PAGE.read_text(encoding="utf-8")
    for path in shipped().values():
        for key in tomllib.loads(path.read_text(encoding="utf-8")):
            assert f"`{key}`" in page
        assert load(path).parameters
