"""Contents by their digest: the same values, and the same received bytes, are stored once."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from librarian.errors import BadInput
from librarian.messages import Version

from . import sqlite
from .layout import Layout, digest, layout_for
from .packed import PackedValues
from .problems import as_kept
from .schema import ChartText, Content, Received
from .schema import Layout as LayoutTable


@dataclass(frozen=True, slots=True)
class Stored:
    """Where the content of one version lies; `unknown` counts parameters."""

    content: int
    received: int | None
    unknown: int


class Contents:
    """Stores contents within one transaction; remembers layouts for its own lifetime only, so a roll-back is safe."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._ranges: dict[tuple[str, int], dict[str, int]] = {}
        self._usual: dict[tuple[str, int], Layout] = {}
        self._equal: dict[bytes, Layout] = {}
        self._layout_ids: dict[bytes, int] = {}

    def store(self, versions: Sequence[Version]) -> list[Stored]:
        """Content and bytes of each version, in order. What the chart has and a version lacks becomes unknown."""
        packed = [self._pack(version) for version in versions]
        keys = [layout.content_digest(row) for layout, row in packed]
        contents = self._contents(dict(zip(keys, packed, strict=True)))
        received = self.keep_bytes([version.received for version in versions])
        return [
            Stored(contents[key][0], number or None, contents[key][1])
            for key, number in zip(keys, received, strict=True)
        ]

    def digests(self, versions: Sequence[Version]) -> list[bytes]:
        """What names the content of each version, whether it is stored or not."""
        return [layout.content_digest(row) for layout, row in map(self._pack, versions)]

    def _pack(self, version: Version) -> tuple[Layout, bytes]:
        key = (version.chart, version.revision)
        ranges = self.ranges(*key)
        if ranges and (not version.unknown or version.unknown <= ranges.keys()):
            usual = self._usual.get(key)
            if usual is None:
                usual = self._usual[key] = Layout(*key, tuple(ranges), tuple(ranges.values()))
            values = version.values
            if isinstance(values, PackedValues) and self._is(values.layout, usual):
                return usual, values.row
            row = usual.pack(values)
            if row is not None:
                return usual, row
        layout = layout_for(*key, ranges, version.values, version.unknown)
        row = layout.pack(version.values)
        if row is None:
            raise BadInput("A value of this sound is too large to keep.", "Values have at most 63 bits.")
        return layout, row

    def _is(self, layout: Layout, usual: Layout) -> bool:
        """The same layout; very many rows come with one and the same object, which is compared once."""
        if self._equal.get(usual.digest) is not layout:
            if layout != usual:
                return False
            self._equal[usual.digest] = layout
        return True

    def ranges(self, chart: str, revision: int) -> dict[str, int]:
        """Id -> width in bytes of every parameter of the newest text of this chart revision, in panel order."""
        key = (chart, revision)
        if key not in self._ranges:
            found = self._connection.execute(
                select(ChartText.parameters, ChartText.widths)
                .where(ChartText.chart == chart, ChartText.revision == revision)
                .order_by(ChartText.id.desc())
                .limit(1)
            ).first()
            with as_kept():
                self._ranges[key] = (
                    dict(zip(json.loads(found.parameters), map(int, found.widths), strict=True)) if found else {}
                )
        return self._ranges[key]

    def _layout_id(self, layout: Layout) -> int:
        known = self._layout_ids.get(layout.digest)
        if known is None:
            known = self._connection.execute(select(LayoutTable.id).where(LayoutTable.digest == layout.digest)).scalar()
            if known is None:
                known = sqlite.next_id(self._connection, LayoutTable)
                row = (known, layout.chart, layout.revision, layout.parameters_text, layout.widths_text, layout.digest)
                sqlite.insert_many(
                    self._connection,
                    LayoutTable,
                    ("id", "chart", "revision", "parameters", "widths", "digest"),
                    [row],
                )
            self._layout_ids[layout.digest] = known
        return known

    def _contents(self, wanted: Mapping[bytes, tuple[Layout, bytes]]) -> Mapping[bytes, tuple[int, int]]:
        """Digest -> (content id, count of unknowns)."""
        found: dict[bytes, tuple[int, int]] = {
            key: (content, unknown)
            for key, content, unknown in self._connection.execute(
                select(Content.digest, Content.id, Content.unknown).where(sqlite.in_digests(Content.digest, wanted))
            )
        }
        fresh = [(key, *wanted[key]) for key in wanted if key not in found]
        first = sqlite.next_id(self._connection, Content) if fresh else 0
        rows = []
        unknowns = _unknowns(fresh)
        for place, ((key, layout, row), unknown) in enumerate(zip(fresh, unknowns, strict=True)):
            found[key] = (first + place, unknown)
            rows.append((first + place, self._layout_id(layout), unknown, row, key))
        sqlite.insert_many(self._connection, Content, ("id", "layout_id", "unknown", "row", "digest"), rows
        )  # fmt: skip
        return found

    def keep_bytes(self, all_messages: Sequence[tuple[bytes, ...]]) -> list[int]:
        """Id in `received` of each run of messages (0 for an empty one)."""
        keys = [digest(*messages) if messages else b"" for messages in all_messages]
        wanted = {key: messages for key, messages in zip(keys, all_messages, strict=True) if messages}
        found: dict[bytes, int] = {b"": 0}
        if wanted:
            found.update(
                self._connection.execute(
                    select(Received.digest, Received.id).where(sqlite.in_digests(Received.digest, wanted))
                ).all()
            )
        fresh = [key for key in wanted if key not in found]
        first = sqlite.next_id(self._connection, Received) if fresh else 0
        rows = []
        for place, key in enumerate(fresh):
            found[key] = first + place
            rows.append((first + place, ",".join(str(len(one)) for one in wanted[key]), b"".join(wanted[key]), key))
        sqlite.insert_many(self._connection, Received, ("id", "lengths", "raw", "digest"), rows)
        return [found[key] for key in keys]


def _unknowns(fresh: Sequence[tuple[bytes, Layout, bytes]]) -> list[int]:
    """How many unknowns each row has; those of one layout are counted together."""
    places: dict[int, list[int]] = {}
    for place, (_, layout, _) in enumerate(fresh):
        places.setdefault(id(layout), []).append(place)
    counts = [0] * len(fresh)
    for several in places.values():
        layout = fresh[several[0]][1]
        found = layout.count_unknowns([fresh[place][2] for place in several])
        for place, count in zip(several, found, strict=True):
            counts[place] = count
    return counts


def cut(raw: bytes, lengths: str) -> tuple[bytes, ...]:
    """The messages that lie behind each other in `received.raw`."""
    messages, start = [], 0
    for length in map(int, lengths.split(",")) if lengths else ():
        messages.append(raw[start : start + length])
        start += length
    return tuple(messages)
