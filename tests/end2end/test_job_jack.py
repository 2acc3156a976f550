"""The whole job over python-rtmidi and JACK: both instruments are processes of their own, on real ports."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.messages import Values, Version
from librarian.transfer import Line, NoReply, capture, capture_by_hand, identify, listen, recall, verify
from librarian.wire.process import PortProcess
from tests.jackd import JackServer
from tests.onejob import connect, do_the_job, elsewhere
from tests.standins import StandInProcess

pytestmark = pytest.mark.jack

Start = Callable[..., StandInProcess]


@pytest.fixture
def ports(jack_server: object) -> Iterator[PortProcess]:
    with PortProcess() as process:
        yield process


def chart_of(name: str) -> Chart:
    return load(shipped()[name])


@pytest.mark.parametrize(("chart_id", "known", "equal"), [("lanternfish", 52, 50), ("fogbell", 22, 22)])
def test_the_whole_job(
    chart_id: str, known: int, equal: int, ports: PortProcess, standin: Start, library_path: Path
) -> None:
    chart = chart_of(chart_id)
    stand_in = standin(chart_id, f"Pit {chart_id}")
    cable = connect(ports, f"Pit {chart_id}")
    with Library.open(library_path) as library:
        done = do_the_job(stand_in, cable, chart, library, chart.name)
    assert done.identified.fits == "fits"
    assert done.first.known == done.first.of == known
    assert dict(done.first.version.values) == done.sound_before
    assert done.found == (f"{chart.name}, harbour before the storm",)
    # Exactly the three that were turned, in display units.
    assert {row.parameter: (row.a, row.b) for row in done.comparison.different} == done.turned
    for row in done.comparison.different:
        parameter = chart.parameters[row.parameter]
        assert (row.text_a, row.text_b) == tuple(parameter.display(value) for value in done.turned[row.parameter])
        assert row.text_difference
    assert done.recalled.state == "arrived"
    assert done.recalled.sentence == f"{equal} of {equal} sound parameters read back equal"
    assert done.recalled.before is not None
    assert done.recalled.before.values == done.second.version.values
    # By the other road: what the instrument really holds.
    assert done.sound_after == done.sound_before


def test_a_recall_by_whole_dump_and_the_pots_stay_where_they_are(ports: PortProcess, standin: Start) -> None:
    chart = chart_of("lanternfish")
    stand_in = standin("lanternfish", "Pit dump", "--seed", "7")
    line = Line(connect(ports, "Pit dump"), chart)
    held = capture(line).version
    before = stand_in.state()
    other = {name: elsewhere(chart, name, held.values[name]) for name in chart.sound_ids}
    result = recall(line, Version(chart.id, chart.revision, Values(other), frozenset(chart.setup_ids)), whole=True)
    assert result.sentence == "50 of 50 sound parameters read back equal"
    after = stand_in.state()
    assert {name: after["sound"][name] for name in chart.sound_ids} == other
    assert {name: after["sound"][name] for name in chart.setup_ids} == {
        name: before["sound"][name] for name in chart.setup_ids
    }
    assert after["panel"] == before["panel"]
    assert recall(line, held).state == "arrived", "undone"
    assert stand_in.state()["sound"] == before["sound"]


def test_two_instruments_at_once_and_by_hand(ports: PortProcess, standin: Start) -> None:
    chart = chart_of("fogbell")
    first, second = standin("fogbell", "Pit one"), standin("fogbell", "Pit two", "--seed", "2")
    one, two = Line(connect(ports, "Pit one"), chart), Line(connect(ports, "Pit two"), chart)
    assert dict(capture(one).version.values) == first.state()["sound"]
    assert dict(capture(two).version.values) == second.state()["sound"]
    turned = second.turn("filter.cutoff", elsewhere(chart, "filter.cutoff", second.state()["sound"]["filter.cutoff"]))
    assert [(each.parameter, each.value) for each in listen(two, 2.0)] == [("filter.cutoff", turned["value"])]
    assert listen(one, 0.1) == ()
    for name in chart.parameters:
        first.turn(name, elsewhere(chart, name, first.state()["panel"][name]))
    # They were turned before anybody listened: the port kept what came.
    heard = capture_by_hand(one)
    assert heard.known == 22
    assert dict(heard.version.values) == first.state()["sound"]


def test_a_small_deaf_instrument_and_one_in_thru(ports: PortProcess, standin: Start) -> None:
    chart = chart_of("lanternfish")
    small = standin("lanternfish", "Pit small", "--behave", "deaf_until_answered=yes", "--behave", "input_buffer=0",
                    "--behave", "answer_delay_s=0.1")  # fmt: skip
    line = Line(connect(ports, "Pit small"), chart)
    held = capture(line).version
    small.turn("filter.cutoff", elsewhere(chart, "filter.cutoff", held.values["filter.cutoff"]))
    assert recall(line, held).state == "arrived"
    assert small.state()["overflowed"] == 0
    thru = standin("lanternfish", "Pit thru", "--behave", "thru=yes")
    line = Line(connect(ports, "Pit thru"), chart)
    assert identify(line).thru
    held = capture(line).version
    thru.turn("filter.cutoff", elsewhere(chart, "filter.cutoff", held.values["filter.cutoff"]))
    assert recall(line, held).state == "arrived"
    assert verify(line, held).state == "arrived"


def test_an_instrument_that_goes_silent_gets_nothing_more(ports: PortProcess, standin: Start) -> None:
    chart = chart_of("lanternfish")
    stand_in = standin("lanternfish", "Pit silent")
    line = Line(connect(ports, "Pit silent"), chart)
    held = capture(line).version
    stand_in.ask("behave refuse silence")
    with pytest.raises(NoReply, match="does not answer"):
        recall(line, held)


def test_a_stand_in_outlives_its_server_and_keeps_its_sound(own_jack_server: JackServer) -> None:
    chart = chart_of("fogbell")
    with StandInProcess(shipped()["fogbell"], "Pit outlives") as instrument:
        parameter = chart.sound_ids[0]
        instrument.turn(parameter, elsewhere(chart, parameter, instrument.state()["sound"][parameter]))
        sound = instrument.state()["sound"]
        own_jack_server.kill()
        assert instrument.state()["sound"] == sound  # also while there is no server
        own_jack_server.start()
        with PortProcess() as ports:
            line = Line(connect(ports, "Pit outlives"), chart)
            assert dict(capture(line).version.values) == sound
            line.cable.close()
