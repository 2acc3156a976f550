"""A bundle as sounds on their way into a library: instruments matched, charts judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from librarian.chart import Chart
from librarian.collection import Library
from librarian.errors import BadInput, Refused
from librarian.files.bundle.reading import Bundle
from librarian.files.incoming import Incoming, Landing
from librarian.files.landing import Told, land, otherwise
from librarian.files.targets import ReadChart
from librarian.messages import Address, Version


@dataclass(frozen=True)
class BundleStream:
    """`charts`: those that the library does not have yet. `library`: keeps charts that sounds may use as well."""

    bundle: Bundle
    landings: tuple[Landing, ...]
    charts: tuple[Chart, ...]
    notes: tuple[str, ...]
    library: Library
    read_chart: ReadChart
    exact: bool = True

    @property
    def name(self) -> str:
        """The name of the file."""
        return self.bundle.name

    @property
    def size(self) -> int:
        """Bytes of sounds, unpacked."""
        return self.bundle.unpacked

    def sounds(self) -> Iterator[tuple[int, Incoming]]:
        """(bytes so far, sound). Raises BadInput where a sound belongs to no chart of the bundle or the library."""
        ids = {key: frozenset(chart.parameters) for key, chart in self.bundle.charts.items()}
        for done, sound in self.bundle.sounds():
            versions = tuple(
                replace(each, version=_whole(each.version, self._ids(ids, each.version, sound.where)))
                for each in sound.versions
            )
            yield done, replace(sound, versions=versions)

    def _ids(self, ids: dict[tuple[str, int], frozenset[str]], version: Version, where: str) -> frozenset[str]:
        key = (version.chart, version.revision)
        if key not in ids:
            try:
                ids[key] = frozenset(self.read_chart(self.library.chart_text(*key)).parameters)
            except Refused:
                raise BadInput(
                    f"{where}: the chart “{key[0][:80]}”, revision {key[1]}, is neither in the bundle nor in the "
                    "library.",
                    "Nothing was taken from it. Export the bundle again.",
                ) from None
        return ids[key]


def _whole(version: Version, ids: frozenset[str]) -> Version:
    """As a library keeps it: what the chart has and the version says nothing of is unknown."""
    missing = ids.difference(version.values, version.unknown)
    return replace(version, unknown=version.unknown | missing) if missing else version


def stream_of(library: Library, bundle: Bundle, read_chart: ReadChart, instrument: int | None = None) -> BundleStream:
    """Matches instruments and charts with the library. Raises BadInput, ChartFaults.

    The library's own text of a chart stays; a chart of the same id and revision that means something else is refused.
    """
    there = {(chart, revision) for chart, revision, _ in library.charts()}
    fresh: list[Chart] = []
    notes = list(bundle.notes)
    for key, chart in sorted(bundle.charts.items()):
        if key not in there:
            fresh.append(chart)
            continue
        text = library.chart_text(*key)
        if text != chart.text:
            _judge(bundle.name, read_chart(text), chart)
            notes.append(f"The chart “{chart.name}”, revision {chart.revision}, has other words here; those stay")
    told = [
        Told(
            each.name,
            _of_instrument(bundle, each.chart_file, each.chart, each.revision),
            Address(each.channel, each.device),
            each.firmware,
            each.removed,
        )
        for each in bundle.instruments
    ]
    landings = land(library, told, instrument)
    notes.extend(otherwise(landings))
    return BundleStream(bundle, landings, tuple(fresh), tuple(notes), library, read_chart)


def _of_instrument(bundle: Bundle, inside: str, chart: str, revision: int) -> Chart:
    found = bundle.chart(inside)
    if (found.id, found.revision) != (chart, revision):
        raise BadInput(
            f"{bundle.name}: {inside[:80]} is the chart “{found.id}”, revision {found.revision}, not “{chart[:80]}”, "
            f"revision {revision}.",
            "Nothing was taken from it. Export the bundle again.",
        )
    return found


def _judge(name: str, here: Chart, there: Chart) -> None:
    ours = {key: (each.low, each.high) for key, each in here.parameters.items()}
    theirs = {key: (each.low, each.high) for key, each in there.parameters.items()}
    if ours != theirs:
        differ = sorted(key for key in ours.keys() | theirs.keys() if ours.get(key) != theirs.get(key))
        raise BadInput(
            f"{name} and this library each have a chart “{there.id}”, revision {there.revision}, but they differ "
            f"(in {', '.join(differ[:4])}{' …' if len(differ) > 4 else ''}); its sounds would be misread.",
            "Nothing was taken. Give one of the two charts another revision, then export again.",
        )
