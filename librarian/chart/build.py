"""From validated tables to the running chart. Called only when the chart has no fault."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart import dump
from librarian.chart.chart import Chart, Section
from librarian.chart.check.parameters import span_of
from librarian.chart.codec import Codec, single_ids
from librarian.chart.controllers.binding import Binding, compile_binding
from librarian.chart.controllers.request import build_request
from librarian.chart.display.scale import Scale
from librarian.chart.identity import build_identity
from librarian.chart.language.display import DisplayTable
from librarian.chart.language.flat import Flat
from librarian.chart.language.head import manufacturer_bytes
from librarian.chart.language.parameters import ParameterTable
from librarian.chart.language.root import ChartTable
from librarian.chart.language.ways import CaptureTable, RecallTable
from librarian.chart.memory import Memory
from librarian.chart.parameter import Parameter
from librarian.chart.ways import ControllerEnd, Way
from librarian.messages import ALL_CALL, Address
from librarian.wire.pace import Pace


def address_rule(table: ChartTable) -> dump.AddressRule:
    """How the instrument is addressed, for the dump side."""
    return dump.AddressRule(
        manufacturer=manufacturer_bytes(table.identity.manufacturer) if table.identity.manufacturer else None,
        channel=table.address.channel - 1,
        device=table.address.device if table.address.device is not None else ALL_CALL,
        rule=table.address.device_rule,
        base=table.address.device_base,
        programs=table.memory.programs if table.memory is not None else 0,
        banks=table.memory.banks if table.memory is not None else 0,
    )


def specs(flat: Flat) -> dict[str, dump.ParameterSpec]:
    """The parameters as far as a dump is concerned."""
    found: dict[str, dump.ParameterSpec] = {}
    for one in flat.parameters:
        low, high = span_of(one.table) or (0, 0)
        found[one.table.id] = dump.ParameterSpec(
            one.table.id, low, high, one.table.default, one.table.setup, tuple(one.table.positions or ())
        )
    return found


def build_bindings(flat: Flat) -> dict[str, tuple[Binding, ...]]:
    """Compiled bindings of every parameter, in chart order."""
    found: dict[str, tuple[Binding, ...]] = {}
    for one in flat.parameters:
        low, high = span_of(one.table) or (0, 0)
        found[one.table.id] = tuple(compile_binding(table, one.table.kind, low, high) for table in one.table.bindings)
    return found


def build_chart(table: ChartTable, flat: Flat, dumps: dump.DumpCodec, text: str) -> Chart:
    """Compile. `flat`: the expanded parameters; `dumps`: the compiled dump side."""
    rule = address_rule(table)
    bindings = build_bindings(flat)
    dumped = frozenset(name for message in dumps.messages.values() for name in message.carries)
    sections = _sections(table, flat, bindings, dumped)
    parameters = {one.id: one for section in sections for one in section.parameters}
    request = next((way.request for way in table.capture if way.request), None)
    codec = Codec(
        dumps,
        list(bindings.items()),
        selectors={selector.id: selector.cc for selector in table.selector},
        null=table.controllers.null,
        request=build_request(request, rule) if request is not None else None,
    )
    return Chart(
        id=table.id,
        name=table.name,
        revision=table.revision,
        text=text,
        note=table.note,
        identity=build_identity(table.identity),
        default_address=Address(rule.channel, rule.device),
        channel_fixed=table.address.channel_fixed,
        pace=_pace(table),
        memory=Memory(**table.memory.model_dump()) if table.memory is not None else None,
        sections=sections,
        parameters=parameters,
        order=tuple(bindings),
        sound_ids=tuple(name for name, one in parameters.items() if one.sound),
        setup_ids=tuple(name for name, one in parameters.items() if not one.sound),
        ways_in=ways_in(table, bindings, dumps),
        ways_out=ways_out(table, bindings, dumps),
        codec=codec,
        positions_request=table.panel.positions_request,
    )


def _pace(table: ChartTable) -> Pace:
    pace = table.pace
    return Pace(
        bytes_per_second=float(pace.bytes_per_second),
        gap_after_sysex_s=pace.gap_after_sysex_ms / 1000,
        gap_after_cc_s=pace.gap_after_cc_ms / 1000,
        settle_after_program_change_s=pace.settle_after_program_change_ms / 1000,
        write_delay_s=pace.write_delay_ms / 1000,
    )


def _sections(
    table: ChartTable, flat: Flat, bindings: Mapping[str, tuple[Binding, ...]], dumped: frozenset[str]
) -> tuple[Section, ...]:
    inside: dict[str, list[ParameterTable]] = {section.table.id: [] for section in flat.sections}
    for one in flat.parameters:
        inside[one.table.section].append(one.table)
    placed: dict[int, set[int]] = {}
    for section in flat.sections:
        if section.table.column is not None:
            placed.setdefault(section.table.row, set()).add(section.table.column)
    built: list[Section] = []
    for section in flat.sections:
        row, column = section.table.row, section.table.column
        if column is None:
            taken = placed.setdefault(row, set())
            column = next(number for number in range(1, len(flat.sections) + 66) if number not in taken)
            taken.add(column)
        grid, cells = _cells(section.table.grid, inside[section.table.id])
        ordered = sorted(zip(cells, inside[section.table.id], strict=True), key=lambda pair: pair[0])
        parameters = tuple(_parameter(table, one, cell, bindings[one.id], one.id in dumped) for cell, one in ordered)
        built.append(Section(section.table.id, section.table.label, row, column, grid, parameters))
    return tuple(sorted(built, key=lambda section: (section.row, section.column)))


def _cells(grid: list[int] | None, tables: list[ParameterTable]) -> tuple[tuple[int, int], list[tuple[int, int]]]:
    """The grid of a section and the cell of each of its parameters; those without one take the next free."""
    wide = grid[1] if grid is not None else max([len(tables), *(one.cell[1] for one in tables if one.cell)])
    taken = {(one.cell[0], one.cell[1]) for one in tables if one.cell is not None}
    free = ((row, column) for row in range(1, 65537) for column in range(1, wide + 1) if (row, column) not in taken)
    cells = [(one.cell[0], one.cell[1]) if one.cell is not None else next(free) for one in tables]
    rows = grid[0] if grid is not None else max((row for row, _ in cells), default=1)
    return (rows, wide), cells


def _parameter(
    table: ChartTable, one: ParameterTable, cell: tuple[int, int], bindings: tuple[Binding, ...], dumped: bool
) -> Parameter:
    low, high = span_of(one) or (0, 0)
    positions = tuple(one.positions or ())
    if one.kind == "switch" and not positions and high - low == 1 and one.display is None:
        positions = ("off", "on")
    display = table.display[one.display] if isinstance(one.display, str) else one.display
    scale = Scale(low, high, display if isinstance(display, DisplayTable) else None, positions)
    return Parameter(
        id=one.id,
        label=one.label,
        short=one.short or one.label,
        section=one.section,
        kind=one.kind,
        low=low,
        high=high,
        default=one.default,
        sound=not one.setup,
        positions=positions,
        takeover=one.takeover if one.takeover is not None else table.panel.takeover,
        bindings=bindings,
        scale=scale,
        dumped=dumped,
        by_hand=one.by_hand,
        cell=cell,
        size=one.size,
        beside=one.beside,
        note=one.note,
        centre=_centre(scale),
    )


def _centre(scale: Scale) -> int | None:
    """The value that reads 0, where readings lie on both sides of it."""
    curve = scale.curve
    if curve is None or not curve.ends[0] < 0 < curve.ends[1]:
        return None
    return curve.near(0.0)


def ways_in(table: ChartTable, bindings: Mapping[str, tuple[Binding, ...]], dumps: dump.DumpCodec) -> tuple[Way, ...]:
    """Ways of capture as the chart lists them; where it lists none, those that its messages and bindings allow."""
    heard = frozenset(name for name, several in bindings.items() if any(one.transmitted for one in several))
    heard |= single_ids(dumps)
    given = list(table.capture)
    if not given:
        edit = [
            name
            for name, message in dumps.messages.items()
            if message.kind == "edit buffer" and "request" in message.forms
        ]
        given = [CaptureTable(way="dump", message=name) for name in edit]
        given += [CaptureTable(way="hand")] if heard else []
    return tuple(_way_in(way, heard, dumps) for way in given)


def _way_in(way: CaptureTable, heard: frozenset[str], dumps: dump.DumpCodec) -> Way:
    message = way.message or ""
    carries = dumps.messages[message].carries if message else heard
    if way.carries is not None:
        carries = frozenset(way.carries)
    end = None
    if way.way == "controllers":
        end = ControllerEnd()
        if way.end is not None:
            end = ControllerEnd(way.end.count, way.end.last, way.end.silence_ms / 1000)
    asked = message != "" or way.request is not None
    return Way(
        way.way,
        message,
        frozenset(carries),
        way.timeout_ms / 1000,
        end,
        asked and way.way != "hand",
        label=way.label or "",
    )


def ways_out(table: ChartTable, bindings: Mapping[str, tuple[Binding, ...]], dumps: dump.DumpCodec) -> tuple[Way, ...]:
    """Ways of recall as the chart lists them; where it lists none, those that its messages and bindings allow."""
    obeyed = frozenset(name for name, several in bindings.items() if any(one.recognized for one in several))
    given = list(table.recall)
    if not given:
        edit = [
            name
            for name, message in dumps.messages.items()
            if message.kind == "edit buffer" and "write" in message.forms
        ]
        given = [RecallTable(way="dump", message=name) for name in edit]
        given += [RecallTable(way="controllers")] if obeyed else []
        given += [RecallTable(way="parameters")] if single_ids(dumps) else []
    return tuple(_way_out(way, obeyed, dumps) for way in given)


def _way_out(way: RecallTable, obeyed: frozenset[str], dumps: dump.DumpCodec) -> Way:
    message = way.message or ""
    carries = {
        "dump": dumps.messages[message].carries if message else frozenset(),
        "controllers": obeyed,
        "parameters": single_ids(dumps),
        "program": frozenset(),
    }[way.way]
    return Way(
        way.way,
        message,
        frozenset(carries),
        way.timeout_ms / 1000,
        None,
        True,
        way.into,
        tuple(way.before),
        tuple(way.after),
        way.acknowledged,
        way.settle_ms / 1000,
        way.label or "",
    )
