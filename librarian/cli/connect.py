"""From words on a command line to an open line: which instrument, which ports, who answers there."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from librarian.chart import Chart, shipped
from librarian.cli.clean import clean
from librarian.cli.here import aside
from librarian.cli.log import Log
from librarian.cli.reading import chart_file, chart_of_instrument, shipped_chart
from librarian.collection import InstrumentRow, Library
from librarian.errors import BadInput, Cancelled, LibrarianError
from librarian.transfer import Cancel, Identified, Line, OnProgress, identify
from librarian.transfer.connections import Connections, NoSuchPort, add_stand_in, is_embedded, pace_text
from librarian.wire.cable import NoMidiSystem
from librarian.wire.ports import Direction, Port, match

InstrumentOption = Annotated[
    str | None,
    typer.Option("--instrument", metavar="NAME", help="Which instrument of the library; not needed if it has one."),
]
EmbeddedOption = Annotated[
    bool,
    typer.Option(
        "--embedded",
        help="Take a stand-in on the embedded cable; --instrument says of which chart: the id of a shipped one, or a "
        "chart file of your own. It begins anew with each command.",
    ),
]
TrafficOption = Annotated[
    Path | None,
    typer.Option(
        "--traffic",
        metavar="FILE",
        help="Save what crossed the cable, to replay it: librarian replay FILE. As text to read when it ends in .txt.",
    ),
]
DEFAULT_STAND_IN = "lanternfish"
T = TypeVar("T")
_PORT_APPEARS_S = 2.0
_SYSTEM_APPEARS_S = 1.2  # where there was none it is tried again after a second
_LOOK_UP_S = 0.05


@dataclass(frozen=True)
class Connected:
    """An instrument of the library on an open line; `identified` None where it cannot be asked who it is.

    `log`: what is saved of this conversation when it ends, if anybody asked for it.
    """

    row: InstrumentRow
    chart: Chart
    line: Line
    connections: Connections
    identified: Identified | None
    log: Log = field(default_factory=lambda: Log(None))


def instrument_named(library: Library, name: str, *, removed: bool = False) -> InstrumentRow:
    """The instrument called `name`, exactly or without regard to case. Raises BadInput naming those there are."""
    rows = library.instruments(removed=removed)
    for same in (
        [row for row in rows if row.name == name],
        [row for row in rows if row.name.casefold() == name.casefold()],
    ):
        if len(same) == 1:
            return same[0]
    raise BadInput(f"No instrument is called “{name}”.", _there_are(rows))


def chosen_instrument(
    library: Library, name: str | None, *, embedded: bool = False, of_patch: int | None = None
) -> InstrumentRow:
    """The instrument a verb is for: the one named, else that of the patch, else the only one.

    With `embedded` the stand-in of the shipped chart or chart file `name`, added to the library when it is new there;
    without a name that of the patch, else the only one of the library, else a shipped one.
    """
    if embedded:
        if name is None and of_patch is not None:
            name = library.instrument(of_patch).chart
        return _stand_in(library, name or _usual_stand_in(library))
    if name is not None:
        return instrument_named(library, name)
    rows = library.instruments()
    for row in rows:
        if row.id == of_patch or len(rows) == 1:
            return row
    if not rows:
        raise BadInput(
            "There is no instrument in this library yet.",
            "Add one: librarian instrument add --chart FILE --out PORT --in PORT; or try --embedded.",
        )
    raise BadInput("Which instrument?", f"Say --instrument NAME. {_there_are(rows)}")


@contextmanager
def connected(
    library: Library,
    row: InstrumentRow,
    *,
    ask: bool = True,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
    traffic: Path | None = None,
) -> Iterator[Connected]:
    """Open the line to an instrument and, unless `ask` is off, ask who is there before anything else.

    A chart that says nothing of an identity is not asked: it would only be known by its sound. What was found out
    (firmware, a slower pace that works) is kept with the instrument. `traffic`: where to save what crossed the cable,
    however it ends.
    """
    chart = chart_of_instrument(library, row)
    asked = ask and chart.identity.manufacturer is not None
    log = Log(traffic)
    with _told_all_the_same(log), Connections() as connections:
        line = _opened(connections, row, chart, library.instruments(), cancel)
        try:
            with log.kept(line, connections.traffic, asked=asked):
                found = None
                if asked:
                    found = identify(line, cancel=cancel, progress=progress)
                    with _noted_if_possible(row):
                        learn(library, row, found)
                    if found.fits == "other firmware":  # another instrument is refused by every conversation
                        aside(clean(found.sentence))
                yield Connected(row, chart, line, connections, found, log)
            if line.pace.slowed > chart.pace.slowed:
                with _noted_if_possible(row):
                    library.note_instrument(row.id, pace=pace_text(chart, line.pace))
        finally:
            line.cable.close()


@contextmanager
def _told_all_the_same(log: Log) -> Iterator[None]:
    """The program is ended at once, as while the ports are closed: what the last conversation came to is known."""
    try:
        yield
    except KeyboardInterrupt:
        outcome = str(log.held[-1]["outcome"]) if log.held else ""
        if not outcome:
            raise
        raise Cancelled(f"Ended at once by Ctrl+C. Before that: {outcome.removesuffix('.')}.") from None


@contextmanager
def _noted_if_possible(row: InstrumentRow) -> Iterator[None]:
    """What the block notes can be found out again: a library that does not take it ends no conversation."""
    try:
        yield
    except LibrarianError as problem:
        aside(clean(f"What was found out about {row.name} could not be noted; the work goes on. {problem}"))


def learn(library: Library, row: InstrumentRow, found: Identified) -> None:
    """Keep with the instrument what its answer told: its firmware, and where it listens."""
    if found.fits == "fits" and (found.firmware, found.address) != (row.firmware, row.address):
        library.note_instrument(row.id, firmware=found.firmware, address=found.address)


def _opened(
    connections: Connections, row: InstrumentRow, chart: Chart, known: Sequence[InstrumentRow], cancel: Cancel | None
) -> Line:
    """`connections.open`, which may wait seconds for a driver; Ctrl+C does not wait with it."""
    if is_embedded(row) or cancel is None:
        return _patiently(connections, lambda: connections.open(row, chart, others=known))
    ended: queue.SimpleQueue[Line | BaseException] = queue.SimpleQueue()

    def work() -> None:
        try:
            ended.put(_patiently(connections, lambda: connections.open(row, chart, others=known)))
        except BaseException as problem:  # noqa: BLE001 - raised again by who waits
            ended.put(problem)

    threading.Thread(target=work, name="opens the ports", daemon=True).start()
    while True:
        try:
            found = ended.get(timeout=_LOOK_UP_S)
        except queue.Empty:
            cancel.check(f"{row.name} was not reached yet; nothing was sent.")
            continue
        if isinstance(found, BaseException):
            raise found
        return found


def _patiently(connections: Connections, look: Callable[[], T]) -> T:
    """What `look` finds; where it finds nothing it looks a little longer.

    Busy systems list their ports one by one, and may not answer at all at first; and the process that talks to them may
    just be starting again.
    """
    missed_at: float | None = None
    while True:
        try:
            return look()
        except (NoSuchPort, NoMidiSystem, _NotListed):
            now = time.monotonic()
            missed_at = now if missed_at is None else missed_at
            system = connections.system()
            if now - missed_at >= (_SYSTEM_APPEARS_S if system.alive and not system.apis else _PORT_APPEARS_S):
                raise
            time.sleep(_LOOK_UP_S)


class _NotListed(BadInput):
    """No port is called so, now."""


def wait_for_port(connections: Connections, said: str, direction: Direction) -> Port:
    """`find_port` among the ports of this computer, with patience."""

    def look() -> Port:
        ports = connections.ports()
        return find_port(said, direction, ports, connections.system().sentence)

    return _patiently(connections, look)


def find_port(said: str, direction: Direction, ports: tuple[Port, ...], system: str) -> Port:
    """The port that `said` means: its fingerprint, its name, or a part of it that only one port has.

    Raises BadInput naming what there is; without any port, `system`: a sentence about the MIDI system.
    """
    same_way = [port for port in ports if port.direction == direction]
    found = match(said, same_way).port
    if found is not None:
        return found
    for same in (
        [port for port in same_way if port.name == said],
        [port for port in same_way if port.plain_name == said.casefold()],
        [port for port in same_way if said.casefold() in port.name.casefold()],
    ):
        if len(same) == 1:
            return same[0]
        if same:
            raise BadInput(f"“{said}” may be any of {_names(same)}.", "Give its fingerprint: librarian ports")
    what = "output" if direction == "out" else "input"
    there = f"Outputs and inputs: {_names(list(ports))}." if ports else system
    raise _NotListed(f"No MIDI {what} is called “{said}”.", there)


def _usual_stand_in(library: Library) -> str:
    rows = tuple(row for row in library.instruments() if is_embedded(row))
    charts = [row.chart for row in rows] or [DEFAULT_STAND_IN]
    if len(charts) > 1 and DEFAULT_STAND_IN not in charts:
        raise BadInput("Which stand-in?", f"Say --instrument NAME. {_there_are(rows)}")
    return charts[0] if len(charts) == 1 else DEFAULT_STAND_IN


def _stand_in(library: Library, name: str) -> InstrumentRow:
    embedded = [row for row in library.instruments() if is_embedded(row)]
    for row in embedded:
        if name.casefold() in {row.name.casefold(), row.chart}:
            return row
    charts = shipped()
    if name.casefold() in charts:
        return library.instrument(add_stand_in(library, shipped_chart(name.casefold())))
    if not Path(name).is_file():
        raise BadInput(
            f"No shipped chart is called “{name}”, and no chart file either.",
            f"Shipped charts: {', '.join(charts)}. Or name a chart file of your own.",
        )
    chart = chart_file(name)
    for row in embedded:
        if row.chart == chart.id:  # it may have been written further since
            if chart.text != library.chart_text(row.chart, row.revision):
                library.update_instrument(row.id, chart=chart)
            return library.instrument(row.id)
    return library.instrument(add_stand_in(library, chart))


def _there_are(rows: tuple[InstrumentRow, ...]) -> str:
    if not rows:
        return "This library has no instrument yet: librarian instrument add --chart FILE --out PORT --in PORT"
    return f"Instruments in this library: {', '.join(f'“{row.name}”' for row in rows)}."


def _names(ports: list[Port]) -> str:
    return ", ".join(dict.fromkeys(f"“{port.name}”" for port in ports))
