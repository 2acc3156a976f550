"""The documented keys of every `--json` answer. Keys are only ever added; `librarian answers` prints their schema.

Every answer is one object with "verb" and "ok". With "ok": false there is "problem" and nothing else. Values are the
exact integers in the instrument's own units, `text` is what people read, times are ISO 8601 in UTC, bytes are hex.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel


class Problem(BaseModel):
    """Why something was not done."""

    kind: Literal["outside", "bad input", "refused", "cancelled", "problem"]
    sentence: str
    hint: str


class Trouble(BaseModel):
    """The whole answer when a verb could not."""

    verb: str
    ok: Literal[False]
    problem: Problem


class Patch(BaseModel):
    """One patch as a list shows it."""

    id: int
    name: str
    instrument: str
    tags: list[str]
    note: str
    versions: int
    unknown: int
    origin: str
    taken: datetime
    changed: datetime
    place: Literal["live", "trash"]


class Version(BaseModel):
    """One version of a patch. `number` counts from 1; `unknown`: how many parameters were never received."""

    id: int
    number: int
    taken: datetime
    origin: str
    detail: str
    note: str
    unknown: int


class Value(BaseModel):
    """One parameter. `value` and `text` are null and "unknown" when it was never received."""

    id: str
    section: str
    label: str
    value: int | None
    text: str
    binding: str
    sound: bool


class Sound(BaseModel):
    """The content of a version."""

    chart: str
    revision: int
    name: str
    taken: datetime
    origin: str
    detail: str
    known: int
    of: int
    values: list[Value]
    received: list[str]


class Difference(BaseModel):
    """One parameter on both sides. `share`: of the range, 0 to 1."""

    id: str
    section: str
    label: str
    state: Literal["equal", "different", "unknown"]
    a: int | None
    b: int | None
    text_a: str
    text_b: str
    difference: str
    share: float
    sound: bool


class Comparison(BaseModel):
    """`counted` rows are sound parameters (and setup ones when asked): equal + different + unknown = counted."""

    counted: int
    equal: int
    different: int
    unknown: int
    rows: list[Difference]


class Port(BaseModel):
    """One MIDI port; `direction` is the computer's. `fingerprint` is what the library stores."""

    direction: Literal["in", "out"]
    name: str
    api: str
    ordinal: int
    fingerprint: str


class Instrument(BaseModel):
    """One instrument of the library. Channel as people count, 1 to 16; device ID 0 to 126, null for all call."""

    id: int
    name: str
    chart: str
    revision: int
    channel: int
    device: int | None
    output: str
    input: str
    firmware: str


class Done(BaseModel):
    """Answer of verbs that only do something: the patches touched, and the step as undo would call it."""

    patches: list[Patch]
    did: str


class Ports(BaseModel):
    """Answer of `ports`."""

    system: str
    alive: bool
    ports: list[Port]


class Instruments(BaseModel):
    """Answer of `instrument list`, `instrument add`, `instrument change`."""

    instruments: list[Instrument]


class Identified(BaseModel):
    """Answer of `identify`."""

    instrument: str
    port: str
    fits: Literal["fits", "other firmware", "other instrument"]
    firmware: str
    manufacturer: str
    family: int | None
    member: int | None
    channel: int
    device: int | None
    seconds: float
    sentence: str


class Captured(BaseModel):
    """Answer of `capture`. `patch` is null with `--look`: then nothing was kept."""

    instrument: str
    complete: bool
    known: int
    of: int
    missing: list[str]
    refused: list[str]
    way: str
    bytes_in: int
    bytes_out: int
    seconds: float
    sound: Sound
    patch: Patch | None


class Recalled(BaseModel):
    """Answer of `recall`. `state` "sent" means: nothing proves that it arrived."""

    instrument: str
    patch: Patch
    version: int
    state: Literal["arrived", "differs", "sent"]
    sent: int
    of: int
    equal: int
    left_out: list[str]
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str
    comparison: Comparison | None


class Verified(BaseModel):
    """Answer of `verify`: the stored version (A) against what the instrument holds (B)."""

    instrument: str
    patch: Patch
    version: int
    state: Literal["arrived", "differs", "sent"]
    of: int
    equal: int
    sentence: str
    comparison: Comparison | None


class Panicked(BaseModel):
    """Answer of `panic`."""

    instrument: str


class Compared(BaseModel):
    """Answer of `compare`: `a` and `b` say what stands on either side."""

    a: str
    b: str
    comparison: Comparison


class QueryProblem(BaseModel):
    """A part of the query that was not understood; the rest was answered. `start` and `end` are places in `query`."""

    sentence: str
    start: int
    end: int
    replacement: str


class Found(BaseModel):
    """Answer of `find`. `found` of `total` patches matched; `patches` holds at most as many as asked for.

    `tags`: tag to number of patches within all that was found.
    """

    query: str
    found: int
    total: int
    patches: list[Patch]
    tags: dict[str, int]
    problems: list[QueryProblem]


class Similar(BaseModel):
    """One sound found by likeness. `distance`: 0 equal, 1 opposite in everything."""

    patch: Patch
    distance: float
    compared: int
    of: int
    differ: int
    reason: str


class Likes(BaseModel):
    """Answer of `like`."""

    like: Patch
    found: list[Similar]


class Shown(BaseModel):
    """Answer of `show`."""

    patch: Patch
    version: Version
    sound: Sound


class Versions(BaseModel):
    """Answer of `versions`."""

    patch: Patch
    versions: list[Version]


class Tags(BaseModel):
    """Answer of `tags`: tag to number of patches."""

    tags: dict[str, int]


class Step(BaseModel):
    """Answer of `undo` and `redo`. `step` is null when there was nothing."""

    step: str | None
    next: str | None


class Fault(BaseModel):
    """One fault of a chart file. `line` and `column` count from 1, 0 where there is no place."""

    line: int
    column: int
    key: str
    sentence: str
    remedy: str


class ChartAbout(BaseModel):
    """A chart in a line: `sound` + `setup` = `parameters`."""

    id: str
    name: str
    revision: int
    parameters: int
    sound: int
    setup: int


class Checked(BaseModel):
    """Answer of `chart check`; `chart` is null when it cannot be used."""

    file: str
    usable: bool
    chart: ChartAbout | None
    faults: list[Fault]


class ChartRow(BaseModel):
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


class ChartPrinted(BaseModel):
    """Answer of `chart print`. `ways_in`: how a sound is captured; `ways_out`: how it is recalled; preferred first."""

    chart: ChartAbout
    ways_in: list[str]
    ways_out: list[str]
    parameters: list[ChartRow]


class Charts(BaseModel):
    """Answer of `chart list`."""

    charts: list[ChartAbout]


class Schema(BaseModel):
    """Answer of `chart schema` with --json."""

    json_schema: dict[str, Any]


class LibraryAbout(BaseModel):
    """Answer of `library path`."""

    path: str
    patches: int
    in_trash: int
    instruments: int


class DemoStep(BaseModel):
    """One step of the demo: what was done with which instrument, the proof in words, and whether it holds."""

    instrument: str
    step: str
    proof: str
    holds: bool


class Demo(BaseModel):
    """Answer of `demo`. `picture` is the file that was saved, if one was asked for."""

    library: str
    patches: int
    steps: list[DemoStep]
    picture: str | None


class Documented(BaseModel):
    """Answer of `answers`: verb to the JSON Schema of its answer; "trouble" is that of every verb that could not."""

    answers: dict[str, dict[str, Any]]


OF_VERB: dict[str, type[BaseModel]] = {
    "answers": Documented,
    "capture": Captured,
    "chart check": Checked,
    "chart list": Charts,
    "chart print": ChartPrinted,
    "chart schema": Schema,
    "compare": Compared,
    "delete": Done,
    "demo": Demo,
    "find": Found,
    "identify": Identified,
    "instrument add": Instruments,
    "instrument change": Instruments,
    "instrument list": Instruments,
    "instrument remove": Instruments,
    "keep": Done,
    "library path": LibraryAbout,
    "like": Likes,
    "note": Done,
    "panic": Panicked,
    "ports": Ports,
    "recall": Recalled,
    "redo": Step,
    "rename": Done,
    "restore": Done,
    "show": Shown,
    "tag": Done,
    "tags": Tags,
    "undo": Step,
    "untag": Done,
    "verify": Verified,
    "versions": Versions,
}
