"""Whatever happens between a person, a collection, a cable and an instrument, in any order: four things stay true.

Every version kept is a state the instrument really had (or says what it does not know); every "arrived" is true in
the instrument itself; nothing kept before changes; and each conversation ends within its stated time.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from librarian.chart import Chart, Way, load, shipped
from librarian.collection import Library
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import (
    Backup,
    Cancel,
    Captured,
    Recalled,
    Restored,
    backup,
    capture,
    identify,
    limits,
    recall,
    restore,
    verify,
)
from librarian.transfer.capture import as_version
from librarian.transfer.line import Line
from librarian.transfer.reading import Reading
from librarian.transfer.results import Proof
from librarian.transfer.talk import Talk
from librarian.transfer.verify import prove
from tests.simulated import World, world
from tests.unseen import unseen

pytestmark = pytest.mark.slow

_INVENTED = Path(__file__).parents[2] / "data" / "instruments"
_CHARTS = {chart.id: chart for chart in map(load, [*shipped().values(), *sorted(_INVENTED.glob("*.toml"))])}

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
        self.chart: Chart = _CHARTS["fogbell"]
        self.one: World = world(self.chart)
        self.instrument = 0
        self.count = 0
        self.programs: list[tuple[int, Values]] = []

    @initialize(which=st.sampled_from([*_CHARTS, "unseen", "unseen"]), seed=st.integers(0, 1000))
    def begin(self, which: str, seed: int) -> None:
        """An instrument is connected: a known one, or one that nobody has seen."""
        chart = _CHARTS[which] if which in _CHARTS else unseen(seed)
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

    @rule(data=st.data())
    def backs_up(self, data: st.DataObject) -> None:
        """Some programs of its memory are read and kept."""
        size = self.one.instrument.memory.size
        if size:
            programs = data.draw(st.lists(st.integers(0, size - 1), min_size=1, max_size=2, unique=True))
            longest = limits.backup_s(self.one.line, len(programs))
            result = self._converse(lambda: backup(self.one.line, programs=programs), longest)
            for number, version in result.programs.items() if isinstance(result, Backup) else ():
                self._stored_so(number, version)
                self._keep(version)

    @precondition(lambda self: self.kept)
    @rule(data=st.data())
    def restores(self, data: st.DataObject) -> None:
        """Something kept is written into its memory."""
        memory = self.one.instrument.memory
        version = self.library.version(data.draw(st.sampled_from(sorted(self.kept))))
        if memory.size and version.complete:
            number = data.draw(st.integers(0, memory.size - 1))
            was = Values(memory[number].values)
            result = self._converse(
                lambda: restore(
                    self.one.line, {number: version}, allow=lambda place: True, keep_before=lambda place, old: None
                ),
                limits.restore_s(self.one.line, 1),
            )
            self.programs.append((number, Values(memory[number].values)))
            if isinstance(result, Restored) and number in result.new:
                carried = result.before[number].values
                assert all(memory[number].values[name] == version.values[name] for name in carried)
            if isinstance(result, Restored) and number in result.old:
                assert Values(memory[number].values) == was

    def _stored_so(self, number: int, version: Version) -> None:
        held = self.one.instrument.memory[number].values
        assert all(held[name] == value for name, value in version.values.items()), f"program {number} never was so"
        self.programs.append((number, version.values))

    # -- what stays true ----------------------------------------------------------------------------------------------

    @invariant()
    def nothing_kept_has_changed_and_all_of_it_was_real(self) -> None:
        """Read back from the store, and compared with every state the instrument has had."""
        states = [values for _, values in self.one.instrument.states] + [values for _, values in self.programs]
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


def _believes_without_reading(talk: Talk, ways: list[Way], wanted: Values, name: str = "", **options: object) -> Proof:
    """Planted: everything wanted counts as arrived, whatever was read back."""
    proof = prove(talk, ways, wanted, name, **options)  # type: ignore[arg-type]
    return replace(proof, read=wanted, equal=tuple(wanted), differs=(), moved=(), disturbed=(), silent=(), unread=())


def _keeps_something_else(line: Line, reading: Reading, **words: str) -> Version:
    """Planted: what is kept is not what was read."""
    version = as_version(line, reading, **words)
    first = next(iter(version.values))
    one = line.chart.parameters[first]
    other = version.values.with_values({first: one.low if version.values[first] != one.low else one.high})
    return replace(version, values=other)


def _never_gives_up(self: Talk) -> None:
    """Planted: half a minute passes before each look at the clock."""
    self.line.clock.sleep(30.0)


@pytest.mark.parametrize(
    ("module", "name", "bug"),
    [
        ("librarian.transfer.capture", "as_version", _keeps_something_else),
        ("librarian.transfer.talk", "Talk._look_up", _never_gives_up),
    ],
)
def test_the_machine_sees_a_planted_bug(
    module: str, name: str, bug: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    # By name of the module: the package's own `capture` is the function.
    owner: object = sys.modules[module]
    *holders, last = name.split(".")
    for holder in holders:
        owner = getattr(owner, holder)
    monkeypatch.setattr(owner, last, bug)
    eager = settings(Machine.TestCase.settings, max_examples=100, phases=[Phase.generate], print_blob=False)
    with pytest.raises((AssertionError, ExceptionGroup)):
        run_state_machine_as_test(Machine, settings=eager)


class _First:
    """In the place of hypothesis: chooses the first of what is kept."""

    def draw(self, strategy: st.SearchStrategy[int]) -> int:
        return 1


def test_the_machine_sees_an_arrival_that_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules["librarian.transfer.recall"], "prove", _believes_without_reading)
    machine = Machine()
    try:
        machine.begin("kelpline", 3)
        machine.captures()
        kept = machine.library.version(1)
        machine.one.instrument.set_sound({"water.flow": (kept.values["water.flow"] + 9) % 16384}, 101.0)
        machine.instrument_changes(Behaviour(refuse_writes=True))
        with pytest.raises(AssertionError):
            machine.recalls(_First(), True)
    finally:
        machine.teardown()
