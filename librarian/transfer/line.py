"""One instrument on one cable: what is known about it, and the one conversation that may run at a time."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace

from librarian.chart import Chart, Decoded, Listener
from librarian.errors import OutsideProblem
from librarian.messages import Address, Values
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.echo import Echo
from librarian.transfer.results import Identified
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import Busy
from librarian.wire.cable import Cable, CableLost
from librarian.wire.claim import Claim, Taken
from librarian.wire.clock import Clock
from librarian.wire.pace import Pace

# A person near the instrument may have changed it by means that send nothing (its own buttons).
_KNOWLEDGE_LASTS_S = 120.0
LISTENING = "listening"
_GIVES_WAY_S = 1.0


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What the instrument holds in its edit buffer, as far as anything heard since `at` did not put it in doubt.

    `raw`: the dumps it came from, by message name (they hold the bytes that the chart does not explain).
    """

    values: Values
    name: str = ""
    raw: Mapping[str, tuple[bytes, ...]] = field(default_factory=dict)
    at: float = 0.0


class Line:
    """One instrument on one cable. All conversations of `transfer` take it; one at a time, else `Busy` is raised.

    A new connection is a new Line: nothing that was known about the instrument outlives it. `pace` is what works with
    this instrument on this port (`pace.slowed`: how often its gaps were doubled); settings may keep and set it.
    """

    def __init__(
        self, cable: Cable, chart: Chart, address: Address | None = None, *, name: str = "", pace: Pace | None = None
    ) -> None:
        self.cable = cable
        self.chart = chart
        self.address = address if address is not None else chart.default_address
        self.name = name or chart.name
        self.pace = pace if pace is not None else chart.pace
        self.echo = Echo()
        self.foreign = 0
        self.identified: Identified | None = None
        self.introduced = False
        self.twins: Mapping[int, str] = {}
        """Device ID -> name of other instruments whose ports a system may give the names of these ones."""
        self.claim: Claim | None = None
        """Where other programs can reach the instrument as well: what keeps their conversations apart from ours."""
        self._lock = threading.Lock()
        self._wanted = threading.Event()
        self._what = ""
        self._known: Knowledge | None = None
        self._listener: Listener | None = None
        self._decoded: tuple[tuple[bytes, ...], Address, Decoded] | None = None

    @property
    def clock(self) -> Clock:
        """The clock of the cable: seconds, real or virtual."""
        return self.cable.clock

    @property
    def port(self) -> str:
        """The cable's name, as sentences say it."""
        return self.cable.name

    @property
    def listener(self) -> Listener:
        """Follows the controllers that arrive outside of answers; keeps halves of pairs between calls."""
        if self._listener is None:
            self._listener = self.chart.codec.listener(self.address)
        return self._listener

    def decode(self, raws: tuple[bytes, ...]) -> Decoded:
        """As the codec's `decode_all`; the same bytes again, as they come when an answer is confirmed, cost nothing."""
        if self._decoded is None or self._decoded[:2] != (raws, self.address):
            self._decoded = (raws, self.address, self.chart.codec.decode_all(raws, self.address))
        return self._decoded[2]

    @contextmanager
    def talk(self, what: str, cancel: Cancel | None = None, progress: OnProgress | None = None) -> Iterator[Talk]:
        """Hold the line for one conversation (`what`: "capture", "recall" ... as the busy sentence names it).

        Raises Busy when another one is under way. Leaves nothing queued on the cable, however it ends.
        """
        if not self._acquire(what):
            raise Busy(
                f"{self.name} is busy: {self._what} is under way on {self.port}.",
                "Wait until it has ended, or cancel it.",
            )
        try:
            with self._claimed(what):
                self._what = what
                with self._talk(cancel, progress) as talk:
                    yield talk
        finally:
            self._what = ""
            self._lock.release()

    @contextmanager
    def _claimed(self, what: str) -> Iterator[None]:
        """Hold the instrument among all programs of this computer as well. Listening sends nothing, and needs not."""
        if self.claim is None or what == LISTENING:
            yield
            return
        with ExitStack() as held:
            try:
                others = held.enter_context(self.claim.held(what))
            except Taken as taken:
                process = f", process {taken.process}" if taken.process else ""
                raise Busy(
                    f"{self.name} is busy: {taken.what or 'a conversation'} is under way on {self.port}, in another "
                    f"window or terminal{process}.",
                    "Wait until it has ended, or cancel it there.",
                ) from taken
            if others:
                self.forget()
            yield

    @contextmanager
    def _talk(self, cancel: Cancel | None, progress: OnProgress | None) -> Iterator[Talk]:
        talk = Talk(self, cancel or Cancel(), progress)
        try:
            yield talk
        except CableLost as lost:
            self.forget()
            raise CableLost(f"{lost} {talk.state_when_lost()}".rstrip(), lost.hint) from lost
        except OutsideProblem as problem:
            # Once anything was written, its condition belongs to whatever is told.
            state = talk.state_when_lost() if talk.wrote else ""
            if state not in str(problem):
                problem.args = (f"{problem} {state}",)
            raise
        finally:
            talk.end()

    def _acquire(self, what: str) -> bool:
        """Take the lock; listening gives way to anything that has a purpose."""
        if self._lock.acquire(blocking=False):
            return True
        if self._what != LISTENING or what == LISTENING:
            return False
        self._wanted.set()
        try:
            return self._lock.acquire(timeout=_GIVES_WAY_S)
        finally:
            self._wanted.clear()

    @property
    def wanted(self) -> bool:
        """True while a conversation waits for listening to end."""
        return self._wanted.is_set()

    @property
    def busy_with(self) -> str:
        """What conversation is under way, or empty."""
        return self._what

    def readdress(self, address: Address) -> None:
        """The instrument was found at this channel and device ID."""
        if address != self.address:
            self.address = address
            self._listener = None
            self.forget()

    def slower(self) -> bool:
        """Double the gaps after a loss, at most 4 times; False when that is used up.

        A chart without gaps gets the usual ones first: twice nothing would stay nothing.
        """
        if not self.pace.can_slow:
            return False
        usual = Pace()
        floor = replace(
            self.pace,
            gap_after_sysex_s=max(self.pace.gap_after_sysex_s, usual.gap_after_sysex_s / 2),
            gap_after_cc_s=max(self.pace.gap_after_cc_s, usual.gap_after_cc_s / 2),
        )
        self.pace = floor.slower()
        return True

    def usual_pace(self) -> None:
        """Back to the pace of the chart."""
        self.pace = self.chart.pace

    def known(self) -> Knowledge | None:
        """What the instrument holds now, or None where that is not certain (any more)."""
        if self._known is not None and self.clock.now() - self._known.at > _KNOWLEDGE_LASTS_S:
            self._known = None
        return self._known

    def learn(self, values: Values, name: str = "", raw: Mapping[str, tuple[bytes, ...]] | None = None) -> None:
        """The instrument was just read and holds this."""
        self._known = Knowledge(values, name, dict(raw or {}), self.clock.now())

    def forget(self) -> None:
        """Something may have changed the instrument in a way that is not known: read it before relying on it."""
        self._known = None

    def moved(self, parameter: str, value: int, exact: bool) -> None:
        """A control of the panel was heard. Only one that jumps certainly has that value as its sound now."""
        if self._known is None:
            return
        values = self._known.values
        if exact and self.chart.parameters[parameter].takeover == "jumps":
            values = values.with_values({parameter: value})
        else:
            values = values.without([parameter])
        self._known = Knowledge(values, self._known.name, self._known.raw, self._known.at)
