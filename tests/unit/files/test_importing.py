"""Imports: preview, keep, undo; sounds of dumps, banks and controllers; what was not understood."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

import pytest

from librarian.chart import Chart, load, shipped
from librarian.chart.dump.results import ProgramSource
from librarian.collection import Library
from librarian.errors import BadInput, Cancelled
from librarian.files import importing, rereading, syx
from librarian.files.naming import name_message
from librarian.files.targets import targets_of
from librarian.messages import Address


@cache
def chart(name: str) -> Chart:
    return load(shipped()[name])


def edit(name: str = "Harbour", device: int = 17, **values: int) -> bytes:
    lantern = chart("lanternfish")
    known = {**lantern.defaults(), **{key.replace("__", "."): value for key, value in values.items()}}
    return b"".join(lantern.codec.encode("edit", known, Address(2, device), name=name, form="answer"))


def bank() -> bytes:
    lantern = chart("lanternfish")
    programs = {
        number: ProgramSource({**lantern.defaults(), "filter.cutoff": number}, f"Program {number}")
        for number in range(64)
    }
    return b"".join(lantern.codec.encode_bank("bank", programs, lantern.default_address, form="answer"))


def controllers(**values: int) -> bytes:
    fog = chart("fogbell")
    known = {**fog.defaults(), **{key.replace("__", "."): value for key, value in values.items()}}
    bursts = fog.codec.controllers(known, fog.default_address, side="instrument")
    return b"".join(raw for burst in bursts for raw in burst.messages)


@pytest.fixture
def library(library_path: Path) -> Iterator[Library]:
    with Library.open(library_path) as opened:
        yield opened


def look(library: Library, data: bytes, name: str = "night.syx", charts: bool = True) -> importing.Preview:
    known = [chart("lanternfish"), chart("fogbell")] if charts else []
    return importing.preview(library, [syx.from_bytes(data, name)], targets_of(library, known))


def test_dump_bank_and_controllers_become_patches_and_the_rest_is_kept(library: Library) -> None:
    strange = bytes.fromhex("F07D5501F7")
    data = b"\x01\x02" + edit() + controllers(filter__cutoff=9) + strange + bank() + b"\xf0\x7d\x03"
    seen = look(library, data)
    assert (seen.count("new"), seen.count("same"), seen.count("not understood")) == (66, 0, 3)
    assert {each.name for each in seen.added} == {"Lanternfish", "Fogbell"}
    assert library.total() == 0, "a preview keeps nothing"

    done = importing.apply(library, seen, tags=["from disk"])
    assert (len(done.patches), len(done.unread)) == (66, 3)
    rows = library.rows(done.patches)
    assert rows[0].name == "Harbour"
    assert rows[0].tags == ("from disk",)
    first = library.version(rows[0].latest)
    assert first.received == (edit(),)
    assert dict(first.values) == chart("lanternfish").defaults()
    assert first.origin.kind == "imported"
    assert first.origin.detail == "night.syx at byte 2"
    pedal = library.version(rows[1].latest)
    assert (pedal.chart, pedal.values["filter.cutoff"], pedal.unknown) == ("fogbell", 9, frozenset())
    assert b"".join(pedal.received) == controllers(filter__cutoff=9)
    last = library.version(rows[-1].latest)
    assert (rows[-1].name, last.values["filter.cutoff"]) == ("Program 63", 63)
    assert last.unknown == frozenset(chart("lanternfish").setup_ids)
    assert last.origin.detail.endswith("program 64")
    one = chart("lanternfish").codec.recognise(last.received[0], chart("lanternfish").default_address)
    assert one is not None
    assert (one.message, one.slots["program"]) == ("program", 63)
    assert [row.messages for row in library.unread()] == [(b"\x01\x02",), (strange,), (b"\xf0\x7d\x03",)]
    assert library.undo() == "Import “night.syx”"
    assert (library.total(), library.unread(), library.instruments()) == (0, (), ())


def test_a_second_import_finds_everything_there(library: Library) -> None:
    data = edit() + bank() + controllers() + b"\xf0\x55\xf7"
    importing.apply(library, look(library, data))
    library.rename(1, "Another name now")
    again = look(library, data, "copy.syx")
    assert (again.count("new"), again.count("changed"), again.count("same")) == (0, 0, 66)
    before = library.undo_label()
    done = importing.apply(library, again)
    assert (done.same, len(done.unread), library.undo_label()) == (66, 0, before)


def test_the_same_sound_twice_in_one_file_is_kept_once(library: Library) -> None:
    seen = look(library, edit() + edit())
    assert [each.status for each in seen.sounds] == ["new", "same"]


@pytest.mark.parametrize("what", ["version", "new", "skip"])
def test_a_changed_sound(library: Library, what: importing.OnChanged) -> None:
    importing.apply(library, look(library, edit()))
    changed = edit(filter__cutoff=3)
    seen = look(library, changed)
    assert [(each.status, each.patch) for each in seen.sounds] == [("changed", 1)]
    importing.apply(library, seen, changed=what)
    assert library.total() == (2 if what == "new" else 1)
    assert len(library.versions(1)) == (2 if what == "version" else 1)
    assert library.version(library.versions(1)[0].id).received == (edit(),)


def test_two_sounds_of_one_name_never_become_versions_of_a_patch(library: Library) -> None:
    importing.apply(library, look(library, edit()))
    seen = look(library, edit(filter__cutoff=3) + edit(filter__cutoff=4))
    assert [each.status for each in seen.sounds] == ["new", "new"]


def test_the_library_changed_between_preview_and_import(library: Library) -> None:
    first, second = look(library, edit()), look(library, edit())
    importing.apply(library, first)
    done = importing.apply(library, second)
    assert (len(done.patches), done.same, library.total(), len(library.instruments())) == (0, 1, 1, 1)


def test_another_device_id_is_the_same_instrument_unless_one_has_it(library: Library) -> None:
    lantern = chart("lanternfish")
    library.add_instrument(lantern, "Left", Address(2, 17))
    library.add_instrument(lantern, "Right", Address(2, 18))
    seen = look(library, edit("A", 18) + edit("B", 17) + edit("C", 5))
    assert [each.instrument for each in seen.sounds] == ["Right", "Left", "Left"]


def test_a_damaged_dump_is_kept_with_the_reason(library: Library) -> None:
    damaged = bytearray(edit())
    damaged[20] ^= 1
    seen = look(library, bytes(damaged))
    assert not seen.sounds
    assert "checksum" in seen.left[0].found.reason.lower()


def test_few_controllers_are_no_sound(library: Library) -> None:
    seen = look(library, bytes.fromhex("B41440"))
    assert not seen.sounds
    assert "1 of 22 parameters" in seen.left[0].found.reason


def test_cancel_keeps_nothing(library: Library) -> None:
    seen = look(library, bank())

    class Now:
        def check(self, state: str = "") -> None:
            raise Cancelled(state)

    with pytest.raises(Cancelled, match="Nothing was kept"):
        importing.apply(library, seen, cancel=Now())
    assert (library.total(), library.instruments(), library.undo_label()) == (0, (), None)
    told: list[object] = []
    importing.apply(library, seen, progress=told.append)
    assert told


def test_what_was_not_understood_is_read_again_when_its_chart_comes(library: Library) -> None:
    strange = bytes.fromhex("F05501F7")
    data = strange + bank() + edit() + strange
    importing.apply(library, look(library, data, charts=False))
    assert library.total() == 0
    again = rereading.preview(library, targets_of(library, [chart("lanternfish")]))
    assert again.preview.count("new") == 65
    rereading.apply(library, again)
    assert library.total() == 65
    assert [row.messages for row in library.unread()] == [(strange,)], "the same bytes are kept once"
    assert library.version(library.patch(65).latest).origin.detail.startswith("night.syx at byte")
    library.undo()
    assert library.total() == 0
    assert sum(len(row.messages) for row in library.unread()) == 3


def test_sounds_among_very_much_that_is_no_midi(library: Library) -> None:
    luck = Random(5)
    damaged = bytearray(edit("Torn"))
    damaged[-2] ^= 1
    hidden = [edit("Reef"), controllers(filter__cutoff=9), bytes(damaged), edit("Shoal")]
    data = b"".join(luck.randbytes(100_000) + each for each in hidden) + luck.randbytes(1000)
    seen = look(library, data)
    assert [each.name for each in seen.sounds if each.name in ("Reef", "Shoal")] == ["Reef", "Shoal"]
    assert "Fogbell" in {each.instrument for each in seen.sounds}
    assert any("checksum" in each.found.reason for each in seen.left), "a dump of a chart keeps its own reason"
    assert len(seen.left) < 3000, "nobody reads a list of a million"
    assert seen.left[-1].found.reason.endswith("they are too many to name each.")
    assert sum(len(raw) for each in seen.left for raw in each.found.messages) > 380_000, "every message is kept"


def test_sounds_that_no_chart_knew_are_found_again_in_much_that_was_kept(library: Library) -> None:
    luck = Random(6)
    data = luck.randbytes(200_000) + edit("Reef") + luck.randbytes(2000) + edit("Shoal")
    importing.apply(library, look(library, data, charts=False))
    assert name_message(library.unread()[-1].messages[0], []).text == "bytes and messages of all kinds"
    again = rereading.preview(library, targets_of(library, [chart("lanternfish")]))
    done = rereading.apply(library, again)
    assert [row.name for row in library.rows(done.patches)] == ["Reef", "Shoal"]
    assert library.version(library.rows(done.patches)[0].latest).received == (edit("Reef"),)


def test_a_file_without_any_message(library: Library) -> None:
    with pytest.raises(BadInput, match="no MIDI message"):
        look(library, b"")
