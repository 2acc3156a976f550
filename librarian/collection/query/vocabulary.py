"""What can be asked about in one library: its instruments, tags, and the parameters of its charts by name."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Protocol

from sqlalchemy import Connection, func, select

from librarian.collection.folding import words
from librarian.collection.layout import Layout, read_layout
from librarian.collection.problems import as_kept
from librarian.collection.schema import WITHDRAWN, ChartText, Instrument, Tag
from librarian.collection.schema import Layout as LayoutTable
from librarian.errors import LibrarianError

from .measures import ParameterLike
from .nodes import Place
from .tokens import tokens


class Readable(Protocol):
    """What a query needs of a chart."""

    @property
    def parameters(self) -> Mapping[str, Any]: ...
    @property
    def sections(self) -> Iterable[Any]: ...


def as_written(name: str) -> str:
    """A name with its signs, blind to case and to how many blanks."""
    return " ".join(name.casefold().split())


ReadChart = Callable[[str], Readable]


@dataclass(frozen=True, slots=True)
class Control:
    """One parameter of one chart revision, and where its values stand. `title`: section and label."""

    chart: str
    revision: int
    parameter: ParameterLike
    title: str
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Vocabulary:
    """A snapshot; made anew when the library changes. Names are folded words joined by blanks.

    `with_signs`: names that the language would cut at their signs, as they are written. `longest`: tokens of a name.
    """

    instruments: tuple[tuple[int, str], ...] = ()
    tags: tuple[tuple[int, str, str], ...] = ()
    controls: Mapping[str, tuple[Control, ...]] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)
    with_signs: frozenset[str] = frozenset()
    longest: int = 1

    def control(self, name: str) -> tuple[Control, ...]:
        """The parameters of that name; () when there is none."""
        return self.controls.get(name, ())

    def begun(self, name: str) -> tuple[Control, ...]:
        """The parameters of the one label that begins so; () when there are none or several."""
        found = {label for label in self.labels if label.startswith(name)}
        return self.controls[found.pop()] if name and len(found) == 1 else ()

    def reads(self, text: str) -> bool:
        """True when some control reads this as a number in its unit ("900 Hz")."""
        return any(
            control.parameter.number(text) is not None for controls in self.controls.values() for control in controls
        )

    def nearest(self, name: str) -> str:
        """The label that is spelled most like `name`, or ''."""
        begun = sorted(label for label in self.labels if label.startswith(name)) if name else []
        near = begun or get_close_matches(name, self.labels, 1, 0.6)
        return self.labels[near[0]] if near else ""


class Charts:
    """Charts by text, read once. One that this program cannot read is left out: its sounds stay findable by words."""

    def __init__(self, read: ReadChart | None = None) -> None:
        self._read = read
        self._known: dict[bytes, Readable | None] = {}

    def get(self, digest: bytes, text: Callable[[], str]) -> Readable | None:
        """The chart with that digest; its text is asked for only the first time."""
        if digest not in self._known:
            kept: object = text()
            try:
                # One that damage has made a number is no chart either.
                self._known[digest] = (self._read or _loads())(kept) if isinstance(kept, str) else None
            except LibrarianError:
                self._known[digest] = None
        return self._known[digest]


def _loads() -> ReadChart:
    from librarian.chart import loads

    return loads


def read_vocabulary(connection: Connection, charts: Charts) -> Vocabulary:
    """The names that may be used in a query now."""
    instruments = connection.execute(
        select(Instrument.id, Instrument.name).where(Instrument.state != WITHDRAWN).order_by(Instrument.id)
    )
    tags = connection.execute(select(Tag.id, Tag.name, Tag.key).order_by(Tag.key))
    controls: dict[str, list[Control]] = {}
    labels: dict[str, str] = {}
    written: set[str] = set()
    for (chart, revision), layouts in _layouts(connection).items():
        readable = _chart(connection, charts, chart, revision)
        if readable is not None:
            _add(controls, labels, written, chart, revision, readable, layouts)
    cut = {name: tokens(name) for name in written}
    return Vocabulary(
        # Of what damage has made a number, the number is the name.
        tuple((number, str(name)) for number, name in instruments),
        tuple((number, str(name), str(key)) for number, name, key in tags),
        {name: tuple(some) for name, some in controls.items()},
        labels,
        frozenset(name for name, some in cut.items() if any(token.kind != "word" for token in some)),
        max(map(len, cut.values()), default=1),
    )


def _layouts(connection: Connection) -> dict[tuple[str, int], list[tuple[int, Layout]]]:
    found: dict[tuple[str, int], list[tuple[int, Layout]]] = {
        (row.chart, row.revision): []
        for row in connection.execute(select(ChartText.chart, ChartText.revision).order_by(ChartText.id))
    }
    for row in connection.execute(select(LayoutTable).order_by(LayoutTable.id)):
        with as_kept():
            layout = read_layout(row.chart, row.revision, row.parameters, row.widths)
        found.setdefault((row.chart, row.revision), []).append((row.id, layout))
    return found


def _chart(connection: Connection, charts: Charts, chart: str, revision: int) -> Readable | None:
    newest = select(func.max(ChartText.id)).where(ChartText.chart == chart, ChartText.revision == revision)
    row = connection.execute(select(ChartText.id, ChartText.digest).where(ChartText.id.in_(newest))).first()
    if row is None:
        return None
    return charts.get(
        row.digest, lambda: connection.execute(select(ChartText.text).where(ChartText.id == row.id)).scalar_one()
    )


def _add(
    controls: dict[str, list[Control]],
    labels: dict[str, str],
    written: set[str],
    chart: str,
    revision: int,
    readable: Readable,
    layouts: list[tuple[int, Layout]],
) -> None:
    sections = {section.id: section.label for section in readable.sections}
    for parameter in readable.parameters.values():
        places = tuple(Place(number, layout, parameter.id) for number, layout in layouts if parameter.id in layout)
        section = sections.get(parameter.section, "")
        title = f"{section} {parameter.label}".strip()
        control = Control(chart, revision, parameter, title, places)
        label = " ".join(words(parameter.label))
        labels.setdefault(label, parameter.label)
        spelled = {parameter.label, parameter.short, parameter.id, title}
        written.update(as_written(name) for name in spelled if words(name))
        for name in {" ".join(words(name)) for name in spelled}:
            if name:
                controls.setdefault(name, []).append(control)
