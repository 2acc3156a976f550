"""Finding a port again. The names are in the shapes that the systems give (python-rtmidi 1.5.8); the words are ours."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.wire.ports import Port, match, normalise, numbered


@pytest.mark.parametrize(
    ("api", "name", "plain"),
    [
        ("alsa", "Lanternfish:Lanternfish MIDI 1 20:0", "lanternfish:lanternfish midi 1"),
        ("alsa", "Lanternfish:Lanternfish MIDI 1 128:12", "lanternfish:lanternfish midi 1"),
        ("jack", "Fogbell-01:midi", "fogbell:midi"),
        ("jack", "Fogbell:midi", "fogbell:midi"),
        ("jack", "a2j:Fogbell [20] (capture): Fogbell-02", "a2j:fogbell [20] (capture): fogbell"),
        ("winmm", "Fogbell 3", "fogbell"),
        ("winmm", "2- Fogbell 3", "fogbell"),
        ("winmm", "MIDIIN2 (Fogbell) 4", "fogbell (2)"),
        ("winmm", "MIDIOUT2 (2- Fogbell) 5", "fogbell (2)"),
        ("coremidi", "Fogbell  Port 10", "fogbell port 10"),
        ("coremidi", "Ｆｏｇｂｅｌｌ", "fogbell"),
        ("alsa", "Brücke 24:0", "brücke"),
        ("alsa", "Bru\u0308cke 25:0", "brücke"),
    ],
)
def test_normalise(api: str, name: str, plain: str) -> None:
    assert normalise(name, api) == plain


def test_equal_names_are_numbered_in_the_systems_order() -> None:
    ports = numbered("alsa", "out", ["Box:Box 20:0", "Other:Other 24:0", "Box:Box 28:0"])
    assert [(port.name, port.ordinal) for port in ports] == [
        ("Box:Box 20:0", 0),
        ("Other:Other 24:0", 0),
        ("Box:Box 28:0", 1),
    ]


def test_the_exact_name_wins() -> None:
    ports = numbered("alsa", "out", ["Box:Box 20:0", "Box:Box 28:0"])
    found = match("alsa:out:0:Box:Box 28:0", ports)
    assert (found.port, found.how) == (ports[1], "exact")


def test_after_replugging_name_and_number_decide() -> None:
    ports = numbered("alsa", "out", ["Box:Box 32:0", "Box:Box 36:0"])
    found = match("alsa:out:1:Box:Box 28:0", ports)
    assert (found.port, found.how) == (ports[1], "name and number")


def test_a_name_that_is_there_once_will_do() -> None:
    ports = numbered("alsa", "out", ["Box:Box 32:0"])
    found = match("alsa:out:1:Box:Box 28:0", ports)
    assert (found.port, found.how) == (ports[0], "name")


def test_two_that_could_be_meant_are_never_guessed_between() -> None:
    ports = numbered("alsa", "out", ["Box:Box 32:0", "Box:Box 36:0"])
    found = match("alsa:out:2:Box:Box 28:0", ports)
    assert (found.port, found.candidates, found.how) == (None, ports, "none")


def test_the_beginning_of_a_name_is_not_the_name() -> None:
    ports = numbered("coremidi", "out", ["Box Port 10"])
    assert match("coremidi:out:0:Box Port 1", ports).port is None


def test_direction_and_system_count() -> None:
    ports = numbered("alsa", "in", ["Box:Box 20:0"]) + numbered("jack", "out", ["Box:Box"])
    assert match("alsa:out:0:Box:Box 20:0", ports).candidates == ()


def test_midi_through_only_if_it_was_chosen() -> None:
    through = numbered("alsa", "out", ["Midi Through:Midi Through Port-0 14:0"])
    assert through[0].is_through
    assert match("alsa:out:0:Midi Through:Midi Through Port-0 15:0", through).candidates == ()
    assert match(through[0].fingerprint, through).port == through[0]


NAMES = st.lists(st.sampled_from(["Box:Box 20:0", "Box:Box 24:0", "Fog:Fog 28:0", "é:x 1:2", "a:b:c"]), max_size=6)


@given(NAMES)
def test_every_port_is_found_by_its_own_fingerprint_while_nothing_changes(names: list[str]) -> None:
    ports = numbered("alsa", "out", names)
    assert all(match(port.fingerprint, ports).port == port for port in ports)


@given(st.text(max_size=30), NAMES)
def test_nonsense_matches_nothing_and_raises_nothing(fingerprint: str, names: list[str]) -> None:
    ports = numbered("alsa", "out", names)
    assert match(fingerprint, ports).port in {None, *(p for p in ports if p.fingerprint == fingerprint)}


def test_a_port_is_a_value() -> None:
    assert Port("jack", "in", "a:b") == Port("jack", "in", "a:b", 0)
