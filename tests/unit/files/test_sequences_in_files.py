"""Messages that are one sound only together, in a file of dumps."""

from __future__ import annotations

from librarian.files import syx
from librarian.files.recognising import Recogniser
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Target
from tests.dumped import invented
from tests.dumped_cases import ORLOP

VOICE, EFFECTS = ORLOP.bytes


def sounds_of(data: bytes) -> list[tuple[str, dict[str, int]]]:
    chart = invented("orlop")
    targets = [Target(None, chart.name, chart, ORLOP.address)]
    reader = SoundReader(targets, "orlop")
    found = list(Recogniser(targets, reader).findings(syx.from_bytes(data, "orlop.syx")))
    assert all(isinstance(one, Sound) for one in found), found
    return [(one.name, dict(reader.version(one).values)) for one in found if isinstance(one, Sound)]


def test_a_sequence_is_one_sound() -> None:
    assert sounds_of(VOICE + EFFECTS + EFFECTS + VOICE) == [("OAK", ORLOP.values), ("OAK", ORLOP.values)]


def test_a_part_of_a_sequence_alone_is_what_it_holds() -> None:
    alone = {"a": 1, "b": 127}
    assert sounds_of(VOICE) == [("OAK", alone)]
