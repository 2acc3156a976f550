"""The whole proof of a chart: trials, real dumps, and how much of the instrument it reaches."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from librarian.chart import dump
from librarian.chart.chart import Chart
from librarian.chart.proving.values import (
    rounds,
    trouble_of_binding,
    trouble_of_dump,
    trouble_of_single,
    written_again,
)
from librarian.errors import LibrarianError
from librarian.messages import ALL_CALL, Address

_SHOWN = 5
_BANK_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Trial:
    """One kind of proof. `trouble`: the first few sentences about what failed."""

    what: str
    tried: int
    passed: int
    trouble: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DumpProof:
    """One real dump (`numbers`: which of the messages given, from 0). `explained` of `size` bytes are claimed.

    `identical`: decoded and encoded again it is the same to the byte.
    """

    numbers: tuple[int, ...]
    message: str
    size: int
    explained: int
    identical: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Proof:
    """`recallable`, `readable`: sound parameters that recall and capture carry, of `sound`; `by_hand`: only a hand."""

    trials: tuple[Trial, ...]
    dumps: tuple[DumpProof, ...]
    sound: int
    recallable: int
    readable: int
    by_hand: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Everything that was tried came out right."""
        return all(one.tried == one.passed for one in self.trials) and all(one.identical for one in self.dumps)

    @property
    def sentence(self) -> str:
        """The whole in one sentence."""
        tried, passed = sum(one.tried for one in self.trials), sum(one.passed for one in self.trials)
        dumps = f" {sum(one.identical for one in self.dumps)} of {len(self.dumps)} dumps are the same to the byte."
        return (
            f"{passed} of {tried} trials passed; {self.recallable} of {self.sound} sound parameters can be recalled, "
            f"{self.readable} read back.{dumps if self.dumps else ''}"
        )


def prove(
    chart: Chart,
    dumps: Sequence[bytes] = (),
    *,
    seed: int = 1,
    count: int = 20,
    tell: Callable[[str], None] = lambda _: None,
) -> Proof:
    """Encode and decode `count` sounds by every message and binding; then the real `dumps` (whole SysEx messages).

    `seed` makes it repeatable. `tell` is called with what is being tried.
    """
    device = chart.default_address.device
    address = replace(chart.default_address, device=0 if device == ALL_CALL else device)
    trials: list[Trial] = []
    sounds = list(rounds(chart, seed, count))
    for name, info in chart.codec.messages.items():
        if info.kind == "command" or info.single_parameter or not info.carries:
            continue
        tell(name)
        some = sounds if info.programs == 1 else sounds[:_BANK_ROUNDS]
        trials.append(
            _trial(
                f"message {name}", (trouble_of_dump(chart, info, values, chance, address) for values, chance in some)
            )
        )
    tell("controllers")
    trials.append(
        _trial(
            "controllers",
            (
                trouble_of_binding(chart, name, number, values[name], address)
                for values, _ in sounds
                for name, one in chart.parameters.items()
                for number in range(len(one.bindings))
            ),
        )
    )
    trials.append(
        _trial(
            "single-parameter messages",
            (
                trouble_of_single(chart, name, values, address)
                for values, _ in sounds
                for name in sorted(chart.codec.single_ids)
            ),
        )
    )
    recalled = frozenset[str]().union(*(way.carries for way in chart.ways_out))
    read = frozenset[str]().union(*(way.carries for way in chart.ways_in if way.requested and way.kind != "hand"))
    return Proof(
        tuple(one for one in trials if one.tried),
        tuple(_dumps(chart, dumps)),
        len(chart.sound_ids),
        sum(name in recalled for name in chart.sound_ids),
        sum(name in read for name in chart.sound_ids),
        tuple(name for name in chart.sound_ids if chart.parameters[name].by_hand),
    )


def _trial(what: str, troubles: Iterable[str]) -> Trial:
    found = list(troubles)
    wrong = [trouble for trouble in found if trouble]
    return Trial(what, len(found), len(found) - len(wrong), tuple(wrong[:_SHOWN]))


def _dumps(chart: Chart, raws: Sequence[bytes]) -> list[DumpProof]:
    """Every dump among the messages; those that belong together are taken together."""
    found: list[DumpProof] = []
    left = list(range(len(raws)))
    while left:
        address = whose(chart, raws[left[0]])
        numbers = _together(chart, raws, left, address)
        left = [number for number in left if number not in numbers]
        found.append(_dump(chart, numbers, tuple(raws[number] for number in numbers), address))
    return found


def whose(chart: Chart, raw: bytes) -> Address:
    """The address at which a message is one of the chart's: its usual channel, else any other."""
    channels = (chart.channel, *(channel for channel in range(16) if channel != chart.channel))
    addresses = [Address(channel, ALL_CALL) for channel in channels]
    return next((each for each in addresses if chart.codec.recognise(raw, each) is not None), addresses[0])


def _together(chart: Chart, raws: Sequence[bytes], left: list[int], address: Address) -> tuple[int, ...]:
    """The numbers of the messages that make one dump with the first one left."""
    first = left[0]
    known = chart.codec.recognise(raws[first], address)
    info = chart.codec.messages.get(known.message) if known is not None else None
    if info is None:
        return (first,)
    if info.part_of:
        numbers = _gathered(chart, info.part_of, raws, left, address)
        if numbers:
            return numbers
    if info.messages == 1:
        return (first,)
    return _gathered(chart, info.name, raws, left, address, partly=True) or (first,)


def _gathered(
    chart: Chart, message: str, raws: Sequence[bytes], left: list[int], address: Address, *, partly: bool = False
) -> tuple[int, ...]:
    """The numbers of the messages that make this dump; none where it is not complete, unless `partly`."""
    gather = chart.codec.gather(message, address)
    numbers: list[int] = []
    for number in left:
        try:
            if gather.feed(raws[number]):
                numbers.append(number)
        except LibrarianError:
            break
        if gather.complete:
            break
    return tuple(numbers) if gather.complete or partly else ()


def _dump(chart: Chart, numbers: tuple[int, ...], raws: tuple[bytes, ...], address: Address) -> DumpProof:
    size = sum(len(raw) for raw in raws)
    explained = sum(row.claimed for raw in raws for row in chart.codec.explain(raw, address))
    known = chart.codec.recognise(raws[0], address)
    name = known.message if known is not None else ""
    single = bool(name) and (chart.codec.messages[name].single_parameter or not chart.codec.messages[name].carries)
    if single or (known is not None and known.form == "request"):
        return DumpProof(numbers, name, size, explained, True, f"{name}: no dump, but a message of the chart.")
    try:
        decoded = chart.codec.decode_all(raws, address)
        name = decoded.message
        again = _again(chart, chart.codec.messages[decoded.message], raws, decoded, address)
    except LibrarianError as error:
        return DumpProof(numbers, name, size, 0, False, str(error))
    odd = (
        f" {len(decoded.odd)} values are outside their tables: {', '.join(decoded.odd[:_SHOWN])}."
        if decoded.odd
        else ""
    )
    if again == raws:
        return DumpProof(numbers, name, size, explained, True, f"{name}: the same to the byte.{odd}")
    place = next(
        (at for at, pair in enumerate(zip(b"".join(again), b"".join(raws), strict=False)) if pair[0] != pair[1]), size
    )
    said = f"{name}: written again it differs from byte {place} on.{odd}"
    return DumpProof(numbers, name, size, explained, False, said)


def _again(
    chart: Chart, info: dump.MessageInfo, raws: tuple[bytes, ...], decoded: dump.Decoded, address: Address
) -> tuple[bytes, ...]:
    """Written again for the device that the dump itself names."""
    device = decoded.slots.get("device")
    there = replace(address, device=device) if device is not None else address
    return written_again(chart, info, raws, decoded, there)
