"""Invented sounds for the benches of the collection: Lanternfish sounds with speakable names, tags and notes."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import accumulate

from librarian.chart import Chart
from librarian.collection import NewPatch
from librarian.messages import Origin, Values, Version

BEGIN = datetime(2016, 1, 1, tzinfo=UTC)
PLACES = ("scene", "use", "mood", "place")


class Filler:
    """The same sounds for the same seed. Words follow a steep distribution, as in names people give."""

    def __init__(self, chart: Chart, seed: int) -> None:
        self.chart = chart
        self.luck = random.Random(seed)
        syllables = [a + b for a in "bcdfghjklmnprstvwz" for b in ("a", "e", "i", "o", "u", "ar", "en", "ist", "ur")]
        self.words = list(
            dict.fromkeys("".join(self.luck.choices(syllables, k=self.luck.choice((2, 2, 3)))) for _ in range(6000))
        )
        self.weights = list(accumulate(1 / (place + 10) for place in range(len(self.words))))
        self.tags = [f"{self.luck.choice(PLACES)}/{word}" for word in self.words[5:80]] + self.words[80:125]
        self.tag_weights = list(accumulate(1 / (place + 3) for place in range(len(self.tags))))
        self.ranges = [(name, each.low, each.high) for name, each in chart.parameters.items()]

    def some_words(self, count: int) -> list[str]:
        """Words as they occur in names."""
        return self.luck.choices(self.words, cum_weights=self.weights, k=count)

    def version(self, number: int) -> Version:
        """One complete random sound with a dump of 263 bytes."""
        luck = self.luck
        random_ = luck.random
        known = {name: low + int(random_() * (high - low + 1)) for name, low, high in self.ranges}
        if number % 50 == 0:
            for name in luck.sample(list(known), 3):
                del known[name]
        dump = b"\xf0\x7d\x10" + number.to_bytes(5, "big").replace(b"\xf0", b"\x00").translate(_SEVEN) + luck.randbytes(
            254
        ).translate(_SEVEN) + b"\xf7"  # fmt: skip
        return Version(
            self.chart.id,
            self.chart.revision,
            Values(known),
            received=(dump,),
            origin=Origin("imported", f"bank {number // 64}.syx, program {number % 64 + 1}"),
            taken=BEGIN + timedelta(minutes=23 * number),
        )

    def sounds(self, instrument: int, count: int) -> Iterator[NewPatch]:
        """`count` sounds, one after the other."""
        luck = self.luck
        for number in range(count):
            name = " ".join(self.some_words(luck.choice((1, 2, 2, 3)))).capitalize() + f" {luck.randrange(1, 100)}"
            note = " ".join(self.some_words(12)) if number % 3 == 0 else ""
            tags = tuple(
                dict.fromkeys(luck.choices(self.tags, cum_weights=self.tag_weights, k=luck.choice((0, 1, 2, 3))))
            )
            yield NewPatch(instrument, name, self.version(number), tags, note)


_SEVEN = bytes(byte & 0x7F for byte in range(256))
