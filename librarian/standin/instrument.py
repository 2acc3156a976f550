"""A simulated instrument, driven by a chart alone: what arrives changes its sound, what is asked it answers.

It is the far end of a cable (`wire.embedded.FarEnd`): bytes are fed with the time they arrived, bytes to send are
fetched when due. It keeps no clock and no thread; the same seed and the same input give the same output.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Mapping

from librarian.chart import Chart
from librarian.messages import ALL_CALL, Address, Message, Values
from librarian.standin import memory, pots
from librarian.standin.answers import Answers
from librarian.standin.behaviour import Behaviour
from librarian.standin.intake import Intake
from librarian.wire.assembler import Assembler


class Instrument:
    """One simulated unit.

    `sound`: what sounds now, by parameter id. `panel`: where the controls stand. `memory`: stored programs.
    `states`: every sound it has had, with the time (seconds of the cable's clock) at which it began, newest last.
    """

    def __init__(
        self,
        chart: Chart,
        *,
        seed: int = 1,
        address: Address | None = None,
        behaviour: Behaviour | None = None,
        values: Mapping[str, int] | None = None,
        name: str = "",
    ) -> None:
        self.chart = chart
        self.address = _of_its_own(address if address is not None else chart.default_address)
        self.behaviour = behaviour if behaviour is not None else Behaviour()
        self.sound: dict[str, int] = {**memory.first_values(chart, random.Random(seed)), **(values or {})}
        self.panel: dict[str, int] = dict(self.sound)
        self.memory = memory.Memory(chart, seed)
        self.name = name
        self.bases: dict[str, tuple[bytes, ...]] = {}
        self.refused: list[str] = []
        self.states: deque[tuple[float, Values]] = deque([(0.0, Values(self.sound))], maxlen=65536)
        self._intake = Intake(self.behaviour.input_buffer)
        self._assembler = Assembler()
        self._listener = chart.codec.listener(self.address, side="instrument")
        self._answers = Answers(self)
        self._busy_until = 0.0
        self._dead_until = 0.0
        self._out: deque[tuple[float, bytes]] = deque()
        self._out_free_at = 0.0
        self._next_sensing = math.inf

    # -- the far end of a cable -----------------------------------------------------------------------------------

    def feed(self, data: bytes, now: float) -> None:
        """These bytes have ended arriving at `now`."""
        if now < self._dead_until:
            return
        if self._next_sensing == math.inf and self.behaviour.active_sensing_s > 0:
            # Not from zero on: the clock of a computer has run for hours by then.
            self._next_sensing = now + self.behaviour.active_sensing_s
        if self.behaviour.thru:
            self._queue(data, now)
        byte_s = 1.0 / self.behaviour.wire_bytes_per_second
        for index, byte in enumerate(data):
            at = now - (len(data) - 1 - index) * byte_s
            self._attend(at)
            self._intake.arrive(byte, at, busy=self._busy_until > at)
        self._attend(now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        """Outgoing (start time, bytes), the sending of which starts at `now` or before."""
        self._attend(now)
        self._answers.wake(now)
        self._sense(now)
        ready = []
        while self._out and self._out[0][0] <= now:
            ready.append(self._out.popleft())
        return ready

    def next_due(self) -> float | None:
        """When `due` should be called next, or None while nothing will happen without input."""
        moments = [start for start, _ in list(self._out)[:1]]
        if (waiting := self._intake.next_at) is not None:
            moments.append(max(waiting, self._busy_until))
        if (wakes := self._answers.wakes_at) is not None:
            moments.append(wakes)
        if self.behaviour.active_sensing_s > 0 and self._next_sensing < math.inf:
            moments.append(self._next_sensing)
        return min(moments, default=None)

    # -- the player's side ----------------------------------------------------------------------------------------

    def turn(self, parameter: str, value: int, now: float) -> None:
        """Move a control by hand: the pot stands at `value` (raw), sends its controller, and sounds as it takes over.

        Raises ValueError for a control that does not exist or a position out of its range.
        """
        control = pots.checked(self.chart.parameters, parameter, value)
        before = self.panel[parameter]
        self.panel[parameter] = value
        self.set_sound({parameter: pots.sound_after_turn(control, before, value, self.sound[parameter])}, now)
        if self.behaviour.send_controllers:
            codec = self.chart.codec
            bursts = codec.controllers(Values({parameter: value}), self.address, side="instrument")
            sent = [raw for burst in bursts for raw in burst.messages]
            for raw in sent or codec.tell_one(parameter, value, self.address, {**self.sound, parameter: value}):
                self.send(raw, now)

    def behave(self, behaviour: Behaviour) -> None:
        """Take on other habits from now on."""
        self.behaviour = behaviour
        self._intake.size = behaviour.input_buffer

    def choose(self, program: int, now: float, bank: int = 0) -> None:
        """Choose a stored program at the instrument itself. Raises ValueError when there is none of that number."""
        stored = self.memory.at(program, bank)
        if stored is None:
            raise ValueError(f"there is no program {program} in bank {bank}")
        self.load(stored, now)

    def restart(self, now: float, dead_s: float = 1.5) -> None:
        """Its power fails and comes back: what it was sending is cut off, its edit buffer is what its pots say.

        It hears nothing for `dead_s` seconds.
        """
        self._out.clear()
        self._out_free_at = now
        self._intake.forget()
        self._assembler = Assembler()
        self._listener = self.chart.codec.listener(self.address, side="instrument")
        self.bases.clear()
        self._answers.forget()
        self.name = ""
        self.set_sound(self.panel, now)
        self._dead_until = now + dead_s

    def state(self) -> dict[str, object]:
        """Everything about it, for whoever wants to know by another road than MIDI: plain JSON types."""
        return {
            "chart": self.chart.id,
            "channel": self.address.channel,
            "device": self.address.device,
            "name": self.name,
            "sound": dict(self.sound),
            "panel": dict(self.panel),
            "programs": self.memory.as_lists(),
            "received": self._intake.received,
            "overflowed": self._intake.lost,
            "refused": list(self.refused),
        }

    @property
    def overflowed(self) -> int:
        """Bytes lost because the input buffer was full."""
        return self._intake.lost

    # -- what its answers use ---------------------------------------------------------------------------------------

    def set_sound(self, values: Mapping[str, int], now: float) -> None:
        """These parameters sound like this from `now`; the controls stay where they stand."""
        changed = {name: value for name, value in values.items() if self.sound.get(name) != value}
        if changed:
            self.sound.update(changed)
            self.states.append((now, Values(self.sound)))

    def load(self, stored: memory.Program, now: float) -> None:
        """A stored program becomes the edit buffer; the player's set-up stays."""
        sound = dict(self.sound)
        memory.load(stored.values, sound, self.chart.sound_ids)
        self.set_sound(sound, now)
        self.name = stored.name

    def send(self, raw: bytes, at: float) -> float:
        """Queue one message for sending at `at` or as soon as its output is free; returns when it will have ended."""
        return self._queue(raw, at)

    def busy(self, until: float) -> None:
        """It attends to nothing before this moment."""
        self._busy_until = max(self._busy_until, until)

    # -- inside -----------------------------------------------------------------------------------------------------

    def _queue(self, raw: bytes, at: float) -> float:
        start = max(at, self._out_free_at)
        self._out_free_at = start + len(raw) / self.behaviour.wire_bytes_per_second
        self._out.append((start, raw))
        return self._out_free_at

    def _attend(self, now: float) -> None:
        while self._busy_until <= now and (taken := self._intake.take()) is not None:
            arrived, byte = taken
            at = max(arrived, self._busy_until)
            for arrival in self._assembler.feed(bytes((byte,)), at):
                if isinstance(arrival, Message):
                    self._receive(arrival.raw, at)
                else:
                    self.refused.append(arrival.reason)

    def _receive(self, raw: bytes, at: float) -> None:
        if self.behaviour.message_s > 0:
            self.busy(at + self.behaviour.message_s)
        if self._answers.to(raw, at):
            return
        heard = self._listener.feed(raw, at)
        self.set_sound({one.parameter: one.value for one in heard}, at)

    def _sense(self, now: float) -> None:
        period = self.behaviour.active_sensing_s
        while period > 0 and self._next_sensing <= now:
            self._out.appendleft((self._next_sensing, b"\xfe"))
            self._next_sensing += period


def _of_its_own(address: Address) -> Address:
    """A unit has a device ID, also where the chart does not say which; all call is what others say to every unit."""
    return Address(address.channel, 0) if address.device == ALL_CALL else address
