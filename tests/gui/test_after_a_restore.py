"""After a restore that broke off or went wrong the window says where what was there before is kept, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from librarian.collection.memories import Memories
from librarian.messages import Values, Version
from librarian.transfer import Restored, same_sound
from librarian.transfer.restore import Account
from librarian.window.memory.after import Written
from tests.gui.test_memory_and_bringup import SMALL, backed_up, the_small_fish
from tests.gui.whole_window import Desk

AfterKeeping = Callable[[int, Callable[[], object]], None]


@pytest.fixture
def after_keeping(monkeypatch: pytest.MonkeyPatch) -> AfterKeeping:
    """Have something happen once, on the line's thread, when so many programs that a restore replaces are kept."""

    def plan(count: int, happen: Callable[[], object]) -> None:
        plain, kept = Memories.keep, []

        def keep(memories: Memories, backup, number: int, version: Version) -> None:
            plain(memories, backup, number, version)
            kept.extend([number] if backup.kind == "before" else [])
            if len(kept) == count and number == kept[-1]:
                happen()

        monkeypatch.setattr(Memories, "keep", keep)

    return plan


@pytest.fixture
def fish(desk: Desk) -> Desk:
    """A memory of six programs, shown and backed up."""
    the_small_fish(desk)
    desk.window.drawers.memory.show()
    backed_up(desk)
    return desk


def line_of(desk: Desk):
    made = desk.window.desk.instruments.line(desk.ids[SMALL])
    assert made is not None
    return made


def noticed(desk: Desk) -> str:
    """What is said at the foot of the drawer."""
    return desk.window.areas.drawers.notice.sentence.said


def write(desk: Desk, *numbers: int) -> dict[int, Version]:
    """Ask for program 6 to be written to these places, and agree; returns what was there."""
    memory, window = desk.window.drawers.memory, desk.window
    first = dict(memory.programs.found)
    memory.ask_to_write(dict.fromkeys(numbers, first[5]), "“another”")
    desk.wait_for(window.areas.band.isVisible)
    window.areas.band.buttons["memory_replace"].click()
    return first


def kept_before(desk: Desk):
    """The one backup of what was there, and what it holds."""
    [before] = [one for one in Memories(desk.library).all() if one.kind == "before"]
    return before, Memories(desk.library).programs(before)


def named(desk: Desk, words: str) -> None:
    """These words name the backup of what was there, and how it gets back; that is in the choice of the drawer."""
    before, _programs = kept_before(desk)
    assert f"What was there before is kept as “{before.name}”; choose it in Memory and write it back." in words
    desk.wait_for(lambda: before.key in {one.key for one in desk.window.drawers.memory.backups})


def lost(desk: Desk) -> None:
    desk.pull_cable(desk.ids[SMALL])


def silent(desk: Desk) -> None:
    """It is switched off: the cable is whole, and nothing comes."""
    line_of(desk).cable._far_end.feed = lambda _data, _now: None


@pytest.mark.parametrize(("trouble", "cause"), [(lost, "is gone"), (silent, "nothing came")])
def test_a_restore_that_broke_off_says_where_what_was_there_is_kept(
    fish: Desk, after_keeping: AfterKeeping, trouble: Callable[[Desk], None], cause: str
) -> None:
    after_keeping(2, lambda: trouble(fish))
    first = write(fish, 0, 1, 2)
    fish.wait_for(lambda: "Writing “another” into the memory was broken off." in noticed(fish), noticed(fish))
    assert cause in noticed(fish)
    assert "1 of 3 programs were written and read back equal: 1" in noticed(fish)
    assert "2 is not certain" in noticed(fish) or "2 and 3 are as before" in noticed(fish)
    named(fish, noticed(fish))
    _before, held = kept_before(fish)
    assert all(same_sound(held[number], first[number]) for number in (0, 1))
    assert set(held) == {0, 1}


def test_a_restore_that_was_cancelled_says_it_as_well(fish: Desk, after_keeping: AfterKeeping) -> None:
    after_keeping(2, lambda: fish.window.desk.instruments.cancel(fish.ids[SMALL]))
    write(fish, 0, 1, 2)
    fish.wait_for(lambda: "Writing “another” into the memory was cancelled." in fish.sentence)
    assert "1 of 3 programs were written and read back equal: 1" in fish.sentence
    named(fish, fish.sentence)


def test_one_that_broke_off_before_anything_was_read_names_no_backup(fish: Desk) -> None:
    memory, window = fish.window.drawers.memory, fish.window
    memory.ask_to_write({0: memory.programs.found[5]}, "“another”")
    fish.wait_for(window.areas.band.isVisible)
    silent(fish)
    window.areas.band.buttons["memory_replace"].click()
    fish.wait_for(lambda: "Writing “another” into the memory was broken off." in noticed(fish), noticed(fish))
    assert "kept as" not in noticed(fish)
    assert not [one for one in Memories(fish.library).all() if one.kind == "before"]


def test_a_program_that_was_not_meant_is_shown_with_its_reason_and_what_to_do(fish: Desk) -> None:
    memory, line = fish.window.drawers.memory, line_of(fish)
    found = memory.programs.found
    codec = line.chart.codec
    name = next(name for name, info in codec.messages.items() if info.kind == "program")
    high = Values({name: line.chart.parameters[name].high for name in found[5].values})  # like nothing that is there
    new = replace(found[5], values=high, name="New", received=())

    def one(number: int, base: tuple[bytes, ...] = ()) -> bytes:
        return codec.encode(name, new.values, line.address, base=base or None, form="write", name=new.name,
                            program=number)[0]

    to_2, to_4 = one(1), one(3)
    place = next(at for at, pair in enumerate(zip(to_2, to_4, strict=True)) if pair[0] != pair[1])
    plain, coming = line.cable._far_end.feed, bytearray()

    def feed(data: bytes, now: float) -> None:
        """Whatever is written to program 2 goes to program 4: its number is damaged, and its checksum too."""
        for byte in data:
            coming.append(byte)
            if byte == 0xF7:
                raw = bytes(coming)
                coming.clear()
                astray = len(raw) == len(to_2) and raw[: place + 1] == to_2[: place + 1]
                plain(one(3, (raw,)) if astray else raw, now)

    line.cable._far_end.feed = feed
    # The drawer shows a backup that has nothing of program 4.
    partial = Memories(fish.library).begin(fish.library.instrument(fish.ids[SMALL]), line.chart, "One", [1])
    Memories(fish.library).keep(partial, 1, found[5])
    Memories(fish.library).end(partial, {})
    memory.sheet.backups.chosen.emit(partial.key)
    fish.wait_for(lambda: memory.programs.backup.key == partial.key)
    memory.ask_to_write({1: new}, "“another”")
    fish.wait_for(fish.window.areas.band.isVisible)
    fish.window.areas.band.buttons["memory_replace"].click()
    fish.wait_for(lambda: "Written into Lanternfish’s memory" in fish.sentence)
    assert fish.window.areas.chain.state.plate.text == "0 of 1 read back equal"
    assert "4 is not certain" in fish.sentence
    named(fish, fish.sentence)
    assert "Memory tells of other programs." in fish.sentence
    fish.wait_for(lambda: len(fish.lines(memory.sheet)) == 2)
    rows = {line.first.split()[0]: line for line in fish.lines(memory.sheet)}
    assert rows["4"].says == "not certain"
    assert rows["4"].second == "it holds what was sent to 2: it did so before, or a number was damaged on the way"
    assert rows["4"].trouble
    assert memory.sheet.list.current == list(rows).index("4"), "it is in view"
    why = "it holds what was sent to 2: it did so before, or a number was damaged on the way"
    assert f"4: {why}." in memory.sheet.saying.said
    named(fish, memory.sheet.saying.said)
    assert "see what changed since an earlier backup, and write those programs back" in memory.sheet.saying.said

    # As it proposes: what changed is seen in a new backup, and put back from the earlier one.
    line.cable._far_end.feed = plain
    old = next(one for one in memory.backups if one.complete and len(one.wanted) == 6)
    backed_up(fish)
    memory.sheet.backups.chosen.emit(old.key)
    fish.wait_for(lambda: memory.programs.backup.key == old.key)
    memory.sheet.list.select_row(3)
    memory.do("restore")
    fish.wait_for(fish.window.areas.band.isVisible)
    assert fish.window.areas.band.first.said == "Replace program 4 in Lanternfish’s memory?"
    fish.window.areas.band.buttons["memory_replace"].click()
    fish.wait_for(lambda: "1 of 1 programs were written and read back equal" in fish.sentence)
    held = fish.stand_in(SMALL).memory[3].values
    assert {name: held[name] for name in found[3].values} == dict(found[3].values)


def written(account: Account) -> Written:
    result = Restored(tuple(account.new), account.old, account.unknown, {}, 0, 0, 0, 0.0, account.sentence())
    return Written(result, frozenset(account.wanted), "Before it")


def test_what_may_have_gone_elsewhere_is_never_called_good() -> None:
    account = Account([1, 2], str)
    account.arrived(1)
    account.arrived(2)
    assert written(account).good
    kept = "What was there before is kept as “Before it”; choose it in Memory and write it back."
    assert written(account).next == kept
    account.unread = 3
    assert not written(account).good
    assert "back the memory up" in written(account).next
    account.unread = 0
    account.stayed(2, "it did not take the new sound")
    assert "back the memory up" not in written(account).next
    account.may_be_anywhere(2)
    assert "back the memory up" in written(account).next
    assert written(account).count == "1 of 2 read back equal"


def test_many_reasons_are_told_by_the_rows() -> None:
    account = Account([1], str)
    account.arrived(1)
    for number in range(10, 16):
        account.doubt(number, f"reason {number}")
    said = written(account).reasons([str(number) for number in written(account).doubtful])
    assert said == "10: reason 10. 11: reason 11. 12: reason 12. 13: reason 13. The rows tell why 2 more are not."
