"""Answers about charts."""

from __future__ import annotations

from typing import Any

from librarian.cli.answers.base import Answer


class Fault(Answer):
    """One fault of a chart file. `line` and `column` count from 1, 0 where there is no place."""

    line: int
    column: int
    key: str
    sentence: str
    remedy: str


class ChartAbout(Answer):
    """A chart in a line: `sound` + `setup` = `parameters`."""

    id: str
    name: str
    revision: int
    parameters: int
    sound: int
    setup: int


class Checked(Answer):
    """Answer of `chart check`; `chart` is null when it cannot be used. `cautions`: allowed, but worth a second look."""

    file: str
    usable: bool
    chart: ChartAbout | None
    faults: list[Fault]
    cautions: list[Fault]


class ChartRow(Answer):
    """One parameter of a chart."""

    id: str
    section: str
    label: str
    kind: str
    low: int
    high: int
    text_low: str
    text_high: str
    positions: list[str]
    binding: str
    takeover: str
    sound: bool


class ChartPrinted(Answer):
    """Answer of `chart print`. `ways_in`: how a sound is captured; `ways_out`: how it is recalled; preferred first."""

    chart: ChartAbout
    ways_in: list[str]
    ways_out: list[str]
    parameters: list[ChartRow]


class Charts(Answer):
    """Answer of `chart list`."""

    charts: list[ChartAbout]


class Schema(Answer):
    """Answer of `chart schema` with --json."""

    json_schema: dict[str, Any]
