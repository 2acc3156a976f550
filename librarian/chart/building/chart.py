"""The running chart as a whole."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart import dump
from librarian.chart.building.panel import build_sections
from librarian.chart.building.ways import ways_in, ways_out
from librarian.chart.chart import Chart
from librarian.chart.check.parameters import span_of
from librarian.chart.codec import Codec
from librarian.chart.controllers.binding import Binding, compile_binding
from librarian.chart.controllers.request import build_request
from librarian.chart.display.scale import Scale
from librarian.chart.faults import Fault
from librarian.chart.history import build_history
from librarian.chart.identity import build_identity
from librarian.chart.language.flat import Flat
from librarian.chart.language.head import manufacturer_bytes
from librarian.chart.language.root import ChartTable
from librarian.chart.memory import Memory
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


def spans(flat: Flat) -> dict[str, tuple[int, int]]:
    """Lowest and highest value of every parameter."""
    return {one.table.id: span_of(one.table) or (0, 0) for one in flat.parameters}


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


def build_chart(
    table: ChartTable,
    flat: Flat,
    scales: Mapping[str, Scale],
    dumps: dump.DumpCodec,
    text: str,
    cautions: tuple[Fault, ...],
) -> Chart:
    """Compile. `flat`: the expanded parameters; `scales`: their displays; `dumps`: the compiled dump side."""
    rule = address_rule(table)
    bindings = build_bindings(flat)
    dumped = frozenset(name for message in dumps.messages.values() for name in message.carries)
    sections = build_sections(table, flat, scales, bindings, dumped)
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
        history=build_history(table.history, table.revision, spans(flat)),
        implementation=table.implementation,
        cautions=cautions,
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
