"""Whatever happens between a person, a collection, a cable and an instrument, in any order: four things stay true.

Every version kept is a state the instrument really had (or says what it does not know); every "arrived" is true in
the instrument itself; nothing kept before changes; and each conversation ends within its stated time.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import Cancel, Captured, Recalled, capture, identify, limits, recall, verify
from tests.simulated import World, world

pytestmark = pytest.mark.slow

_INVENTED = Path(__file__).parents[2] / "data" / "instruments"
_CHARTS = [load(place) for place in [*shipped().values(), *sorted(_INVENTED.glob("*.toml"))]]

_FAULTS = st.sampled_from(
    [
        Faults(),
        Faults(flip=0.003),
        Faults(lose=0.003),
        Faults(swap=0.003),
        Faults(double=0.003),
        Faults(flip=0.002, burst=5),
        Faults(lose_message=0.05),
        Faults(cut=0.3),
        Faults(realtime=0.3, foreign=0.5),
        Faults(echo=True),
        Faults(stall=0.2, stall_s=1.0),
    ]
)
_HABITS = st.sampled_from(
    [
        Behaviour(),
        Behaviour(deaf_until_answered=True, input_buffer=8, answer_delay_s=0.1),
        Behaviour(input_buffer=12, message_s=0.005),
        Behaviour(refuse="nak"),
        Behaviour(refuse="silence"),
        Behaviour(refuse_writes=True, refused_write_changes=True),
        Behaviour(thru=True),
        Behaviour(identity=False),
    ]
)


class Machine(RuleBasedStateMachine):
    """One instrument, one line, one collection."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory(prefix="librarian-machine-")
        self.library = Library.open(Path(self.folder.name, "patches.sqlite"))
        self.kept: dict[int, Version] = {}
        self.chart: Chart = _CHARTS[0]
        self.one: World = world(self.chart)
        self.instrument = 0
        self.count = 0

    @initialize(chart=st.sampled_from(_CHARTS), seed=st.integers(0, 1000))
    def begin(self, chart: Chart, seed: int) -> None:
        """An instrument is connected."""
        self.chart = chart
        self.one = world(chart, seed=seed, introduced=False)
        self.instrument = self.library.add_instrument(chart, chart.name, chart.default_address)

    def teardown(self) -> None:
        """Close what was opened."""
        self.library.close()
        self.folder.cleanup()

    # -- what happens to the cable and at the instrument ------------------------------------------------------------

    @rule(faults=_FAULTS)
    def cable_changes(self, faults: Faults) -> None:
        """The cable gets worse or better."""
        self.one.bad.faults = faults

    @rule(habits=_HABITS)
    def instrument_changes(self, habits: Behaviour) -> None:
        """The instrument gets another mood."""
        self.one.instrument.behave(habits)

    @rule(data=st.data())
    def knob_turns(self, data: st.DataObject) -> None:
        """The player turns a knob."""
        name = data.draw(st.sampled_from(sorted(self.chart.parameters)))
        one = self.chart.parameters[name]
        self.one.turn(name, data.draw(st.integers(one.low, one.high)))

    @rule(data=st.data(), after=st.floats(0.0, 0.5))
    def knob_will_turn(self, data: st.DataObject, after: float) -> None:
        """The player will turn a knob in the middle of what comes next."""
        name = data.draw(st.sampled_from(sorted(self.chart.parameters)))
        one = self.chart.parameters[name]
        value = data.draw(st.integers(one.low, one.high))
        self.one.bad.at(self.one.clock.now() + after, lambda now: self.one.instrument.turn(name, value, now))

    @rule(number=st.integers(0, 31))
    def program_chosen(self, number: int) -> None:
        """The player chooses a stored program."""
        if number < self.one.instrument.memory.size:
            self.one.instrument.choose(number, self.one.clock.now())

    @rule(dead=st.floats(0.05, 2.0))
    def power_fails(self, dead: float) -> None:
        """The power fails for a moment."""
        self.one.instrument.restart(self.one.clock.now(), dead)

    # -- conversations ------------------------------------------------------------------------------------------------

    def _converse(self, run: object, longest: float) -> object:
        start = self.one.clock.now()
        result: object = None
        told: LibrarianError | None = None
        try:
            result = run()  # type: ignore[operator]
        except LibrarianError as problem:
            told = problem
        assert told is None or (str(told) and told.hint), f"told without a cause or a next step: {told!r}"
        took = self.one.clock.now() - start
        assert took <= longest + 0.1, f"{took:.1f} s of at most {longest:.1f}"
        return result

    def _keep(self, version: Version) -> None:
        self.count += 1
        patch = self.library.keep(self.instrument, f"Sound {self.count}", version)
        self.kept[self.library.versions(patch)[0].id] = version

    @rule()
    def identifies(self) -> None:
        """Who is there?"""
        self._converse(lambda: identify(self.one.line), limits.identify_s(self.one.line, 1.0))

    @rule()
    def captures(self) -> None:
        """Capture and keep."""
        result = self._converse(lambda: capture(self.one.line), limits.capture_s(self.one.line))
        if isinstance(result, Captured):
            self._keep(result.version)

    @precondition(lambda self: self.kept)
    @rule(data=st.data(), whole=st.booleans())
    def recalls(self, data: st.DataObject, whole: bool) -> None:
        """Recall something kept; what was there before is kept too."""
        number = data.draw(st.sampled_from(sorted(self.kept)))
        version = self.library.version(number)
        before = len(self.one.instrument.states)
        result = self._converse(
            lambda: recall(self.one.line, version, whole=whole, keep_before=self._keep),
            limits.recall_s(self.one.line, 3),
        )
        if isinstance(result, Recalled) and result.state == "arrived":
            assert result.proof is not None
            had = list(self.one.instrument.states)[before - 1 :]
            wanted = result.proof.wanted
            assert any(all(values[name] == value for name, value in wanted.items()) for _, values in had)

    @precondition(lambda self: self.kept)
    @rule(data=st.data(), after=st.floats(0.0, 0.8))
    def cancels_a_recall(self, data: st.DataObject, after: float) -> None:
        """The person changes their mind."""
        version = self.library.version(data.draw(st.sampled_from(sorted(self.kept))))
        cancel = Cancel()
        moment = self.one.clock.now() + after
        self.one.bad.at(moment, lambda now: cancel.set())
        ended: Cancelled | None = None
        try:
            recall(self.one.line, version, keep_before=self._keep, cancel=cancel)
        except Cancelled as problem:
            ended = problem
        except LibrarianError:
            pass  # it ended in another way before the person did
        assert ended is None or (ended.state and self.one.clock.now() - moment <= 0.3)

    @precondition(lambda self: self.kept)
    @rule(data=st.data())
    def verifies(self, data: st.DataObject) -> None:
        """Is it still what was kept?"""
        version = self.library.version(data.draw(st.sampled_from(sorted(self.kept))))
        self._converse(lambda: verify(self.one.line, version), limits.capture_s(self.one.line))

    # -- what stays true ----------------------------------------------------------------------------------------------

    @invariant()
    def nothing_kept_has_changed_and_all_of_it_was_real(self) -> None:
        """Read back from the store, and compared with every state the instrument has had."""
        states = [values for _, values in self.one.instrument.states]
        for number, version in self.kept.items():
            stored = self.library.version(number)
            assert stored == version
            if stored.values:
                assert any(all(values[name] == value for name, value in stored.values.items()) for values in states), (
                    f"the instrument never had {dict(stored.values)}"
                )
            assert stored.unknown == self.chart.unknown(stored.values)


Machine.TestCase.settings = settings(
    max_examples=7,
    stateful_step_count=14,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
TestMachine = Machine.TestCase
