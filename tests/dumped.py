"""Charts for tests of dumps: the invented instruments of tests/data/charts, and small charts from a text."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from librarian.chart import Chart, dump, load

FOLDER = Path(__file__).parent / "data" / "charts"


@cache
def invented(name: str) -> Chart:
    """One of the invented instruments."""
    return load(FOLDER / f"{name}.toml")


def invented_names() -> list[str]:
    """All of them."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def tables(text: str) -> dump.Dumps:
    """The dump tables of a text."""
    read = tomllib.loads(text)
    return dump.Dumps(
        message={name: dump.Message.model_validate(table) for name, table in read.get("message", {}).items()},
        layout={name: dump.Layout.model_validate(table) for name, table in read.get("layout", {}).items()},
        charset={name: dump.Charset.model_validate(table) for name, table in read.get("charset", {}).items()},
        codes={name: dump.Codes.model_validate(table) for name, table in read.get("codes", {}).items()},
    )


def specs(*ranges: tuple[str, int, int]) -> dict[str, dump.ParameterSpec]:
    """Parameters from id, low, high."""
    return {identity: dump.ParameterSpec(identity, low, high) for identity, low, high in ranges}


def plain_specs(ids: Iterable[str]) -> dict[str, dump.ParameterSpec]:
    """Parameters of 0 to 127."""
    return specs(*((identity, 0, 127) for identity in ids))


RULE = dump.AddressRule(manufacturer=b"\x7d", device=16, programs=64, banks=2)


def codec_of(text: str, parameters: dict[str, dump.ParameterSpec], rule: dump.AddressRule = RULE) -> dump.DumpCodec:
    """The codec of a text that must be without a fault."""
    read = tables(text)
    problems = dump.check(read, parameters, rule)
    assert problems == []
    return dump.compile(read, parameters, rule)


def problems_of(
    text: str, parameters: dict[str, dump.ParameterSpec], rule: dump.AddressRule = RULE
) -> list[dump.Problem]:
    """What is wrong with a text."""
    return dump.check(tables(text), parameters, rule)
