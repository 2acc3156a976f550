"""Sounds of a library carried over to the revision of the chart that their instrument uses now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from librarian.chart import Carried, Chart, carry
from librarian.collection import Library, PatchRow
from librarian.errors import Refused

ReadRevision = Callable[[str, int], Chart]


@dataclass(frozen=True, slots=True)
class CarriedOver:
    """What becomes of one patch. `was`: the revision of the version that it holds now; `carried`: the next one."""

    patch: PatchRow
    was: int
    carried: Carried


def carried_over(library: Library, chart: ReadRevision, patches: Sequence[PatchRow]) -> tuple[CarriedOver, ...]:
    """What becomes of these patches; those that their instrument's revision explains already are left out.

    Nothing is kept. `chart` gives a revision of a chart. Raises Refused where the history of a chart does not reach.
    """
    found = []
    for patch in patches:
        version, instrument = library.version(patch.latest), library.instrument(patch.instrument)
        if (version.chart, version.revision) == (instrument.chart, instrument.revision):
            continue
        # The later revision is the one that knows how they follow each other, whichever way it goes.
        newest = chart(version.chart, max(version.revision, instrument.revision))
        try:
            carried = carry(version, newest, instrument.revision)
        except Refused as reason:
            raise Refused(f"“{patch.name}” cannot be carried over: {reason}", reason.hint) from reason
        found.append(CarriedOver(patch, version.revision, carried))
    return tuple(found)


def keep_carried(library: Library, found: Sequence[CarriedOver]) -> None:
    """Keep them as the next versions of their patches, as one step of undo; the earlier versions stay."""
    if not found:
        return
    what = f"“{found[0].patch.name}”" if len(found) == 1 else f"{len(found)} patches"
    with library.together(f"Carry over {what}"):
        for each in found:
            library.add_version(each.patch.id, each.carried.version, parent=each.patch.latest)


def behind(library: Library, instrument: int) -> list[PatchRow]:
    """The patches of an instrument whose latest version was kept with another revision of its chart than it uses."""
    uses = library.instrument(instrument)
    rows = [row for row in library.rows(library.find("").ids) if row.instrument == instrument]
    kept = library.version_contents([row.latest for row in rows])
    return [row for row in rows if kept[row.latest].revision != uses.revision]
