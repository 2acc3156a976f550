"""Are its dumps sound, are they taken as they are sent, and are bad ones refused?"""

from __future__ import annotations

from librarian.chart import Way
from librarian.errors import BadInput
from librarian.messages import ALL_CALL, Address, Message
from librarian.transfer.bringup.bench import Bench, Trouble, Unproved
from librarian.transfer.reading import Reading, Unreadable
from librarian.transfer.send import said, send_dump
from librarian.transfer.writing import usual_slots, written

_DUMPS = 30
_BANKS = 3
"""A whole memory takes long: so often it is asked for."""
_SILENCE_S = 0.6
_TRANSFER_OVER_S = 1.2
"""So long an instrument may wait for the next packet of a transfer that was broken off."""


def dump_way(bench: Bench) -> Way | None:
    """The dump by which the edit buffer is asked for, if there is one."""
    return next((way for way in bench.roads if way.kind == "dump"), None)


def write_way(bench: Bench) -> Way | None:
    """The dump by which the edit buffer is written, if there is one."""
    ways = bench.chart.ways_out
    return next((way for way in ways if way.kind == "dump" and way.into == "edit buffer"), None)


def sending(bench: Bench) -> None:
    """Thirty dumps in a row, each with its length, checksum and end; all the same; and none for another device.

    Of an instrument that can be asked for its memory alone they are those of its first program, or of its first bank.
    """
    way = dump_way(bench)
    if way is None and not bench.roads:
        way = bench.stored
    if way is None:
        bench.not_tried("dumps: sent", "the chart knows no dump request for the edit buffer")
        return
    count = _BANKS if bench.chart.codec.messages[way.message].kind == "bank" else _DUMPS
    first: Reading | None = None
    different = 0
    for number in range(1, count + 1):
        bench.begin()
        try:
            reading = bench.read_once(way)
        except Trouble as problem:
            why = problem.reason if isinstance(problem, Unreadable) else str(problem)
            bench.failed("dumps: sent", f"dump {number}", "a dump with its length, checksum and F7", why)
            continue
        bench.passed("dumps: sent", f"dump {number}")
        if first is None:
            first = reading
        elif reading.values != first.values:
            different += 1
    if first is not None:
        bench.noted(different == 0, "dumps: steady", "", "the same each time", f"{different} of {count} differ")
    _other_device(bench, way)


def _other_device(bench: Bench, way: Way) -> None:
    own = bench.talk.line.address
    if own.device == ALL_CALL:
        bench.not_tried("dumps: another device ID", "its device ID is not known")
        return
    other = Address(own.channel, (own.device + 1) % 16)
    slots = usual_slots(bench.talk.line, way.message)
    requests = bench.chart.codec.requests(way.message, other, **slots)
    if requests == bench.chart.codec.requests(way.message, own, **slots):
        bench.not_tried("dumps: another device ID", "its messages carry no device ID")
        return
    bench.begin()
    talk = bench.talk
    talk.ask(requests[0])
    until = talk.line.clock.now() + _SILENCE_S
    answered = False
    while (arrival := talk.next(until)) is not None:
        if isinstance(arrival, Message) and not talk.line.echo.is_request(arrival.raw, talk.line.clock.now()):
            answered = answered or any(
                bench.chart.codec.recognise(arrival.raw, address) is not None for address in (own, other)
            )
    talk.answered()
    words = "it answers a request for another device"
    bench.noted(not answered, "dumps: another device ID", f"{other.device}", "silence", words)


def taking(bench: Bench) -> None:
    """Whole dumps at the ends, the middle and some values, and a name, each read back value by value."""
    way, road = write_way(bench), dump_way(bench)
    if way is None or road is None:
        bench.not_tried("dumps: taken", "the chart knows no dump that is both written and asked for")
        return
    base = bench.read(road).raw[road.message] if way.message == road.message else None
    for which, values in bench.value_sets(way.carries):
        bench.begin()
        _write(bench, way, values, base, "")
        bench.compare("dumps: taken", which, {name: value for name, value in values.items() if name in bench.readable})
    if bench.chart.codec.messages[way.message].has_name:
        name = "Q7 bring-up xyz"
        values = dict(bench.read(road).values)
        bench.begin()
        messages = _write(bench, way, values, base, name)
        wanted = bench.chart.codec.decode_all(messages, bench.talk.line.address).name
        got = bench.read(road).name
        bench.noted(got == wanted, "dumps: name", "", f"“{wanted}”", f"“{got}”")


def _write(
    bench: Bench, way: Way, values: dict[str, int], base: tuple[bytes, ...] | None, name: str
) -> tuple[bytes, ...]:
    messages = written(bench.talk.line, way.message, values, base=base, name=name)
    send_dump(bench.talk, way, messages)
    bench.talk.until_sent()
    bench.talk.pause(max(way.settle_s, bench.talk.line.pace.gap_after_sysex_s))
    return messages


def refusing(bench: Bench) -> None:
    """Dumps that are too short, too long, with a wrong checksum, for another device: nothing may change."""
    way, road = write_way(bench), dump_way(bench)
    if way is None or road is None:
        bench.not_tried("dumps: bad ones ignored", "the chart knows no dump that is both written and asked for")
        return
    other_values = bench.some_values(way.carries)
    own = bench.talk.line.address
    held = bench.read(road)
    base = held.raw[road.message] if way.message == road.message else None
    codec = bench.chart.codec
    good = written(bench.talk.line, way.message, other_values, base=base, name="")
    spoilt: list[tuple[str, bytes]] = []
    raw = max(good, key=len)  # of several messages one alone: without it nothing of the dump may count
    middle = len(raw) * 3 // 4
    if 2 < middle < len(raw) - 1:
        spoilt = [
            ("a dump that is too short", raw[:middle] + raw[middle + 1 :]),
            ("a dump that is too long", raw[:middle] + b"\0" + raw[middle:]),
            ("a dump without its second half", raw[:middle] + b"\xf7"),
        ]
        checked = raw[:-2] + bytes((raw[-2] ^ 1, raw[-1]))
        try:
            codec.gather(way.message, own).feed(checked) if len(good) > 1 else codec.decode(checked, own)
        except BadInput:
            spoilt.append(("a dump with a wrong checksum", checked))
    for what, bad in spoilt:
        before = bench.read().values
        bench.begin()
        bench.talk.send(bad)
        bench.talk.until_sent()
        _end_transfer(bench, way)
        bench.unchanged(before, "dumps: bad ones ignored", what, what)
    if not spoilt:
        bench.not_tried("dumps: bad ones ignored", "the dump is too short to be spoilt")
    _for_another(bench, way, other_values, base)


def _end_transfer(bench: Bench, way: Way) -> None:
    """After a broken packet: cancel the transfer, and let what the instrument waits for be over."""
    step = bench.chart.codec.handshake(way.message)
    if step is None:
        return
    cancel = step.make("cancel", bench.talk.line.address, 0)
    if cancel is not None:
        bench.talk.send(cancel)
    bench.talk.until_sent()
    bench.talk.pause(_TRANSFER_OVER_S)


def _for_another(bench: Bench, way: Way, values: dict[str, int], base: tuple[bytes, ...] | None) -> None:
    own = bench.talk.line.address
    check, subject = "dumps: bad ones ignored", "a dump for another device"
    if own.device == ALL_CALL:
        bench.not_tried(check, "its device ID is not known", subject)
        return
    codec = bench.chart.codec
    other = Address(own.channel, (own.device + 1) % 16)
    mine = codec.encode(way.message, values, own, base=base, form="write")
    theirs = codec.encode(way.message, values, other, base=base, form="write")
    if mine == theirs:
        bench.not_tried(check, "its messages carry no device ID", subject)
        return
    before = bench.read().values
    bench.begin()
    for raw in theirs:
        bench.talk.send(raw)
    bench.talk.until_sent()
    _end_transfer(bench, way)
    bench.unchanged(before, check, subject, subject)


def realtime_inside(bench: Bench) -> None:
    """F8 and FE may stand anywhere, inside a SysEx message too, and must not disturb it."""
    check = "realtime inside SysEx"
    way, road = write_way(bench), dump_way(bench)
    singles = sorted(bench.chart.codec.single_ids & {name for one in bench.roads for name in one.carries})
    if way is not None and road is not None:
        values = bench.some_values(way.carries)
        base = bench.read(road).raw[road.message] if way.message == road.message else None
        messages = written(bench.talk.line, way.message, values, base=base, name="")
    elif singles:
        values = bench.some_values(singles[:3])
        address = bench.talk.line.address
        messages = tuple(
            raw for name, value in values.items() for raw in bench.chart.codec.set_one(name, value, address, values)
        )
    else:
        bench.not_tried(check, "no SysEx message of the chart is both written and asked for")
        return
    step = bench.chart.codec.handshake(way.message) if way is not None else None
    bench.begin()
    try:
        for raw in messages:
            bench.talk.send_stream(with_realtime(raw))
            bench.talk.until_sent()
            if step is not None:
                said(bench.talk, step, step.answer_s)
            bench.talk.pause(bench.talk.line.pace.gap_after_sysex_s)
        bench.talk.pause(way.settle_s if way is not None else 0.0)
        held = bench.read().values
    except (BadInput, Unproved) as problem:
        bench.failed(check, "", "the dump is taken", str(problem))
        return
    wrong = [name for name, value in values.items() if name in bench.readable and held.get(name) != value]
    bench.noted(not wrong, check, "", "the dump is taken", f"{len(wrong)} parameters differ")


def with_realtime(message: bytes) -> bytes:
    """The message with a clock in its middle, and one or two realtime bytes after each sixteen bytes."""
    raw = bytearray()
    for place, byte in enumerate(message):
        if place and (place % 16 == 0 or place == len(message) // 2):
            raw += b"\xf8\xfe" if place % 32 else b"\xf8"
        raw.append(byte)
    return bytes(raw)
