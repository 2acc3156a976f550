"""A busy computer lists its ports late: a verb that names one looks a little longer, and says at last what is there."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from librarian.cli import connect
from librarian.errors import BadInput
from librarian.wire.ports import Port, numbered
from librarian.wire.process import SystemState

NO_ANSWER = SystemState((), False, "The MIDI port process ended unexpectedly.")
NO_SYSTEM = SystemState((), True, "No MIDI system found: no JACK server is running.")
EMPTY = SystemState(("jack",), True, "MIDI over JACK; outputs: 0, inputs: 0.")
(PIT,) = numbered("jack", "out", ["Pit"])


class Connections:
    """A computer that is found in these states, one after the other; each look at its ports is the next."""

    def __init__(self, *states: SystemState) -> None:
        self._states: Iterator[SystemState] = iter(states)
        self._now = EMPTY
        self.looks = 0

    def ports(self) -> tuple[Port, ...]:
        self.looks += 1
        self._now = next(self._states, self._now)
        return (PIT,) if self._now.apis and self._now is not EMPTY else ()

    def system(self) -> SystemState:
        return self._now


READY = SystemState(("jack",), True, "MIDI over JACK; outputs: 1, inputs: 0.")


@pytest.mark.parametrize(
    "states",
    [
        pytest.param([EMPTY, READY], id="listed late"),
        pytest.param([NO_SYSTEM, NO_SYSTEM, READY], id="the system answers at the second try"),
        pytest.param([NO_ANSWER, NO_SYSTEM, EMPTY, READY], id="the port process starts again"),
    ],
)
def test_a_port_that_comes_late_is_waited_for(states: list[SystemState]) -> None:
    there = Connections(*states)
    assert connect.wait_for_port(there, "pit", "out") == PIT  # type: ignore[arg-type]
    assert there.looks == len(states)


@pytest.mark.usefixtures("no_patience")
@pytest.mark.parametrize("state", [EMPTY, NO_SYSTEM, NO_ANSWER])
def test_what_is_there_instead_is_said(state: SystemState) -> None:
    with pytest.raises(BadInput, match="No MIDI output is called “pit”") as refused:
        connect.wait_for_port(Connections(state), "pit", "out")  # type: ignore[arg-type]
    assert refused.value.hint == state.sentence
