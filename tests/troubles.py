"""Everything that can go wrong between a computer and an instrument, as settings of the simulation by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from librarian.chart import Chart
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from tests.simulated import World

NOISE = frozenset({"NoReply", "ForeignOnly", "NotUnderstood", "TookTooLong"})
"""What may be told where bytes were damaged or lost: silence, noise, or answers that do not agree."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One way of being in trouble.

    `told`: names of the errors that say the true cause or the nearest observable one. `moves`: the instrument's
    sound may change by itself. `prepare`: sets off events once the world is made.
    """

    faults: Faults = field(default_factory=Faults)
    behaviour: Behaviour = field(default_factory=Behaviour)
    told: frozenset[str] = frozenset()
    moves: bool = False
    prepare: Callable[[World, Random], None] = field(default=lambda world, dice: None)


def _bytes(kind: str, burst: int = 1) -> Callable[[Random, Chart], Trouble]:
    def make(dice: Random, chart: Chart) -> Trouble:
        rate = dice.choice([0.0005, 0.002, 0.008, 0.03]) / burst
        toward, back = dice.choice([(True, True), (True, False), (False, True)])
        faults = Faults(**{kind: rate}, burst=burst, to_instrument=toward, from_instrument=back)  # type: ignore[arg-type]
        return Trouble(faults, told=NOISE | {"EchoLoop", "InstrumentRefused", "WrongInstrument"})

    return make


def _cable(told: frozenset[str], **settings: float) -> Callable[[Random, Chart], Trouble]:
    return lambda dice, chart: Trouble(Faults(**settings), told=told)  # type: ignore[arg-type]


def _habits(told: frozenset[str], **settings: object) -> Callable[[Random, Chart], Trouble]:
    return lambda dice, chart: Trouble(behaviour=Behaviour(**settings), told=told)  # type: ignore[arg-type]


def _overflow(dice: Random, chart: Chart) -> Trouble:
    size = dice.choice([8, 24, 64])
    return Trouble(behaviour=Behaviour(input_buffer=size, message_s=dice.choice([0.002, 0.006, 0.02])), told=NOISE)


def _small(dice: Random, chart: Chart) -> Trouble:
    waits = min((way.timeout_s for way in chart.ways_in if way.requested), default=0.4)  # slow as its chart says
    behaviour = Behaviour(
        deaf_until_answered=True,
        input_buffer=dice.choice([0, 8, 32]),
        answer_delay_s=dice.uniform(0.001, min(0.4, 0.8 * waits)),
    )
    return Trouble(behaviour=behaviour)


def _wrong_checksum_once(dice: Random, chart: Chart) -> Trouble:
    def prepare(world: World, dice: Random) -> None:
        world.bad.spoil_next = lambda raw: raw[:-2] + bytes((raw[-2] ^ 1, raw[-1])) if len(raw) > 20 else raw

    return Trouble(prepare=prepare)


def _knob(dice: Random, chart: Chart) -> Trouble:
    def prepare(world: World, dice: Random) -> None:
        for _ in range(dice.randint(1, 3)):
            name = dice.choice(list(chart.parameters))
            one = chart.parameters[name]
            value = dice.randint(one.low, one.high)
            moment = 100.0 + dice.uniform(0.0, 0.6)
            world.bad.at(moment, lambda now, name=name, value=value: world.instrument.turn(name, value, now))

    return Trouble(moves=True, prepare=prepare, told=frozenset({"NotUnderstood"}))


def _restart(dice: Random, chart: Chart) -> Trouble:
    def prepare(world: World, dice: Random) -> None:
        dead = dice.choice([0.1, 0.5, 1.5])
        world.bad.at(100.0 + dice.uniform(0.0, 0.6), lambda now: world.instrument.restart(now, dead))

    return Trouble(moves=True, prepare=prepare, told=NOISE)


def _lost(sentence: str) -> Callable[[Random, Chart], Trouble]:
    def make(dice: Random, chart: Chart) -> Trouble:
        def prepare(world: World, dice: Random) -> None:
            world.bad.at(100.0 + dice.uniform(0.0, 0.8), lambda now: world.cable.lose(sentence))

        return Trouble(prepare=prepare, told=frozenset({"CableLost"}))

    return make


def _loop(dice: Random, chart: Chart) -> Trouble:
    return Trouble(Faults(echo=True), Behaviour(refuse="silence", identity=False), told=frozenset({"EchoLoop"}))


def _program_chosen(dice: Random, chart: Chart) -> Trouble:
    def prepare(world: World, dice: Random) -> None:
        if world.instrument.memory.size:
            assert chart.memory is not None
            bank, number = divmod(dice.randrange(world.instrument.memory.size), chart.memory.programs)
            world.bad.at(100.0 + dice.uniform(0.0, 0.6), lambda now: world.instrument.choose(number, now, bank))

    return Trouble(moves=True, prepare=prepare, told=frozenset({"NotUnderstood"}))


def _worst(dice: Random, chart: Chart) -> Trouble:
    faults = Faults(
        lose=0.001,
        flip=0.001,
        swap=0.0005,
        lose_message=0.01,
        realtime=0.02,
        foreign=0.1,
        late_s=0.02,
        echo=dice.random() < 0.5,
    )
    behaviour = Behaviour(input_buffer=64, message_s=0.001, answer_delay_s=0.05, deaf_until_answered=True)
    return Trouble(faults, behaviour, told=NOISE | {"EchoLoop", "InstrumentRefused", "WrongInstrument"})


_REFUSED = frozenset({"InstrumentRefused"})

TROUBLES: dict[str, Callable[[Random, Chart], Trouble]] = {
    "none": _cable(frozenset()),
    "bytes lost": _bytes("lose"),
    "bytes lost in bursts": _bytes("lose", 6),
    "bytes doubled": _bytes("double"),
    "bytes swapped": _bytes("swap"),
    "bytes flipped": _bytes("flip"),
    "bytes flipped in bursts": _bytes("flip", 4),
    "messages lost": _cable(NOISE, lose_message=0.05),
    "late": _cable(frozenset(), late_s=0.15),
    "stalls": _cable(NOISE, stall=0.1, stall_s=1.0),
    "realtime inside": _cable(frozenset(), realtime=0.3),
    "ends lost": _cable(NOISE, cut=0.2),
    "foreign messages": _cable(frozenset(), foreign=0.7),
    "everything echoed": lambda dice, chart: Trouble(Faults(echo=True)),
    "loop, nobody there": _loop,
    "input buffer overflows": _overflow,
    "small and deaf": _small,
    "another device": _habits(frozenset({"NoReply", "ForeignOnly"}), obeys_device=True),
    "wrong checksum once": _wrong_checksum_once,
    "refuses (NAK)": _habits(_REFUSED, refuse="nak"),
    "refuses, silent": _habits(frozenset({"NoReply"}), refuse="silence"),
    "refuses and changes all the same": lambda dice, chart: Trouble(
        behaviour=Behaviour(refuse_writes=True, refused_write_changes=True), told=_REFUSED
    ),
    "busy (WAIT)": _habits(frozenset(), waits=3, store_s=0.3, acknowledge=True),
    "memory protected": _habits(frozenset(), memory_protected=True),
    "restarts in the middle": _restart,
    "old firmware": _habits(frozenset({"WrongInstrument"}), revision=b"\0\0\0\1"),
    "knobs turned meanwhile": _knob,
    "running status for hours": lambda dice, chart: Trouble(Faults(running=True, realtime=dice.choice([0.0, 0.1]))),
    "program chosen meanwhile": _program_chosen,
    "no identity reply": _habits(frozenset(), identity=False),
    "port gone": _lost("The port Pit interface 1 has gone."),
    "server gone": _lost("The MIDI system of this computer stopped."),
    "much at once": _worst,
}
