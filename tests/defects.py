"""Instruments with one defect each, as firmware under development has them: planted into a stand-in from outside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from librarian.chart import Chart, DumpRefused, Heard
from librarian.standin import Behaviour, Instrument
from librarian.wire.embedded import FarEnd

Plant = Callable[[Instrument], FarEnd]


@dataclass(frozen=True, slots=True)
class Defect:
    """`chart`: the instrument that has it. `found_by`: a word of the check that must find it."""

    name: str
    chart: str
    plant: Plant
    found_by: str


class Outgoing:
    """Changes what an instrument sends: `change(raw)` gives the bytes that leave instead."""

    def __init__(self, inner: FarEnd, change: Callable[[bytes], list[bytes]]) -> None:
        self.inner = inner
        self._change = change

    def feed(self, data: bytes, now: float) -> None:
        """See `FarEnd.feed`."""
        self.inner.feed(data, now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        """See `FarEnd.due`."""
        return [(start, new) for start, raw in self.inner.due(now) for new in self._change(raw) if new]

    def next_due(self) -> float | None:
        """See `FarEnd.next_due`."""
        return self.inner.next_due()


class Incoming(Outgoing):
    """Changes what reaches an instrument, byte by byte: `hear(byte, at)` may do anything with it."""

    def __init__(self, inner: Instrument, hear: Callable[[int, float], None]) -> None:
        super().__init__(inner, lambda raw: [raw])
        self._hear = hear

    def feed(self, data: bytes, now: float) -> None:
        """See `FarEnd.feed`."""
        for index, byte in enumerate(data):
            self._hear(byte, now - (len(data) - 1 - index) * 0.00032)


def _pick(one: Instrument, kind: Callable[[str], bool]) -> str:
    return next(name for name in one.chart.sound_ids if kind(name))


def _by_controllers(change: Callable[[Instrument, Heard], int | None], travels: str = "") -> Plant:
    """One parameter, when it comes by a controller, is stored as `change` says (None: not at all)."""

    def plant(one: Instrument) -> FarEnd:
        carried = one.chart.codec.carried()
        target = _pick(one, lambda name: name in carried and (not travels or carried[name].travels == travels))
        hear = one._listener.feed

        def feed(raw: bytes, now: float = 0.0) -> tuple[Heard, ...]:
            found = []
            for heard in hear(raw, now):
                value = change(one, heard) if heard.parameter == target else heard.value
                if value is not None:
                    found.append(replace(heard, value=value))
            return tuple(found)

        one._listener.feed = feed  # type: ignore[method-assign]
        return one

    return plant


def _off_by_one(one: Instrument, heard: Heard) -> int:
    return max(one.chart.parameters[heard.parameter].low, heard.value - 1)


def _clipped(one: Instrument, heard: Heard) -> int:
    parameter = one.chart.parameters[heard.parameter]
    return min(heard.value, parameter.high - max(1, (parameter.high - parameter.low) // 5))


def _wraps(one: Instrument, heard: Heard) -> int:
    parameter = one.chart.parameters[heard.parameter]
    return parameter.low if heard.value == parameter.high else heard.value


def _msb_only(one: Instrument, heard: Heard) -> int | None:
    mapping = one.chart.codec.carried()[heard.parameter].mapping
    return mapping.from_wire(mapping.to_wire(heard.value) & ~0x7F)


def _null_ignored(one: Instrument) -> FarEnd:
    hear = one._listener.feed
    one._listener.feed = lambda raw, now=0.0: (  # type: ignore[method-assign]
        () if raw[0] & 0xF0 == 0xB0 and 98 <= raw[1] <= 101 and raw[2] == 0x7F else hear(raw, now)
    )
    return one


def _all_channels(one: Instrument) -> FarEnd:
    hear = one._listener.feed
    own = one.address.channel
    one._listener.feed = lambda raw, now=0.0: hear(bytes(((raw[0] & 0xF0) | own, *raw[1:])), now)  # type: ignore[method-assign]
    return one


def _no_running_status(one: Instrument) -> FarEnd:
    receive = one._receive

    def once(raw: bytes, at: float) -> None:
        receive(raw, at)
        one._assembler._running = 0

    one._receive = once  # type: ignore[method-assign]
    return one


def _clock_ends_running_status(one: Instrument) -> FarEnd:
    def hear(byte: int, at: float) -> None:
        if byte >= 0xF8:
            one._assembler._running = 0
        one.feed(bytes((byte,)), at)

    return Incoming(one, hear)


def _clock_ends_sysex(one: Instrument) -> FarEnd:
    def hear(byte: int, at: float) -> None:
        if byte >= 0xF8:
            one._assembler.finish()
        one.feed(bytes((byte,)), at)

    return Incoming(one, hear)


def _every(count: int, spoil: Callable[[bytes], bytes]) -> Plant:
    """Every `count`-th long message that it sends is spoilt."""

    def plant(one: Instrument) -> FarEnd:
        sent = [0]

        def change(raw: bytes) -> list[bytes]:
            if raw[0] != 0xF0 or len(raw) < 40:
                return [raw]
            sent[0] += 1
            return [spoil(raw) if sent[0] % count == 0 else raw]

        return Outgoing(one, change)

    return plant


def _identity(change: Callable[[bytes], list[bytes]]) -> Plant:
    return lambda one: Outgoing(one, lambda raw: change(raw) if raw[:2] == b"\xf0\x7e" and raw[4] == 2 else [raw])


def _behaves(**habits: object) -> Plant:
    def plant(one: Instrument) -> FarEnd:
        one.behave(replace(Behaviour(), **habits))  # type: ignore[arg-type]
        return one

    return plant


def _identity_for_all(one: Instrument) -> FarEnd:
    def hear(byte: int, at: float) -> None:
        one.feed(bytes((byte,)), at)

    request = bytearray()

    def any_device(byte: int, at: float) -> None:
        if byte == 0xF0:
            request.clear()
        request.append(byte)
        if byte == 0xF7 and bytes(request[:2]) == b"\xf0\x7e" and bytes(request[3:5]) == b"\x06\x01":
            request[2] = 0x7F
        if byte == 0xF7:
            for each in request:
                hear(each, at)
            request.clear()
        elif not request or request[0] != 0xF0:
            hear(byte, at)
            request.clear()

    return Incoming(one, any_device)


def _mended(one: Instrument, raw: bytes) -> bytes:
    """The same message with the checksum that makes it right, if one does."""
    for checksum in range(128):
        tried = raw[:-2] + bytes((checksum, 0xF7))
        try:
            one.chart.codec.decode(tried, one.address)
        except DumpRefused:
            continue
        return tried
    return raw


def _takes_bad_checksums(one: Instrument) -> FarEnd:
    to = one._answers.to
    one._answers.to = lambda raw, at: to(  # type: ignore[method-assign]
        _mended(one, raw) if raw[0] == 0xF0 and len(raw) > 40 else raw, at
    )
    return one


def _takes_short_dumps(one: Instrument) -> FarEnd:
    size = one.chart.codec.messages["edit"].length or 0
    to = one._answers.to

    def fill(raw: bytes) -> bytes:
        if raw[0] != 0xF0 or not 40 < len(raw) < size:
            return raw
        return _mended(one, raw[:-2] + bytes(size - len(raw)) + raw[-2:])

    one._answers.to = lambda raw, at: to(fill(raw), at)  # type: ignore[method-assign]
    return one


def _hangs_after_long_dumps(one: Instrument) -> FarEnd:
    size = one.chart.codec.messages["edit"].length or 0
    to = one._answers.to

    def hear(raw: bytes, at: float) -> bool:
        if raw[0] == 0xF0 and len(raw) > size:
            one.behave(Behaviour(refuse="silence", identity=False))
        return to(raw, at)

    one._answers.to = hear  # type: ignore[method-assign]
    return one


def _in_its_dump(change: Callable[[Instrument, dict[str, int]], None]) -> Plant:
    """Its dumps do not say what sounds."""

    def plant(one: Instrument) -> FarEnd:
        dump = one._answers._dump

        def lie(recognised: object) -> tuple[bytes, ...]:
            sound = dict(one.sound)
            change(one, one.sound)
            try:
                return dump(recognised)  # type: ignore[arg-type]
            finally:
                one.sound.clear()
                one.sound.update(sound)

        one._answers._dump = lie  # type: ignore[method-assign]
        return one

    return plant


def _swap_two(one: Instrument, sound: dict[str, int]) -> None:
    ranges: dict[tuple[int, int], str] = {}
    for name in one.chart.sound_ids:
        parameter = one.chart.parameters[name]
        other = ranges.setdefault((parameter.low, parameter.high), name)
        if other != name and parameter.kind == "continuous":
            sound[name], sound[other] = sound[other], sound[name]
            return


def _lose_sign(one: Instrument, sound: dict[str, int]) -> None:
    target = _pick(one, lambda name: one.chart.parameters[name].kind == "bipolar")
    sound[target] = min(abs(sound[target]), one.chart.parameters[target].high)


def _when_written(change: Callable[[Instrument], None]) -> Plant:
    """Something goes wrong after each write."""

    def plant(one: Instrument) -> FarEnd:
        write = one._answers._written

        def wrong(*arguments: object) -> None:
            write(*arguments)  # type: ignore[arg-type]
            change(one)

        one._answers._written = wrong  # type: ignore[method-assign]
        return one

    return plant


def _forget_name(one: Instrument) -> None:
    one.name = ""


def _forget_switch(one: Instrument) -> None:
    target = _pick(one, lambda name: one.chart.parameters[name].kind == "switch")
    one.set_sound({target: one.chart.parameters[target].low}, one.states[-1][0])


def _neighbour(one: Instrument) -> FarEnd:
    store = one._answers._store

    def beside(decoded: object, whole: tuple[bytes, ...]) -> None:
        slots = dict(decoded.slots)  # type: ignore[attr-defined]
        slots["program"] = max(0, slots["program"] - 1)
        store(replace(decoded, slots=slots), whole)  # type: ignore[type-var]

    one._answers._store = beside  # type: ignore[method-assign]
    return one


def _single_parameters_deaf(one: Instrument) -> FarEnd:
    heard = one._listener._sysex
    target = one.chart.sound_ids[4]
    assert heard is not None
    one._listener._sysex = lambda raw: tuple(pair for pair in heard(raw) if pair[0] != target)
    return one


DEFECTS: tuple[Defect, ...] = (
    Defect("deaf to one controller", "fogbell", _by_controllers(lambda one, heard: None), "controllers: values"),
    Defect("deaf to one NRPN or controller", "lanternfish", _by_controllers(lambda one, heard: None), "controllers"),
    Defect("off by one", "lanternfish", _by_controllers(_off_by_one), "controllers: values"),
    Defect("clipped range", "fogbell", _by_controllers(_clipped), "controllers: values"),
    Defect("highest value wraps to the lowest", "lanternfish", _by_controllers(_wraps), "controllers: values"),
    Defect("LSB ignored", "lanternfish", _by_controllers(_msb_only, "cc14"), "controllers: values"),
    Defect("NRPN null ignored", "lanternfish", _null_ignored, "NRPN null"),
    Defect("listens on every channel", "fogbell", _all_channels, "another channel"),
    Defect("no running status", "fogbell", _no_running_status, "running status"),
    Defect("a clock ends running status", "lanternfish", _clock_ends_running_status, "running status"),
    Defect("a clock ends a SysEx message", "lanternfish", _clock_ends_sysex, "realtime inside"),
    Defect(
        "checksum wrong one time in ten",
        "lanternfish",
        _every(10, lambda raw: raw[:-2] + bytes((raw[-2] ^ 3, 0xF7))),
        "dumps: sent",
    ),
    Defect("dumps without F7", "lanternfish", _every(1, lambda raw: raw[:-1]), "dumps"),
    Defect("a byte too few now and then", "lanternfish", _every(7, lambda raw: raw[:30] + raw[31:]), "dumps: sent"),
    Defect("identity without firmware", "fogbell", _identity(lambda raw: [raw[:-5] + b"\xf7"]), "identity: form"),
    Defect("identity said twice", "lanternfish", _identity(lambda raw: [raw, raw]), "identity: once"),
    Defect("identity for every device ID", "lanternfish", _identity_for_all, "identity: another device"),
    Defect(
        "wrong family in its identity",
        "fogbell",
        _identity(lambda raw: [raw[:6] + bytes((raw[6] ^ 1,)) + raw[7:]]),
        "identity: fields",
    ),
    Defect("ignores the device ID", "lanternfish", _behaves(obeys_device=False), "another device"),
    Defect("takes dumps with a wrong checksum", "lanternfish", _takes_bad_checksums, "bad ones"),
    Defect("takes dumps that are too short", "lanternfish", _takes_short_dumps, "bad ones"),
    Defect("hangs after a dump that is too long", "lanternfish", _hangs_after_long_dumps, "dumps"),
    Defect("too slow for its own chart", "fogbell", _behaves(input_buffer=6, message_s=0.009), "timing"),
    Defect("two fields of its dump exchanged", "lanternfish", _in_its_dump(_swap_two), "controllers: values"),
    Defect("no sign in its dump", "lanternfish", _in_its_dump(_lose_sign), "controllers: values"),
    Defect("name lost when written", "lanternfish", _when_written(_forget_name), "dumps: name"),
    Defect("switch lost when written", "saltmarsh", _when_written(_forget_switch), "dumps: taken"),
    Defect("stores one program beside", "lanternfish", _neighbour, "memory"),
    Defect("deaf to one single-parameter message", "kelpline", _single_parameters_deaf, "single parameters"),
)


def planted(defect: Defect, chart: Chart, seed: int) -> tuple[Instrument, FarEnd]:
    """An instrument of this chart with the defect, and the far end to connect to."""
    one = Instrument(chart, seed=seed)
    return one, defect.plant(one)
