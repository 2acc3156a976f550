"""Two equal units: same model, same names of ports. Neither is ever taken for the other."""

from __future__ import annotations

import threading
from pathlib import Path
from types import SimpleNamespace

import pytest

from librarian.chart import Chart
from librarian.collection import InstrumentRow, Library
from librarian.messages import Address, Values, Version
from librarian.transfer import WrongInstrument, capture, capture_by_hand, identify, recall, verify
from librarian.transfer.bringup import bring_up
from librarian.transfer.connections import Connections, NoSuchPort
from librarian.wire.cable import Cable, CableLost
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable
from librarian.wire.ports import Port, alike, numbered
from tests.simulated import world


class Plugged:
    """In the place of the port process: what is plugged in now, and what was opened."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self.opened: list[tuple[str, str]] = []

    def ports(self, wait_s: float = 0.0) -> tuple[Port, ...]:
        """Both directions of every name."""
        return (*numbered("alsa", "out", self.names), *numbered("alsa", "in", self.names))

    def system(self) -> SimpleNamespace:
        """A system is there."""
        return SimpleNamespace(apis=("alsa",), sentence="")

    def open(self, output: Port, source: Port) -> Cable:
        """A cable to nobody, under the name of its port."""
        self.opened.append((output.name, source.name))
        return EmbeddedCable(world(_chart_of[0]).instrument, VirtualClock(100.0), name=output.name)


_chart_of: list[Chart] = []


@pytest.fixture
def plugged(fogbell: Chart, monkeypatch: pytest.MonkeyPatch) -> Plugged:
    _chart_of[:] = [fogbell]
    one = Plugged()
    monkeypatch.setattr(Connections, "_ports_process", lambda self: one)
    return one


def _units(library: Library, chart: Chart, plugged: Plugged) -> tuple[InstrumentRow, InstrumentRow]:
    plugged.names = ["Fogbell:Fogbell MIDI 1 20:0", "Fogbell:Fogbell MIDI 1 24:0"]
    outputs, inputs = plugged.ports()[:2], plugged.ports()[2:]
    for name, output, source in zip(("Left", "Right"), outputs, inputs, strict=True):
        library.add_instrument(chart, name, chart.default_address, output.fingerprint, source.fingerprint)
    left, right = library.instruments()
    return left, right


def test_both_are_found_by_their_own_ports(fogbell: Chart, plugged: Plugged, library_path: Path) -> None:
    with Library.open(library_path) as library, Connections() as connections:
        left, right = _units(library, fogbell, plugged)
        for row, port in ((right, "24:0"), (left, "20:0")):
            line = connections.open(row, fogbell, others=library.instruments())
            assert line.port.endswith(port)
        plugged.names.reverse()  # the system lists them the other way round
        assert connections.open(left, fogbell, others=library.instruments()).port.endswith("20:0")


@pytest.mark.parametrize("there", [["24:0"], ["28:0"], ["28:0", "32:0"]])
def test_what_may_be_the_other_one_is_not_opened(
    fogbell: Chart, plugged: Plugged, library_path: Path, there: list[str]
) -> None:
    with Library.open(library_path) as library, Connections() as connections:
        left, _ = _units(library, fogbell, plugged)
        plugged.names = [f"Fogbell:Fogbell MIDI 1 {place}" for place in there]
        with pytest.raises(NoSuchPort, match="may be that of Right") as told:
            connections.open(left, fogbell, others=library.instruments())
        assert "choose its ports anew" in told.value.hint
        assert plugged.opened == []


def test_one_alone_is_found_again_under_another_number(fogbell: Chart, plugged: Plugged, library_path: Path) -> None:
    with Library.open(library_path) as library, Connections() as connections:
        left, right = _units(library, fogbell, plugged)
        library.update_instrument(right.id, output="alsa:out:0:Other 1:0", input="alsa:in:0:Other 1:0")
        plugged.names = ["Fogbell:Fogbell MIDI 1 28:0"]
        assert connections.open(left, fogbell, others=library.instruments()).port.endswith("28:0")


def test_two_equal_units_with_equal_dumps_are_held_apart_and_a_held_conversation_ends(fogbell: Chart) -> None:
    left = world(fogbell, seed=4, port="Left port")
    right = world(fogbell, seed=4, port="Right port")
    same = capture(left.line).version
    assert same.values == capture(right.line).version.values
    parameter = fogbell.sound_ids[0]
    one = fogbell.parameters[parameter]
    other = one.low if same.values[parameter] != one.low else one.high
    new = Version(fogbell.id, fogbell.revision, same.values.with_values({parameter: other}))
    left.bad.at(left.clock.now() + 0.05, lambda now: left.cable.lose("The port Left port has gone."))
    with pytest.raises(CableLost, match=r"Left port has gone\. .*(Nothing was sent|were sent|was sent)"):
        recall(left.line, new, whole=True)
    assert right.sound == dict(same.values)
    assert recall(right.line, new).state == "arrived"
    assert right.sound[parameter] == other


def test_a_unit_that_got_the_ports_of_the_other_is_known_by_its_device_id(
    fogbell: Chart, plugged: Plugged, library_path: Path
) -> None:
    with Library.open(library_path) as library, Connections() as connections:
        left, right = _units(library, fogbell, plugged)
        line = connections.open(left, fogbell, others=library.instruments())
        assert line.twins == {}, "nothing tells them apart yet"
        library.note_instrument(right.id, address=Address(left.address.channel, 9))
        line = connections.open(left, fogbell, others=library.instruments())
        assert line.twins == {9: "Right"}
        noted = library.instrument(right.id)
        assert connections.open(noted, fogbell, others=library.instruments()).twins == {left.address.device: "Left"}
        library.update_instrument(right.id, output="alsa:out:0:Other 1:0", input="alsa:in:0:Other 1:0")
        assert connections.open(left, fogbell, others=library.instruments()).twins == {}


@pytest.mark.parametrize("asked", [True, False])
def test_nothing_is_read_from_or_sent_to_the_other_one(fogbell: Chart, asked: bool) -> None:
    other = world(fogbell, address=Address(fogbell.default_address.channel, 9), introduced=False)
    other.line.address = fogbell.default_address
    other.line.name = "Left"
    other.line.twins = {9: "Right"}
    if asked:
        found = identify(other.line)
        assert found.fits == "other instrument"
        assert found.sentence.startswith("Right (device ID 9) answered on ")
        assert other.line.address == fogbell.default_address, "it is not taken for the address of Left"
    sound = Version(fogbell.id, fogbell.revision, Values({fogbell.sound_ids[0]: 1}))
    for held in (
        lambda: capture(other.line),
        lambda: recall(other.line, sound),
        lambda: verify(other.line, sound),
        lambda: bring_up(other.line),
    ):
        other.line.introduced = asked
        with pytest.raises(WrongInstrument, match=r"Right \(device ID 9\) answered"):
            held()
    with pytest.raises(WrongInstrument):
        capture_by_hand(other.line, enough=Ended())
    assert len(other.instrument.states) == 1
    other.line.twins = {}
    assert identify(other.line).fits == "fits", "a device ID that no other unit has may have been changed at the unit"


class Ended(threading.Event):
    """Somebody who wants to hear nothing."""

    def is_set(self) -> bool:
        """At once."""
        return True


def test_alike_means_but_for_numbers() -> None:
    assert alike("alsa:out:0:Fogbell:Fogbell MIDI 1 20:0", "alsa:out:1:Fogbell:Fogbell MIDI 1 24:0")
    assert alike("jack:out:0:dup:midi", "jack:out:1:dup-01:midi")
    assert not alike("alsa:out:0:Fogbell 20:0", "alsa:in:0:Fogbell 20:0")
    assert not alike("alsa:out:0:Fogbell 20:0", "jack:out:0:Fogbell 20:0")
    assert not alike("", "alsa:out:0:Fogbell 20:0")
