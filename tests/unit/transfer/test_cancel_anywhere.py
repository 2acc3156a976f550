"""Whatever is under way and whenever the person ends it: answered within 0.3 s, and what is said is true afterwards.

All on the virtual clock: the moment of the wish and the moment of the answer are both its seconds.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart, load, shipped
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import (
    Cancel,
    backup,
    capture,
    capture_by_hand,
    identify,
    recall,
    restore,
    verify,
)
from librarian.transfer.bringup import bring_up
from tests.simulated import World, world
from tests.unseen import unseen

_INVENTED = Path(__file__).parents[2] / "data" / "instruments"
_KNOWN = {chart.id: chart for chart in map(load, [*shipped().values(), *sorted(_INVENTED.glob("*.toml"))])}
_ANSWERED_S = 0.3
_CHARTS = st.one_of(st.sampled_from(sorted(_KNOWN)), st.integers(0, 10_000))
"""A known instrument by its id, or the seed of one that nobody has seen."""

_TROUBLES = st.sampled_from(
    [
        (Faults(), Behaviour()),
        (Faults(late_s=0.1), Behaviour(answer_delay_s=0.1)),
        (Faults(lose=0.003, to_instrument=False), Behaviour()),
        (Faults(cut=0.3), Behaviour()),
        (Faults(foreign=0.5, realtime=0.2), Behaviour(thru=True)),
        (Faults(lose_message=1.0, to_instrument=False), Behaviour()),
        (Faults(), Behaviour(refuse="nak")),
        (Faults(), Behaviour(waits=5, acknowledge=True, store_s=0.4)),
        (Faults(), Behaviour(memory_protected=True)),
    ]
)
"""None of them changes what reaches the instrument, so that what a sentence says of it must be exactly true."""


def _chart(which: str | int) -> Chart:
    return unseen(which) if isinstance(which, int) else _KNOWN[which]


def _version(chart: Chart, dice: Random) -> Version:
    values = {name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}
    return Version(chart.id, chart.revision, Values(values))


def _ended(one: World, run: Callable[[Cancel], object], moment: float) -> str | None:
    """What the cancelled conversation said; None when it had ended before, in its own way."""
    cancel = Cancel()
    wished = one.clock.now() + moment
    one.bad.at(wished, lambda now: cancel.set())
    told: Cancelled | LibrarianError | None = None
    try:
        run(cancel)
    except (Cancelled, LibrarianError) as problem:
        told = problem
    if not isinstance(told, Cancelled):
        assert told is None or told.hint
        return None
    assert one.clock.now() - wished <= _ANSWERED_S, f"answered {one.clock.now() - wished:.3f} s late"
    assert told.state.endswith("."), f"no condition is stated: {told.state!r}"
    # What had left the computer arrives; nothing that was still queued does.
    one.cable.receive(1.0)
    return told.state


@settings(max_examples=50)
@given(which=_CHARTS, trouble=_TROUBLES, seed=st.integers(0, 999), kind=st.integers(0, 5), moment=st.floats(0.0, 2.5))
def test_reading_is_left_at_once_and_has_changed_nothing(
    which: str | int, trouble: tuple[Faults, Behaviour], seed: int, kind: int, moment: float
) -> None:
    chart = _chart(which)
    one = world(chart, seed=seed, faults=trouble[0], behaviour=trouble[1], introduced=False)
    held = _version(chart, Random(seed))
    memory = one.instrument.memory
    before = [dict(memory[number].values) for number in range(memory.size)]
    runs: list[Callable[[Cancel], object]] = [
        lambda cancel: identify(one.line, cancel=cancel),
        lambda cancel: capture(one.line, cancel=cancel),
        lambda cancel: capture(one.line, way="parameters", cancel=cancel),
        lambda cancel: capture_by_hand(one.line, enough=threading.Event(), cancel=cancel),
        lambda cancel: verify(one.line, held, cancel=cancel),
        lambda cancel: backup(one.line, cancel=cancel),
    ]
    _ended(one, runs[kind], moment)
    assert len(one.instrument.states) == 1
    assert [dict(memory[number].values) for number in range(memory.size)] == before


@settings(max_examples=50)
@given(
    which=_CHARTS, trouble=_TROUBLES, seed=st.integers(0, 999), moment=st.floats(0.0, 1.5),
    way=st.sampled_from([None, "controllers", "dump", "parameters"]),
)  # fmt: skip
def test_a_recall_that_is_ended_says_what_the_instrument_holds(
    which: str | int, trouble: tuple[Faults, Behaviour], seed: int, moment: float, way: str | None
) -> None:
    chart = _chart(which)
    one = world(chart, seed=seed, faults=trouble[0], behaviour=trouble[1], introduced=False)
    wanted = _version(chart, Random(seed))
    before = one.sound
    said = _ended(one, lambda cancel: recall(one.line, wanted, whole=True, way=way, cancel=cancel), moment)
    if said is None or trouble[1].refuse or "A dump was under way" in said:
        return  # it ended by itself, or says that nobody knows
    now = one.sound
    changed = {name for name in now if now[name] != before[name]}
    if "Nothing was sent" in said:
        assert not changed, said
    elif (counted := re.match(r"(\d+) of (\d+) parameters were sent", said)) is not None:
        arrived = [name for name in chart.sound_ids if now[name] == wanted.values[name]]
        assert len(changed) <= int(counted[1]) + ("One more" in said), said
        assert len(arrived) >= int(counted[1]), said
        assert all(now[name] in (before[name], wanted.values[name]) or "One more" in said for name in now), said
    else:
        assert said.startswith("Everything was sent"), said
        reached = [name for name in chart.sound_ids if now[name] == wanted.values[name]]
        assert reached, said


@settings(max_examples=50)
@given(which=_CHARTS, trouble=_TROUBLES, seed=st.integers(0, 999), moment=st.floats(0.0, 4.0))
def test_a_restore_that_is_ended_says_which_programs_are_new_old_or_unknown(
    which: str | int, trouble: tuple[Faults, Behaviour], seed: int, moment: float
) -> None:
    chart = _chart(which)
    one = world(chart, seed=seed, faults=trouble[0], behaviour=trouble[1], introduced=False)
    dice = Random(seed)
    memory = one.instrument.memory
    if chart.memory is None or not memory.size:
        return
    wanted = {number: _version(chart, dice) for number in dice.sample(range(memory.size), min(3, memory.size))}
    before = {number: dict(memory[number].values) for number in range(memory.size)}
    kept: dict[int, Version] = {}
    said = _ended(
        one,
        lambda cancel: restore(one.line, wanted, allow=lambda place: True, keep_before=kept.__setitem__, cancel=cancel),
        moment,
    )
    for number, version in kept.items():
        assert all(before[number][name] == value for name, value in version.values.items())
    if said is None or not said[0].isdigit():
        return
    new, unknown, old = _told(said, {chart.memory.shown(number): number for number in range(memory.size)}, set(wanted))
    assert new | unknown | old >= set(wanted), said
    carried = {number: version.values for number, version in kept.items()}
    for number in new:
        held = memory[number].values
        assert all(held[name] == wanted[number].values[name] for name in carried[number]), said
    untouched = set(before) - new - unknown
    if "whole memory was being written" not in said:
        for number in untouched:
            assert dict(memory[number].values) == before[number], said


def _told(said: str, numbers: dict[str, int], wanted: set[int]) -> tuple[set[int], set[int], set[int]]:
    """Programs new, not certain, as before, from the sentence that a person reads."""
    new: set[int] = set()
    unknown: set[int] = set()
    old: set[int] = set()
    for part in said.removesuffix(".").split("; "):
        if (
            counted := re.match(
                r"(\d+) of (\d+) programs (?:were written and )?read back equal"
                r"(?:, \d+ of them there already)?(?:: (.*))?",
                part,
            )
        ) is not None:
            new = _listed(counted[3], numbers) if counted[3] else (wanted if counted[1] == counted[2] else set())
            assert len(new) == int(counted[1]), said
        elif (found := re.match(r"(.*) (?:is|are) (not certain|as before)$", part)) is not None:
            (unknown if found[2] == "not certain" else old).update(_listed(found[1], numbers))
    return new, unknown, old


def _listed(text: str, numbers: dict[str, int]) -> set[int]:
    """“1, 4 to 6 and B2” as indices."""
    found: set[int] = set()
    for word in re.split(r", | and ", text):
        first, _, last = word.partition(" to ")
        found.update(range(numbers[first], numbers[last or first] + 1))
    return found


@pytest.mark.slow
@settings(max_examples=50)
@given(which=_CHARTS, seed=st.integers(0, 99), moment=st.floats(0.0, 20.0))
def test_a_bring_up_is_left_at_once_and_says_what_it_leaves(which: str | int, seed: int, moment: float) -> None:
    chart = _chart(which)
    one = world(chart, seed=seed)
    memory = one.instrument.memory
    before = [dict(memory[number].values) for number in range(memory.size)]
    said = _ended(one, lambda cancel: bring_up(one.line, write_memory=True, cancel=cancel), moment)
    changed = [number for number in range(memory.size) if dict(memory[number].values) != before[number]]
    if said is None:
        assert not changed
    elif changed:
        assert chart.memory is not None
        assert all(f"program {chart.memory.shown(number)}" in said for number in changed), said
    elif said == "Nothing was changed.":
        assert len(one.instrument.states) == 1
