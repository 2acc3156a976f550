"""Sounds like this one: the nearest of very many, exactly, with the reason.

The distance between two sounds is the root of the weighted mean of squared differences over the sound parameters
known on **both** sides: 0 is equal, 1 is opposite in everything. A ranged parameter differs by its share of the
range, a stepped one by 0 or 1 (as `compare` counts). A mean, not a sum, so that an unknown makes a sound neither
nearer nor farther; a sound that has less than `least_common` of the asked weight in common is not judged at all.
Setup parameters are no part of it. The measure is our own; no published source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from librarian.errors import BadInput
from librarian.messages import Values
from librarian.sounds.measure import Asked, Doubles, exact_means, mean_squares, smallest
from librarian.sounds.shares import Flags, Ints, Layout, Shares, share_out

if TYPE_CHECKING:
    from librarian.chart import Chart

TAIL_SHARE = 0.05
LEAST_TAIL = 256


@dataclass(frozen=True, slots=True)
class SectionNearness:
    """How near in one section. `distance` 0 to 1, None when nothing of it is known on both sides."""

    section: str
    label: str
    distance: float | None
    compared: int
    of: int


@dataclass(frozen=True, slots=True)
class Near:
    """One sound found near. `compared` of `of` sound parameters are known on both sides; `differ` of these differ."""

    id: int
    distance: float
    compared: int
    of: int
    differ: int
    sections: tuple[SectionNearness, ...]

    @property
    def reason(self) -> str:
        """Why it is near, for people: "3 of 50 differ, nearest in Filter and LFO, farthest in Mixer"."""
        judged = [each for each in self.sections if each.distance is not None]
        parts = [f"{self.differ} of {self.compared} differ" if self.differ else f"all {self.compared} equal"]
        ranked = sorted(judged, key=lambda each: (each.distance, -each.compared))
        if self.differ and len(ranked) > 1 and ranked[0].distance != ranked[-1].distance:
            best = [each.label for each in ranked[: min(2, len(ranked) - 1)]]
            parts.append(f"nearest in {' and '.join(best)}, farthest in {ranked[-1].label}")
        if self.compared < self.of:
            parts.append(f"{self.of - self.compared} cannot be compared")
        return ", ".join(parts)


class Likeness:
    """All sounds of one chart, ready to be asked which are near. Ids are the caller's (patch or version ids)."""

    def __init__(self, chart: Chart, sounds: Iterable[tuple[int, Values]] = ()) -> None:
        self.chart = chart
        self._layout = Layout.of(chart)
        self._columns = {each.id: column for column, each in enumerate(self._layout.parameters)}
        ids, rows = [], []
        for number, values in sounds:
            ids.append(number)
            rows.append(values)
        self._lay(np.array(ids, dtype=np.int64), *self._raw(rows))

    @classmethod
    def from_raw(cls, chart: Chart, ids: Ints, parameters: Sequence[str], raw: Ints, known: Flags) -> Likeness:
        """Build from arrays: `ids` (N,), `raw` and `known` (N, len(parameters)), columns named by `parameters`.

        Sound parameters that are not among `parameters` are unknown; names the chart does not have are left out.
        """
        one = cls(chart)
        wide = np.zeros((len(ids), len(one._columns)), dtype=np.int64)
        flags = np.zeros(wide.shape, dtype=np.bool_)
        for column, name in enumerate(parameters):
            if (place := one._columns.get(name)) is not None:
                wide[:, place] = raw[:, column]
                flags[:, place] = known[:, column]
        one._lay(np.asarray(ids, dtype=np.int64), wide, flags)
        return one

    def __len__(self) -> int:
        return int(self._alive.sum()) + len(self._tail)

    def put(self, number: int, values: Values) -> None:
        """Add a sound, or replace it: cheap, so that the index can follow edits."""
        self.drop(number)
        self._tail[number] = values
        if len(self._tail) > max(LEAST_TAIL, TAIL_SHARE * self._shares.count):
            self._settle()

    def drop(self, number: int) -> None:
        """Forget a sound; one that is not here is no fault."""
        self._tail.pop(number, None)
        if (row := self._rows.get(number)) is not None:
            self._alive[row] = False

    def nearest(
        self,
        values: Values,
        limit: int = 20,
        *,
        weights: Mapping[str, float] | None = None,
        leave_out: Collection[int] = (),
        least_common: float = 0.5,
    ) -> tuple[Near, ...]:
        """The `limit` nearest sounds, nearest first, equal distances by id.

        `weights`: section id -> weight, 1 where not given, 0 leaves the section out. Raises BadInput for a section
        the chart does not have, a negative weight, or a sound of which nothing is known in the weighted sections.
        """
        raw, known = self._raw([values])
        weight = self._weights(weights or {})
        asked = Asked(self._layout, raw[0], known[0] & (weight > 0), weight)
        if not bool(asked.known.any()):
            raise BadInput(
                "Nothing is known of this sound that could be compared.", "Capture it, or weight another section."
            )
        found: list[Near] = []
        for ids, shares, alive in self._parts():
            found += self._nearest_of(ids, shares, alive, asked, limit, frozenset(leave_out), least_common)
        found.sort(key=lambda near: (round(near.distance, 12), near.id))
        return tuple(found[: max(0, limit)])

    def _nearest_of(
        self,
        ids: Ints,
        shares: Shares,
        alive: Flags,
        asked: Asked,
        limit: int,
        leave_out: frozenset[int],
        least_common: float,
    ) -> list[Near]:
        means, slack = mean_squares(shares, asked, least_common)
        if not bool(alive.all()):
            means[~alive] = np.inf
        if leave_out:
            means[np.isin(ids, np.fromiter(leave_out, dtype=np.int64))] = np.inf
        rows = smallest(means, limit, slack)
        if not len(rows):
            return []
        raw, known = shares.raw(rows)
        exact = exact_means(asked, raw, known)
        order = np.lexsort((ids[rows], np.round(np.sqrt(exact), 12)))[:limit]
        return self._described(ids[rows[order]], asked, raw[order], known[order], exact[order])

    def _described(self, ids: Ints, asked: Asked, raw: Ints, known: Flags, exact: Doubles) -> list[Near]:
        """The answer for K sounds, with the distance in each section."""
        both = asked.known & known
        squares = np.where(both, asked.gaps(raw) ** 2, 0.0)
        differ = (both & (raw != asked.raw)).sum(axis=1)
        sections = [(section, own) for section in self.chart.sections if (own := self._own(section.id)).any()]
        own = np.stack([each for _, each in sections], axis=1).astype(np.float64)
        compared = both @ own
        distances = np.sqrt(np.divide(squares @ own, compared, where=compared > 0, out=np.zeros_like(compared)))
        weighted = int((asked.weight > 0).sum())
        heads = [(section.id, section.label, int(columns.sum())) for section, columns in sections]
        found = []
        for number, distance, common, differing, counts, apart in zip(
            ids.tolist(),
            np.sqrt(exact).tolist(),
            both.sum(axis=1).tolist(),
            differ.tolist(),
            compared.astype(np.int64).tolist(),
            distances.tolist(),
            strict=True,
        ):
            parts = tuple(
                SectionNearness(name, label, distance if count else None, count, size)
                for (name, label, size), count, distance in zip(heads, counts, apart, strict=True)
            )
            found.append(Near(number, distance, common, weighted, differing, parts))
        return found

    def _own(self, section: str) -> Flags:
        return np.array([each.section == section for each in self._layout.parameters], dtype=np.bool_)

    def _weights(self, weights: Mapping[str, float]) -> Doubles:
        sections = [section.id for section in self.chart.sections]
        for name, weight in weights.items():
            if name not in sections:
                raise BadInput(f"“{name}” is no section of {self.chart.name}.", f"Sections: {', '.join(sections)}.")
            if not 0 <= weight < float("inf"):
                raise BadInput(f"The weight {weight} for {name} cannot be used.", "Give 0 or more; 0 leaves it out.")
        return np.array([weights.get(each.section, 1.0) for each in self._layout.parameters], dtype=np.float64)

    def _raw(self, rows: Sequence[Values]) -> tuple[Ints, Flags]:
        raw = np.zeros((len(rows), len(self._columns)), dtype=np.int64)
        known = np.zeros(raw.shape, dtype=np.bool_)
        for at, values in enumerate(rows):
            for name, value in values.items():
                if (column := self._columns.get(name)) is not None:
                    raw[at, column] = value
                    known[at, column] = True
        return raw, known

    def _lay(self, ids: Ints, raw: Ints, known: Flags) -> None:
        self._ids = ids
        self._shares = share_out(self._layout, raw, known)
        self._rows = dict(zip(ids.tolist(), range(len(ids)), strict=True))
        self._alive = np.ones(len(ids), dtype=np.bool_)
        self._tail: dict[int, Values] = {}

    def _parts(self) -> list[tuple[Ints, Shares, Flags]]:
        parts = [(self._ids, self._shares, self._alive)]
        if self._tail:
            ids = np.fromiter(self._tail, dtype=np.int64)
            shares = share_out(self._layout, *self._raw(list(self._tail.values())))
            parts.append((ids, shares, np.ones(len(ids), dtype=np.bool_)))
        return parts

    def _settle(self) -> None:
        rows = np.flatnonzero(self._alive)
        raw, known = self._shares.raw(rows)
        more, flags = self._raw(list(self._tail.values()))
        ids = np.concatenate([self._ids[rows], np.fromiter(self._tail, dtype=np.int64)])
        self._lay(ids, np.concatenate([raw, more]), np.concatenate([known, flags]))
