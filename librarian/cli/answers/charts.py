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


class Trial(Answer):
    """One kind of proof that a chart was put to. `trouble`: the first sentences about what failed."""

    what: str
    tried: int
    passed: int
    trouble: list[str]


class DumpProof(Answer):
    """A real dump decoded and encoded again. `numbers`: messages of the files from 1; `explained` of `size` bytes."""

    numbers: list[int]
    message: str
    size: int
    explained: int
    identical: bool
    sentence: str


class Proof(Answer):
    """What came out of trying a chart. Recall carries `recallable` of the `sound` parameters, capture `readable`."""

    passed: bool
    trials: list[Trial]
    dumps: list[DumpProof]
    sound: int
    recallable: int
    readable: int
    by_hand: list[str]


class Checked(Answer):
    """Answer of `chart check`; `chart` is null when it cannot be used. `cautions`: allowed, but worth a second look."""

    file: str
    usable: bool
    chart: ChartAbout | None
    faults: list[Fault]
    cautions: list[Fault]
    proof: Proof | None = None


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
    """Answer of `chart print`. `ways_in`: how a sound is captured; `ways_out`: how it is recalled; preferred first.

    `file`: the PDF that was written, empty without one.
    """

    chart: ChartAbout
    ways_in: list[str]
    ways_out: list[str]
    parameters: list[ChartRow]
    file: str = ""


class ExplainedByte(Answer):
    """One byte. `what`: the field or why it is there; `place`: where in the unpacked data; `claimed`: by the chart."""

    offset: int
    byte: str
    what: str
    value: str
    place: str
    claimed: bool


class ExplainedMessage(Answer):
    """One message of the file. `message`: its name in the chart, '' for none of ours; `claimed` of `size` bytes."""

    number: int
    message: str
    form: str
    size: int
    claimed: int
    rows: list[ExplainedByte]


class Explained(Answer):
    """Answer of `explain`."""

    chart: str
    file: str
    messages: list[ExplainedMessage]


class Charts(Answer):
    """Answer of `chart list`."""

    charts: list[ChartAbout]


class Schema(Answer):
    """Answer of `chart schema` with --json."""

    json_schema: dict[str, Any]
