"""Does every controller, NRPN, RPN and single-parameter message reach its parameter, exactly, and nothing else?"""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.controllers.binding import Binding
from librarian.messages import Values
from librarian.transfer.bringup.bench import Bench, Unproved
from librarian.transfer.reading import Reading

_ALONE_S = 0.05


def each_value(bench: Bench) -> None:
    """Ends, middle and some values of every parameter that a controller carries, read back."""
    carried = bench.chart.codec.carried()
    if not carried:
        bench.not_tried("controllers: values", "the chart has no controllers")
        return
    for which, values in bench.value_sets(bench.provable("controllers: values", carried)):
        wanted = {name: exact(carried[name], value) for name, value in values.items()}
        bench.begin()
        _send(bench, wanted)
        bench.compare("controllers: values", which, wanted, lambda name, value: _alone(bench, name, value))


def exact(binding: Binding, value: int) -> int:
    """The value that arrives when `value` is sent by a binding that may be coarser than the parameter."""
    arrives = binding.mapping.from_wire(binding.mapping.to_wire(value))
    return value if arrives is None else arrives


def _send(bench: Bench, values: Mapping[str, int]) -> None:
    talk = bench.talk
    for burst in bench.chart.codec.controllers(values, talk.line.address):
        talk.send_burst(burst.messages)
        talk.keep_ahead()
    talk.until_sent()


def _alone(bench: Bench, name: str, value: int) -> Reading | None:
    """The same parameter once more, with silence around it."""
    bench.talk.pause(_ALONE_S)
    _send(bench, {name: value})
    bench.talk.pause(_ALONE_S)
    try:
        return bench.read()
    except Unproved:
        return None


def single_parameters(bench: Bench) -> None:
    """The same by single-parameter SysEx messages."""
    ids = sorted(bench.chart.codec.single_ids)
    if not ids:
        bench.not_tried("single parameters: values", "the chart has no single-parameter messages")
        return
    address = bench.talk.line.address
    for which, values in bench.value_sets(bench.provable("single parameters: values", ids), 1):
        bench.begin()
        for name, value in values.items():
            for raw in bench.chart.codec.set_one(name, value, address, values):
                bench.talk.send(raw)
                bench.talk.keep_ahead()
        bench.talk.until_sent()
        bench.compare("single parameters: values", which, values)


def null_selection(bench: Bench) -> None:
    """After NRPN or RPN null, data entry changes nothing."""
    selected = _selected(bench)
    if not selected:
        bench.not_tried("NRPN null", "the chart has no NRPN or RPN that the instrument obeys")
        return
    name = next((name for name in selected if name in bench.readable), None)
    if name is None:
        bench.provable("NRPN null", selected)
        return
    binding = selected[name]
    parameter = bench.parameters[name]
    talk = bench.talk
    channel = 0xB0 | binding.channel_of(talk.line.address)
    high, low = (99, 98) if binding.travels == "nrpn" else (101, 100)
    # All in one go: a question in between may itself select something.
    before = bench.read().values.with_values({name: exact(binding, parameter.low)})
    bench.begin()
    for number, value in ((high, binding.number >> 7), (low, binding.number & 0x7F)):
        talk.send(bytes((channel, number, value)))
    for raw in _data_entry(binding, parameter.low, channel):
        talk.send(raw)
    for selection in ((99, 98), (101, 100)):
        for number in selection:
            talk.send(bytes((channel, number, 0x7F)))
    for raw in _data_entry(binding, parameter.high, channel):
        talk.send(raw)
    talk.until_sent()
    bench.unchanged(before, "NRPN null", parameter.label, "data entry after null")


def _data_entry(binding: Binding, value: int, status: int) -> list[bytes]:
    """Data entry alone, for whatever is selected."""
    wire = binding.mapping.to_wire(value)
    if binding.bits == 7:
        return [bytes((status, 6 if binding.half == "msb" else 38, wire & 0x7F))]
    return [bytes((status, 6, wire >> 7)), bytes((status, 38, wire & 0x7F))]


def _selected(bench: Bench) -> dict[str, Binding]:
    """The parameters that are set by NRPN or RPN, and the first binding of each that does so."""
    found: dict[str, Binding] = {}
    for name, parameter in bench.parameters.items():
        for binding in parameter.bindings:
            if binding.travels in {"nrpn", "rpn"} and binding.recognized and not binding.under:
                found.setdefault(name, binding)
    return found


def running_status(bench: Bench) -> None:
    """Several controllers after one status byte, also with realtime between them."""
    if bench.chart.codec.carried() and not bench.roads:
        bench.provable("running status", bench.chart.codec.carried())
        return
    found: list[tuple[str, Binding]] = []
    for name, parameter in bench.parameters.items():
        for binding in parameter.bindings if name in bench.readable else ():
            plain = binding.travels == "cc" and binding.recognized and not binding.under and not binding.partner
            if plain and (not found or found[0][1].channel == binding.channel):
                found.append((name, binding))
                break
        if len(found) == 3:
            break
    if len(found) < 3:
        bench.not_tried("running status", "fewer than three parameters that can be read back have a plain controller")
        return
    address = bench.talk.line.address
    for realtime in (b"", b"\xf8"):
        subject = "with a clock between" if realtime else ""
        wanted = {}
        before = bench.read().values
        for name, binding in found:
            one = bench.parameters[name]
            aim = one.high if before.get(name, one.low) != exact(binding, one.high) else one.low
            wanted[name] = exact(binding, aim)
        bench.begin()
        for place, (name, binding) in enumerate(found):
            status = bytes((0xB0 | binding.channel_of(address),)) if place == 0 else b""
            bench.talk.send_stream(status + bytes((binding.number, binding.mapping.to_wire(wanted[name]))))
            if realtime:
                bench.talk.send_stream(realtime)
        bench.talk.until_sent()
        bench.talk.pause(_ALONE_S)
        held = bench.read().values
        wrong = [bench.parameters[name].label for name, value in wanted.items() if held.get(name) != value]
        bench.noted(not wrong, "running status", subject, "all three taken", f"{', '.join(wrong)} not taken")


def nothing_else(bench: Bench) -> None:
    """Another channel's controllers change nothing."""
    carried = bench.chart.codec.carried()
    fixed = [name for name, binding in carried.items() if binding.channel is not None]
    if not carried:
        bench.not_tried("controllers: another channel", "the chart has no controllers")
        return
    if fixed:
        bench.not_tried("controllers: another channel", "its controllers have channels of their own")
        return
    own = bench.talk.line.address
    offsets = {binding.channel_of(own) for binding in carried.values()}
    other = next((channel for channel in range(16) if channel not in offsets), None)
    if other is None:
        bench.not_tried("controllers: another channel", "it uses all sixteen channels")
        return
    # One that nothing reads back is left out: it could not be put back either, should the instrument obey.
    provable = [name for name in carried if name in bench.readable]
    if not provable:
        bench.provable("controllers: another channel", carried)
        return
    before = bench.read().values
    away = {
        name: one.high if before.get(name) != one.high else one.low
        for name, one in bench.parameters.items()
        if name in provable
    }
    bench.begin()
    for burst in bench.chart.codec.controllers(Values(away), own):
        for raw in burst.messages:
            bench.talk.send(bytes(((raw[0] & 0xF0) | other, *raw[1:])))
            bench.talk.keep_ahead()
    bench.talk.until_sent()
    bench.unchanged(before, "controllers: another channel", f"channel {other + 1}", "a controller on another channel")
