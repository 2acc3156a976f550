"""The demo sounds: complete, sensible, all different, always the same."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache

import pytest

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.errors import BadInput
from librarian.files.demo import DemoSounds
from librarian.sounds import compare

FIRST, LAST = datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 3, 13, tzinfo=UTC)


@cache
def charts():
    return {name: load(path) for name, path in shipped().items()}


@cache
def sounds():
    return DemoSounds(charts()).sounds


def named(name):
    return next(sound for sound in sounds() if sound.name == name)


def test_some_hundred_sounds_for_both_instruments():
    assert len(sounds()) >= 100
    assert {sound.chart for sound in sounds()} == set(charts())
    assert len({sound.name for sound in sounds()}) == len(sounds())


def test_every_act_of_the_play_has_its_sounds():
    tags = [tag for sound in sounds() for tag in sound.tags]
    for tag in ("act 1", "act 2", "act 3", "storm", "harbour", "lamp", "fog", "bell", "drone", "pad", "bass"):
        assert tags.count(tag) >= 8, tag
    for sound in sounds():
        assert len({"act 1", "act 2", "act 3", "spare"} & set(sound.tags)) == 1, sound.name


def test_every_parameter_is_known_or_said_to_be_unknown_and_in_its_range():
    for sound in sounds():
        chart = charts()[sound.chart]
        for version in sound.versions:
            assert version.unknown | set(version.values) == set(chart.parameters)
            for name, value in version.values.items():
                assert chart.parameters[name].holds(value), (sound.name, name)


def test_no_two_sounds_are_equal():
    contents = [(sound.chart, sound.versions[-1].values) for sound in sounds()]
    assert len(set(contents)) == len(contents)


def test_setup_belongs_to_the_player_and_is_the_same_everywhere():
    chart = charts()["lanternfish"]
    setups = {
        sound.versions[-1].values.without(chart.sound_ids).without(sound.versions[-1].unknown)
        for sound in sounds()
        if sound.chart == chart.id and not sound.versions[-1].unknown
    }
    assert len(setups) == 1


def test_versions_go_forward_in_time_and_each_changes_something():
    several = [sound for sound in sounds() if len(sound.versions) > 1]
    assert len(several) >= 8
    for sound in sounds():
        times = [version.taken for version in sound.versions]
        assert times == sorted(times), sound.name
        assert all(FIRST <= moment <= LAST for moment in times), sound.name
    for sound in several:
        for before, after in zip(sound.versions, sound.versions[1:], strict=False):
            assert before.values != after.values, sound.name


def test_the_first_gust_grew_out_of_the_harbour():
    a, b = named("Harbour before the storm"), named("Storm, first gust")
    comparison = compare(charts()["lanternfish"], a.versions[-1].values, b.versions[-1].values)
    assert (comparison.count("different"), comparison.count("equal"), comparison.count("unknown")) == (10, 38, 2)


def test_the_bytes_kept_are_what_the_instrument_would_have_sent():
    for sound in sounds():
        chart = charts()[sound.chart]
        for version in sound.versions:
            if version.unknown or chart.ways_in[0].kind != "dump":
                listener = chart.codec.listener(chart.default_address)
                heard = {}
                for raw in version.received:
                    heard.update({each.parameter: each.value for each in listener.feed(raw, 0.0)})
                heard.update({each.parameter: each.value for each in listener.flush(10.0)})
                assert set(heard) == set(version.values), sound.name
            else:
                (raw,) = version.received
                assert chart.codec.decode(raw, chart.default_address).values == version.values, sound.name


def test_unknown_is_used_and_never_a_value():
    incomplete = [sound for sound in sounds() if sound.versions[-1].unknown]
    assert 4 <= len(incomplete) <= 20
    assert named("Storm, first gust").versions[-1].unknown == {"osc1.drift", "mod.touch"}


def test_the_same_each_time():
    assert DemoSounds(charts()).sounds == sounds()


def test_kept_in_a_library_as_one_step_of_undo(library_path):
    with Library.open(library_path) as library:
        instruments = {
            name: library.add_instrument(chart, chart.name, chart.default_address) for name, chart in charts().items()
        }
        ids = DemoSounds(charts()).keep(library, instruments)
        assert library.total() == len(sounds()) == len(ids)
        patch = library.patch(ids["Harbour before the storm"])
        assert patch.versions == 4
        assert patch.tags == ("act 1", "harbour", "drone")
        assert library.version(patch.latest) == named("Harbour before the storm").versions[-1]
        assert library.undo() == "Keep the demo sounds"
        assert library.total() == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[sound]]\nname = 'X'\n", "X lacks or misspells 'instrument'"),
        (
            "[[sound]]\nname = 'X'\ninstrument = 'fogbell'\nfamily = 'none'\ntags = []\ntaken = 2026-02-02T10:00:00Z",
            "'none'",
        ),
        (
            "[[sound]]\nname = 'X'\ninstrument = 'fogbell'\nfamily = 'deep'\ntags = []\n"
            "taken = 2026-02-02T10:00:00Z\nset = { 'filter.cutoff' = 'loud' }",
            "X: Cutoff",
        ),
        ("[[sound", "cannot be read"),
    ],
)
def test_a_faulty_file_is_named(tmp_path, text, words):
    for family in ("lanternfish-families.toml", "fogbell-families.toml"):
        (tmp_path / family).write_text("[base]\n'filter.cutoff' = '100 Hz'\n[family.deep]\n[shade.dark]\n")
    (tmp_path / "act-1.toml").write_text(text)
    with pytest.raises(BadInput, match=words):
        _ = DemoSounds(charts(), tmp_path).sounds
