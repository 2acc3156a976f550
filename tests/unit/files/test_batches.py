"""Files read in portions give the very same sounds, reasons and order as files read message by message."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from random import Random
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart
from librarian.files import batches, syx
from librarian.files.recognising import Recogniser
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Target
from librarian.messages import Address
from tests.dumps_at_random import addresses, damaged, dumps, every_chart

CHARTS = {chart.id: chart for chart in every_chart()}
AT = datetime(2026, 1, 2, tzinfo=UTC)
NEVER = 1 << 30
JUNK = (
    b"\xf0\x7e\x7f\x06\x01\xf7", b"\xf0\x00\x01\x02\x03\xf7", b"\xf0\x7d\x10\x01", b"\x00\x00", b"\x1a\xff", b"\x05",
    b"\xb0\x4a\x40", b"\xb0\x63\x01\x62\x02\x06\x03", b"\xc0\x05", b"\xf6", b"\xf0\xf7",
)  # fmt: skip


def holding(chart: Chart) -> list[str]:
    """Messages that come in files of sounds: dumps, banks, parts, single parameters."""
    infos = chart.codec.messages.values()
    return [each.name for each in infos if each.forms - {"request"} and each.programs == 1 and each.is_sysex
            and not each.single_parameter]  # fmt: skip


def own(chart: Chart) -> Address:
    usual = chart.default_address
    return Address(usual.channel, 16 if usual.device == 127 else usual.device)


def run_of(chart: Chart, luck: Random) -> list[bytes]:
    """Messages as one instrument sends them one after another, a few of them damaged or in a wrong place."""
    if not holding(chart):
        return []
    message, address = luck.choice(holding(chart)), addresses(chart, luck)
    run = [raw for _ in range(luck.randint(1, 6)) for raw in dumps(chart, message, luck, address)][:40]
    for _ in range(luck.choice((0, 0, 1, 3))):
        place = luck.randrange(len(run))
        run[place] = damaged(run[place], luck)
    if not luck.randrange(4):
        run.insert(luck.randrange(len(run) + 1), luck.choice(JUNK))
    if not luck.randrange(6):
        luck.shuffle(run)
    return run


def file_of(charts: Sequence[Chart], luck: Random) -> bytes:
    """Runs one after another, sometimes message by message in turn."""
    runs = [run_of(luck.choice(charts), luck) for _ in range(luck.randint(1, 5))]
    if luck.randrange(3):
        return b"".join(raw for run in runs for raw in run)
    out = b""
    while any(runs):
        run = luck.choice([each for each in runs if each])
        out += run.pop(0)
    return out


def targets_at(charts: Sequence[Chart], luck: Random) -> list[Target]:
    """Instruments and charts without one; of some charts two instruments, also with equal addresses."""
    found: list[Target] = []
    for chart in charts:
        for number in range(luck.choice((1, 1, 1, 2))):
            instrument = luck.choice((None, len(found) + 1))
            address = luck.choice((own(chart), chart.default_address, addresses(chart, luck)))
            found.append(Target(instrument, f"{chart.name} {number}", chart, address))
    luck.shuffle(found)
    return found


def read(data: bytes, targets: Sequence[Target], fewest: int) -> list[tuple[object, ...]]:
    """Everything that is found, values and bytes included."""
    # fresh targets: they remember what they have seen
    fresh = [Target(each.instrument, each.name, each.chart, each.address) for each in targets]
    reader = SoundReader(fresh, "file", AT)
    found = Recogniser(fresh, reader, fewest=fewest).findings(syx.from_bytes(data, "file.syx"))
    return [(each, reader.version(each)) if isinstance(each, Sound) else (each,) for each in found]


def compare(charts: Sequence[Chart], luck: Random, portion: int) -> None:
    data, targets = file_of(charts, luck), targets_at(charts, luck)
    if not data:
        return
    with patch.object(batches, "MOST_PIECES", portion):
        assert read(data, targets, 1) == read(data, targets, NEVER)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from((3, 8, 2000)), st.integers(1, 4))
def test_files_of_several_instruments(seed: int, portion: int, count: int) -> None:
    luck = Random(seed)
    compare([CHARTS[name] for name in luck.sample(sorted(CHARTS), count)], luck, portion)


@pytest.mark.parametrize("name", CHARTS)
@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from((3, 2000)))
def test_files_of_one_instrument(name: str, seed: int, portion: int) -> None:
    compare([CHARTS[name]], Random(seed), portion)


@pytest.mark.parametrize("device", [16, 5])
def test_runs_are_read_together(device: int) -> None:
    """Of the instrument's own device and of another one: no dump of a run goes the long way."""
    chart = CHARTS["lanternfish"]
    luck = Random(2)
    data = b"".join(raw for _ in range(50) for raw in dumps(chart, "edit", luck, Address(0, device)))
    targets = [Target(1, "Lantern", chart, Address(0, 16))]
    reader = SoundReader(targets, "file")
    recogniser = Recogniser(targets, reader)
    with patch.object(SoundReader, "sounds", side_effect=AssertionError("one by one")):
        found = list(recogniser.findings(syx.from_bytes(data, "file.syx")))
    assert len(found) == 50
    assert all(isinstance(each, Sound) and isinstance(each.packed.content, bytes) for each in found)


@pytest.mark.parametrize("name", ["kelpline", "saltmarsh"])
@pytest.mark.parametrize("device", [7, 5])
def test_dumps_in_several_messages_are_read_together(name: str, device: int) -> None:
    """Only the first of a portion is put together message by message."""
    chart, luck = CHARTS[name], Random(3)
    message = next(each.name for each in chart.codec.messages.values() if each.messages > 1 and each.programs == 1)
    address = Address(chart.default_address.channel, device)
    data = b"".join(raw for _ in range(50) for raw in dumps(chart, message, luck, address))
    targets = [Target(1, chart.name, chart, Address(address.channel, 7))]
    with patch.object(SoundReader, "sounds", autospec=True, side_effect=SoundReader.sounds) as one_by_one:
        found = list(Recogniser(targets, SoundReader(targets, "file", AT)).findings(syx.from_bytes(data, "file.syx")))
    assert one_by_one.call_count == 1
    assert len(found) == 50
    assert all(isinstance(each, Sound) for each in found)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from((5, 9, 2000)), st.integers(1, 3))
def test_runs_of_dumps_in_several_messages(seed: int, portion: int, count: int) -> None:
    """As an instrument sends its edit buffer again and again, with accidents."""
    luck = Random(seed)
    several = [
        (chart, each.name)
        for chart in CHARTS.values()
        for each in chart.codec.messages.values()
        if each.messages > 1 and each.programs == 1
    ]
    run: list[bytes] = []
    for _ in range(count):
        chart, message = luck.choice(several)
        address = addresses(chart, luck)
        for _ in range(luck.randint(2, 7)):
            slots = Random(seed)  # the same program again, or another
            run += dumps(chart, message, luck, address, slots if luck.randrange(3) else luck)
    for _ in range(luck.choice((0, 1, 2, 5))):
        place = luck.randrange(len(run))
        what = luck.randrange(4)
        if what == 0:
            run[place] = damaged(run[place], luck)
        elif what == 1:
            run.insert(place, luck.choice((*JUNK, run[luck.randrange(len(run))])))
        elif what == 2:
            del run[place]
        else:
            other = luck.randrange(len(run))
            run[place], run[other] = run[other], run[place]
        if not run:
            return
    targets = targets_at(list({chart.id: chart for chart, _ in several}.values()), luck)
    with patch.object(batches, "MOST_PIECES", portion):
        assert read(b"".join(run), targets, 1) == read(b"".join(run), targets, NEVER)
