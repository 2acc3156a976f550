"""Memories: read whole, resumed, compared, written only after reading and asking, and accounted for to the program."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from random import Random

import pytest

from librarian.chart import Chart, load, loads
from librarian.errors import Cancelled, Refused
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import Cancel, Replace, backup, capture, restore, written_as_a_whole
from librarian.wire.cable import CableLost
from tests.simulated import World, world

_DATA = Path(__file__).parents[2] / "data" / "instruments"


@pytest.fixture(scope="module")
def saltmarsh() -> Chart:
    return load(_DATA / "saltmarsh.toml")


@pytest.fixture(scope="module")
def kelpline() -> Chart:
    return load(_DATA / "kelpline.toml")


def stored(one: World, number: int, version: Version) -> bool:
    """True when the instrument itself holds this version as program `number`."""
    held = one.instrument.memory[number].values
    return all(held[name] == value for name, value in version.values.items())


def always(question: Replace) -> bool:
    return True


def nothing(number: int, version: Version) -> None:
    """Keeps nothing."""


def test_a_whole_memory_is_read_and_named(lanternfish: Chart, saltmarsh: Chart, kelpline: Chart) -> None:
    for chart in (lanternfish, saltmarsh, kelpline):
        one = world(chart, behaviour=Behaviour(deaf_until_answered=True, input_buffer=0))
        kept: dict[int, Version] = {}
        result = backup(one.line, keep=kept.__setitem__)
        assert chart.memory is not None
        assert set(result.programs) == set(range(chart.memory.size))
        assert all(stored(one, number, version) for number, version in result.programs.items())
        assert result.programs[3].name.rstrip() == "Program 4"
        assert kept == result.programs
        assert result.failed == {}
        assert result.sentence == f"{chart.memory.size} of {chart.memory.size} programs read from {chart.name}"


def test_an_interrupted_backup_goes_on_where_it_was(saltmarsh: Chart) -> None:
    one = world(saltmarsh)
    kept: dict[int, Version] = {}
    cancel = Cancel()
    one.bad.at(100.8, lambda now: cancel.set())
    with pytest.raises(Cancelled) as ended:
        backup(one.line, keep=kept.__setitem__, cancel=cancel)
    assert 0 < len(kept) < 32
    assert ended.value.state == f"{len(kept)} of 32 programs were read and kept."
    asked = one.cable.counts().bytes_out
    rest = backup(one.line, done=kept)
    assert set(rest.programs) == set(range(32))
    # Three requests of 6 bytes for each program that was still missing; one more was cut off.
    assert one.cable.counts().bytes_out - asked == (32 - len(kept)) * 18


def test_a_backup_is_compared_with_an_earlier_one(kelpline: Chart) -> None:
    one = world(kelpline)
    earlier = backup(one.line).programs
    one.instrument.memory[5].values["stem.height"] ^= 1
    one.instrument.memory[9].name = "Changed"
    again = backup(one.line, earlier=earlier)
    assert again.changed == (5, 9)


def test_a_program_is_replaced_after_reading_and_asking(lanternfish: Chart, saltmarsh: Chart, kelpline: Chart) -> None:
    for chart in (lanternfish, saltmarsh, kelpline):
        one = world(chart)
        programs = backup(one.line, programs=[1, 2]).programs
        asked: list[Replace] = []
        kept: dict[int, Version] = {}

        def allow(question: Replace, asked: list[Replace] = asked, kept: dict[int, Version] = kept) -> bool:
            assert question.number in kept, "kept before the person is asked"
            asked.append(question)
            return True

        result = restore(one.line, {7: programs[1]}, allow=allow, keep_before=kept.__setitem__)
        assert result.new == (7,)
        assert stored(one, 7, programs[1])
        assert [question.there.name.rstrip() for question in asked] == ["Program 8"]
        assert result.sentence == "1 of 1 programs were written and read back equal"
        back = restore(one.line, dict(result.before), allow=always, keep_before=nothing)
        assert back.new == (7,)
        assert stored(one, 7, kept[7])


def test_a_captured_sound_is_stored_without_the_setup_and_with_its_name(lanternfish: Chart) -> None:
    one = world(lanternfish, name="Harbour", values={"voice.transpose": 5})
    held = capture(one.line).version
    result = restore(one.line, {63: held}, allow=always, keep_before=nothing)
    assert result.new == (63,)
    assert all(one.instrument.memory[63].values[name] == one.sound[name] for name in lanternfish.sound_ids)
    assert one.instrument.memory[63].name.rstrip() == "Harbour"
    again = restore(one.line, {63: held}, allow=lambda question: False, keep_before=nothing)
    assert again.new == (63,), "it is there already"


def _only_as_a_whole() -> Chart:
    text = (_DATA / "saltmarsh.toml").read_text(encoding="utf-8")
    start = text.index('[[recall]]\nway = "dump"\nmessage = "program"')
    text = text[:start] + text[text.index("[[section]]") :]
    return loads(text[: text.index("[message.program]")] + text[text.index("[message.bank]") :])


def test_a_memory_that_travels_only_as_a_whole() -> None:
    one = world(_only_as_a_whole())
    assert written_as_a_whole(one.line.chart)
    assert not written_as_a_whole(loads((_DATA / "saltmarsh.toml").read_text(encoding="utf-8")))
    result = backup(one.line)
    assert set(result.programs) == set(range(32))
    assert all(stored(one, number, version) for number, version in result.programs.items())
    others = {number: dict(one.instrument.memory[number].values) for number in range(32)}
    asked: list[int] = []
    kept: dict[int, Version] = {}
    done = restore(
        one.line, {3: result.programs[9], 4: result.programs[10], 5: result.programs[5]},
        allow=lambda question: asked.append(question.number) or question.number == 3, keep_before=kept.__setitem__,
    )  # fmt: skip
    assert asked == [3, 4], "5 holds it already"
    assert {number: dict(version.values) for number, version in kept.items()} == others, "all of it was written"
    assert sorted(done.new) == [3, 5]
    assert done.old == {4: "it was not to be replaced"}
    assert stored(one, 3, result.programs[9])
    for number in set(range(32)) - {3}:
        assert one.instrument.memory[number].values == others[number]
    assert restore(one.line, done.before, allow=always, keep_before=nothing).new
    assert {number: dict(one.instrument.memory[number].values) for number in range(32)} == others


def test_a_whole_memory_that_refused_and_is_as_before_is_not_written_again() -> None:
    one = world(_only_as_a_whole(), behaviour=Behaviour(memory_protected=True))
    programs = backup(one.line).programs
    result = restore(one.line, {4: programs[1]}, allow=always, keep_before=nothing)
    assert (result.new, "refused" in result.old[4]) == ((), True)
    assert len(one.instrument.refused) == 1


def test_no_means_no_and_the_same_is_not_written_again(kelpline: Chart) -> None:
    one = world(kelpline)
    programs = backup(one.line, programs=[0, 1]).programs
    result = restore(one.line, {0: programs[0], 3: programs[1]}, allow=lambda question: False, keep_before=nothing)
    assert result.new == (0,), "it was there already"
    assert result.old == {3: "it was not to be replaced"}
    assert result.bytes_out < 200


def test_a_protected_memory_is_told(saltmarsh: Chart, lanternfish: Chart) -> None:
    for chart in (saltmarsh, lanternfish):
        one = world(chart, behaviour=Behaviour(memory_protected=True))
        programs = backup(one.line, programs=[1]).programs
        was = dict(one.instrument.memory[4].values)
        result = restore(one.line, {4: programs[1]}, allow=always, keep_before=nothing)
        assert result.new == ()
        assert "refused" in result.old[4]
        assert one.instrument.memory[4].values == was


def test_a_refusal_that_comes_while_it_is_read_back_is_told_as_such(lanternfish: Chart) -> None:
    one = world(lanternfish, behaviour=Behaviour(memory_protected=True, answer_delay_s=0.3))
    result = restore(one.line, {2: one_sound(lanternfish, 7)}, allow=always, keep_before=nothing)
    assert (result.new, dict(result.unknown)) == ((), {})
    assert result.old == {2: "Lanternfish refused it"}
    assert "may have gone" not in result.sentence


def test_unknown_values_never_reach_a_memory(saltmarsh: Chart) -> None:
    one = world(saltmarsh)
    full = backup(one.line, programs=[1]).programs[1]
    partial = Version(
        full.chart, full.revision, full.values.without(["tide.rate"]), frozenset(["tide.rate"]), full.received
    )
    with pytest.raises(Refused, match="Rate is unknown"):
        restore(one.line, {4: partial}, allow=always, keep_before=nothing)
    with pytest.raises(Refused, match="no program 99"):
        restore(one.line, {99: full}, allow=always, keep_before=nothing)
    with pytest.raises(Refused, match="cannot be written"):
        restore(one.line, {1: Version("other", 1, Values())}, allow=always, keep_before=nothing)


@pytest.mark.parametrize("moment", [0.05, 0.3, 0.5, 0.9, 1.2])
def test_a_cancelled_restore_says_which_programs_are_new_old_unknown(saltmarsh: Chart, moment: float) -> None:
    one = world(saltmarsh)
    programs = backup(one.line, programs=range(6)).programs
    was = {number: dict(one.instrument.memory[number].values) for number in range(32)}
    start = one.clock.now()
    cancel = Cancel()
    one.bad.at(start + moment, lambda now: cancel.set())
    with pytest.raises(Cancelled) as ended:
        restore(
            one.line, {number + 10: version for number, version in programs.items()},
            allow=always, keep_before=nothing, cancel=cancel,
        )  # fmt: skip
    assert one.clock.now() - (start + moment) <= 0.3
    assert saltmarsh.memory is not None
    new = [number for number in programs if stored(one, number + 10, programs[number])]
    words = ended.value.state
    unsure = words.partition("not certain")[0]
    certain = int(words.split()[0])
    assert certain in {len(new), len(new) - 1}
    for number in range(10, 16):
        shown = saltmarsh.memory.shown(number)
        if one.instrument.memory[number].values != was[number]:
            assert number - 10 < certain or shown in unsure, f"{shown} changed, and the words are: {words}"


def test_a_lost_cable_says_the_same(kelpline: Chart) -> None:
    one = world(kelpline)
    programs = backup(one.line, programs=[0, 1]).programs
    one.bad.at(one.clock.now() + 0.3, lambda now: one.cable.lose("The port has gone."))
    with pytest.raises(CableLost, match="programs were written and read back equal"):
        restore(one.line, {4: programs[0], 5: programs[1]}, allow=always, keep_before=nothing)


def test_a_bad_cable_keeps_nothing_wrong(lanternfish: Chart, saltmarsh: Chart, kelpline: Chart) -> None:
    for chart in (lanternfish, saltmarsh, kelpline):
        for seed in range(3):
            one = world(chart, seed=seed, faults=Faults(flip=0.001, lose=0.001, swap=0.001))
            result = backup(one.line, programs=range(4))
            assert all(stored(one, number, version) for number, version in result.programs.items())
            assert set(result.programs) | set(result.failed) == set(range(4))
            sound = dict(result.programs)
            if 0 in sound:
                done = restore(one.line, {9: sound[0]}, allow=always, keep_before=nothing)
                for number in done.new:
                    assert stored(one, number, sound[0])


class Diverting:
    """A far end for which the next message that begins so has other bytes in some places on its way."""

    def __init__(self, one: World, message: bytes, changes: Mapping[int, int]) -> None:
        self._inner = one.bad.inner
        self._head, self._changes = message[: min(changes) + 1], changes
        self._coming = bytearray()
        self._under_way = False
        self.done = False

    def feed(self, data: bytes, now: float) -> None:
        for byte in data:
            self._coming.append(byte)
            if not self.done and self._coming == self._head:
                self.done = self._under_way = True
            place = len(self._coming) - 1
            self._inner.feed(bytes([self._changes.get(place, byte) if self._under_way else byte]), now)
            if byte == 0xF7:
                self._coming.clear()
                self._under_way = False

    def due(self, now: float) -> list[tuple[float, bytes]]:
        return self._inner.due(now)

    def next_due(self) -> float | None:
        return self._inner.next_due()


@pytest.mark.parametrize(("meant", "hit", "also"), [(2, 9, []), (9, 2, [2]), (9, 8, [1, 2])])
def test_a_write_that_went_to_another_program_is_found_there(
    lanternfish: Chart, meant: int, hit: int, also: list[int]
) -> None:
    """Where a checksum leaves the program number out, a damaged one replaces another program: `hit`, which may have
    been written and read back well before (`also`)."""
    text = lanternfish.text.replace('from = "program", to = "sound"', 'from = "version", to = "sound"')
    chart = loads(text)
    one = world(chart)
    new = one_sound(chart, 1)
    write, other = (
        chart.codec.encode("program", new.values, one.line.address, form="write", name=new.name, program=number)[0]
        for number in (meant, hit)
    )
    (place,) = [at for at, pair in enumerate(zip(write, other, strict=True)) if pair[0] != pair[1]]
    one.bad.inner = Diverting(one, write, {place: other[place]})
    result = restore(
        one.line,
        {number: one_sound(chart, number + 10) for number in also} | {meant: new},
        allow=always,
        keep_before=nothing,
    )
    assert stored(one, meant, new)
    assert stored(one, hit, new)
    assert set(result.new) == {meant, *also} - {hit}
    assert set(result.unknown) == {hit}
    assert f"{hit + 1} is not certain" in result.sentence


def test_a_lost_write_accuses_no_more_programs_than_were_written(lanternfish: Chart) -> None:
    """Twenty programs hold the sound already; a write of it is lost, and which of them it replaced nobody can tell."""
    one = world(lanternfish)
    new = one_sound(lanternfish, 1)
    alike = range(20, 40)
    for number in alike:
        one.instrument.memory[number].values.update(new.values)
        one.instrument.memory[number].name = new.name
    (write,) = lanternfish.codec.encode("program", new.values, one.line.address, form="write", name=new.name, program=2)
    one.bad.inner = Diverting(one, write, {3: write[3] ^ 1})  # a kind of message that it does not know
    result = restore(one.line, {2: new}, allow=always, keep_before=nothing)
    assert (result.new, dict(result.unknown)) == ((2,), {})
    assert "what was sent to 3 may have gone to another program" in result.sentence
    for number in alike[1:]:
        one.instrument.memory[number].values.update(one_sound(lanternfish, number).values)
    one.instrument.memory[2].values.update(one_sound(lanternfish, 5).values)
    one.bad.inner = Diverting(one, write, {3: write[3] ^ 1})
    result = restore(one.line, {2: new}, allow=always, keep_before=nothing)
    assert (result.new, set(result.unknown)) == ((2,), {20})
    assert result.unknown[20] == "it holds what was sent to 3: it did so before, or a number was damaged on the way"


def swapped(message: bytes, *places: int) -> dict[int, int]:
    """The bytes at these places, each changed with the next one."""
    found: dict[int, int] = {}
    for place in places:
        found |= {place: message[place + 1], place + 1: message[place]}
    return found


def test_a_write_that_was_damaged_twice_is_known_again_where_it_went(saltmarsh: Chart) -> None:
    """Its checksum notices no bytes that changed places: neither those of its number nor those of its name."""
    one = world(saltmarsh)
    new = every_value(saltmarsh, 1)
    (write,) = saltmarsh.codec.encode("program", new.values, one.line.address, form="write", name=new.name, program=20)
    one.bad.inner = Diverting(one, write, swapped(write, 4, 7))
    result = restore(one.line, {20: new}, allow=always, keep_before=nothing)
    hit = one.instrument.memory[0]
    assert hit.name != new.name
    assert dict(hit.values) == dict(one.instrument.memory[20].values)
    assert (result.new, set(result.unknown)) == ((20,), {0})
    (why,) = result.unknown.values()
    assert why == "it holds nearly what was sent to C5: it did so before, or a number was damaged on the way"
    assert "A1 is not certain" in result.sentence


def test_one_message_of_several_is_known_again_in_the_program_where_it_went(kelpline: Chart) -> None:
    """Of the two messages of a program the second goes elsewhere: its address is damaged, and its sum just as much."""
    one = world(kelpline, behaviour=Behaviour(takes_pieces=True))
    new = every_value(kelpline, 1)
    second, other = (
        kelpline.codec.encode("program", new.values, one.line.address, form="write", name=new.name, program=number)[1]
        for number in (3, 5)
    )
    changes = {at: byte for at, byte in enumerate(other) if byte != second[at]}
    assert len(changes) == 2
    was = dict(one.instrument.memory[5].values)
    one.bad.inner = Diverting(one, second, changes)
    result = restore(one.line, {3: new}, allow=always, keep_before=nothing)
    assert stored(one, 3, new)
    assert not stored(one, 5, new)
    assert dict(one.instrument.memory[5].values) != was
    assert (result.new, set(result.unknown)) == ((3,), {5})
    assert "a part of what was sent to" in result.unknown[5]


def in_two_banks(text: str) -> Chart:
    """Saltmarsh with its 32 programs in two banks, whose numbers its messages say."""
    return loads(
        text.replace("programs = 32\n", "programs = 16\nbanks = 2\n", 1)
        .replace("{program}", "{bank} {program}").replace('from = "program"', 'from = "data"')
        .replace(" 12 F7", " 12 {bank} F7").replace(" 22 {programs}", " 22 {bank} {programs}")
        .replace("times = 32", "times = 16")
    )  # fmt: skip


def test_where_bank_and_program_changed_places_is_looked_at(saltmarsh: Chart) -> None:
    chart = in_two_banks(saltmarsh.text)
    one = world(chart)
    new = every_value(chart, 1)
    at = one.line.address
    (write,) = chart.codec.encode("program", new.values, at, form="write", name=new.name, program=1, bank=0)
    one.bad.inner = Diverting(one, write, swapped(write, 4))
    result = restore(one.line, {1: new}, allow=always, keep_before=nothing)
    assert stored(one, 1, new)
    assert stored(one, 16, new)
    assert (result.new, set(result.unknown)) == ((1,), {16})


def test_a_bank_that_went_to_another_bank_is_told() -> None:
    """The number of a bank damaged on its way: the bank that was meant is as it was, and another was replaced."""
    chart = in_two_banks(_only_as_a_whole().text)
    one = world(chart)
    there = backup(one.line).programs
    new = every_value(chart, 1)
    start = bytes.fromhex("F0 7D 33 22 00")
    one.bad.inner = Diverting(one, start, {4: 1})
    result = restore(one.line, {3: new}, allow=always, keep_before=nothing)
    assert stored(one, 3, new)
    assert stored(one, 19, new)
    assert not stored(one, 18, there[18])
    assert result.new == (3,)
    assert "what was sent to 1-A4 may have gone to another program" in result.sentence


def test_what_cannot_be_read_back_may_be_anywhere_and_that_is_told(lanternfish: Chart) -> None:
    one = world(lanternfish)
    new = one_sound(lanternfish, 1)

    def allow(question: Replace) -> bool:
        one.bad.faults = Faults(cut=1.0, to_instrument=False)  # from now on no answer arrives whole
        return True

    result = restore(one.line, {2: new}, allow=allow, keep_before=nothing)
    assert (result.new, set(result.unknown), result.old) == ((), {2}, {})
    assert "3 is not certain" in result.sentence
    assert "what was sent to 3 may have gone to another program" in result.sentence


def one_sound(chart: Chart, seed: int) -> Version:
    """Some values for every parameter of the sound."""
    dice = Random(seed)
    values = {name: dice.randint(chart.parameters[name].low, chart.parameters[name].high) for name in chart.sound_ids}
    return Version(chart.id, chart.revision, Values(values), frozenset(chart.setup_ids), name=f"Sound {seed}")


def every_value(chart: Chart, seed: int) -> Version:
    """Some values for every parameter, those of the setup as well."""
    dice = Random(seed)
    values = {name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}
    return Version(chart.id, chart.revision, Values(values), name=f"Sound {seed}")
