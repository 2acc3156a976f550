"""The JSON Schema, judged by the independent package jsonschema."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import jsonschema
import pytest

from librarian.chart import schema, shipped

CHARTS = {name: path.read_text(encoding="utf-8") for name, path in shipped().items()}
VALIDATOR = jsonschema.Draft202012Validator(schema())


def test_it_is_a_schema_and_json() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    assert json.loads(json.dumps(schema())) == schema()


@pytest.mark.parametrize("name", CHARTS)
def test_shipped_charts_are_valid(name: str) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(tomllib.loads(CHARTS[name]))] == []


def changed(change: str) -> dict[str, Any]:
    chart = tomllib.loads(CHARTS["lanternfish"])
    first = chart["parameter"][0]
    if change == "missing":
        del first["label"]
    elif change == "misspelt":
        first["lable"] = "x"
    elif change == "number":
        first["bindings"] = [{"cc": 300}]
    elif change == "choice":
        first["kind"] = "steped"
    elif change == "dump":
        chart["message"]["edit"]["kind"] = "edit bufer"
    return chart


@pytest.mark.parametrize("change", ["missing", "misspelt", "number", "choice", "dump"])
def test_what_is_wrong_with_a_chart_is_wrong_by_the_schema(change: str) -> None:
    assert not VALIDATOR.is_valid(changed(change))
