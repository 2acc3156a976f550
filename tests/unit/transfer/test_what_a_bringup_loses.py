"""What of its sound an instrument loses for good by a bring-up is said before anything is sent over it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.chart import Chart, load, loads, shipped
from librarian.collection import Library
from librarian.errors import Refused
from librarian.messages import Version
from librarian.standin import Behaviour
from librarian.transfer import Line
from librarian.transfer.before import before_bring_up
from librarian.transfer.bringup import bring_up
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable
from tests.defects import DEFECTS, planted
from tests.simulated import world

HALF_READ = """
id = "half"
name = "Half"
section = [{ id = "tone", label = "Tone" }]
parameter = [
  { id = "tone.pitch", label = "Pitch", section = "tone", range = [0, 127] },
  { id = "tone.wave", label = "Wave", section = "tone", range = [0, 127] },
  { id = "tone.hush", label = "Hush", section = "tone", range = [0, 127], bindings = [{ cc = 22 }] },
]
[[recall]]
way = "dump"
message = "put"
[[recall]]
way = "controllers"
[layout.told]
fields = ["tone.pitch"]
[layout.panel]
fields = ["tone.pitch", "tone.wave"]
[message.edit]
kind = "edit buffer"
request = "F0 7D 20 F7"
answer = "F0 7D 21 {sound} F7"
parts.sound = { is = "data", layout = "told" }
[message.put]
kind = "edit buffer"
write = "F0 7D 22 {sound} F7"
parts.sound = { is = "data", layout = "panel" }
"""
STORED = """
id = "stored"
name = "Stored"
section = [{ id = "tone", label = "Tone" }]
parameter = [{ id = "tone.pitch", label = "Pitch", section = "tone", range = [0, 127] }]
[identity]
manufacturer = "7D"
[layout.panel]
fields = ["tone.pitch"]
[memory]
programs = 8
[message.program]
kind = "program"
request = "F0 7D 10 {program} F7"
answer = "F0 7D 11 {program} {sound} F7"
parts.sound = { is = "data", layout = "panel" }
"""
CHOSEN_AFTER = """
[message.choose]
kind = "command"
write = "F0 7D 12 {program} F7"
[[recall]]
way = "dump"
message = "program"
into = "memory"
after = ["choose"]
"""


class Kept(Refused):
    """The person does not agree."""


def refusing(said: list[str]) -> Callable[[str], None]:
    def lose(what: str) -> None:
        said.append(what)
        raise Kept(what)

    return lose


@pytest.fixture(scope="module")
def lanternfish() -> Chart:
    return load(shipped()["lanternfish"])


def test_a_sound_whose_answers_cannot_be_used_is_said_to_be_lost_before_anything_is_sent(lanternfish: Chart) -> None:
    defect = next(one for one in DEFECTS if one.name == "dumps without F7")
    unit, far_end = planted(defect, lanternfish, 1)
    line = Line(EmbeddedCable(far_end, VirtualClock(100.0), name="bench"), lanternfish)
    before, said = dict(unit.sound), list[str]()
    with pytest.raises(Kept):
        bring_up(line, lose=refusing(said))
    assert dict(unit.sound) == before
    [what] = said
    assert what.startswith("The sound in Lanternfish cannot be read, so it cannot be put back after the test values: ")
    assert "was asked 8 times" in what
    agreed = list[str]()
    report = bring_up(line, lose=agreed.append)
    assert agreed == said
    assert report.of("failed")
    assert report.restored == "What was in it before could not be read, so it was not put back."


def test_what_a_written_dump_carries_and_no_answer_is_said_to_be_lost() -> None:
    one = world(loads(HALF_READ), seed=3)
    before, said = one.sound, list[str]()
    with pytest.raises(Kept):
        bring_up(one.line, lose=refusing(said))
    assert one.sound == before
    assert said == ["Wave of the sound in Half cannot be read, so nothing can put it back after the test values."]
    report = bring_up(one.line, lose=said.append)
    assert one.sound["tone.wave"] != before["tone.wave"]
    assert one.sound["tone.hush"] == before["tone.hush"], "its controller is not tried: nothing reads it back"
    assert said[0] in report.restored


def test_commands_around_a_store_may_replace_a_sound_that_cannot_be_read() -> None:
    said = list[str]()
    plain = world(loads(STORED), introduced=False)
    assert bring_up(plain.line, write_memory=True, lose=said.append).restored == "Its edit buffer was left as it is."
    one = world(loads(STORED + CHOSEN_AFTER), introduced=False)
    assert bring_up(one.line, lose=said.append).restored == "Its edit buffer was left as it is."
    assert said == []
    with pytest.raises(Kept):
        bring_up(one.line, write_memory=True, lose=refusing(said))
    [what] = said
    assert what.startswith("The sound in the edit buffer of Stored cannot be read, and the commands that its chart")
    assert bring_up(one.line, write_memory=True, lose=said.append).restored == what


def test_nothing_is_said_where_all_of_it_can_be_read(lanternfish: Chart) -> None:
    said = list[str]()
    assert bring_up(world(lanternfish).line, lose=said.append).of("failed") == ()
    assert said == []


def test_a_sound_of_a_firmware_that_the_chart_does_not_describe_is_kept_as_it_came(
    lanternfish: Chart, tmp_path: Path
) -> None:
    one = world(lanternfish, introduced=False, behaviour=Behaviour(revision=bytes((0, 0, 9, 0))))
    with Library.open(tmp_path / "patches.library") as library:
        library.add_instrument(lanternfish, "Lanternfish", lanternfish.default_address, "", "")
        given: list[Version] = []
        keep = before_bring_up(library, 1, lanternfish)
        bring_up(one.line, keep_before=lambda place, version: (given.append(version), keep(place, version)))
        keep("", given[0])
        (row,) = library.rows(library.find('tag:"before a bring-up"').ids)
        held = library.version(row.latest)
        assert (dict(held.values), held.received) == ({}, given[0].received)
        assert held.received
        one.turn("filter.cutoff", 1 if one.sound["filter.cutoff"] != 1 else 2)
        bring_up(one.line, keep_before=keep)
        assert library.total() == 2
