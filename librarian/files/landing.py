"""Where the sounds of a file's instruments go: instruments of the library that are the same, else new ones."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from librarian.chart import Chart
from librarian.collection import InstrumentRow, Library
from librarian.collection.folding import clean_name
from librarian.files.incoming import Landing
from librarian.messages import Address


@dataclass(frozen=True)
class Told:
    """An instrument as a file tells of it."""

    name: str
    chart: Chart
    address: Address
    firmware: str = ""
    removed: bool = False


def land(library: Library, told: Sequence[Told], instrument: int | None = None) -> tuple[Landing, ...]:
    """One landing for each, in order. `instrument` takes all sounds of its chart.

    The same name and chart is the same instrument. Else, when file and library each have exactly one more instrument
    of a chart, they are taken for one: its owner calls it otherwise. Else it is added.
    """
    # As the library would keep it, so that it is found there again.
    told = [replace(each, name=clean_name(each.name, cut=True) or each.chart.name) for each in told]
    there = library.instruments(removed=True)
    chosen = [_forced(there, each, instrument) for each in told]
    used = {row.id for row in chosen if row is not None}
    # One that was taken away here still owns its sounds: they are found there, not kept twice.
    for alive_alike in (True, False):
        for place, each in enumerate(told):
            if chosen[place] is None:
                chosen[place] = row = _same(there, each, used, alive_alike=alive_alike)
                used |= {row.id} if row is not None else set()
    for place, each in enumerate(told):
        if chosen[place] is not None or each.removed:
            continue
        alike = [row for row in there if row.chart == each.chart.id and not row.removed and row.id not in used]
        others = [
            one
            for one, found in zip(told, chosen, strict=True)
            if found is None and one.chart.id == each.chart.id and not one.removed
        ]
        if len(alike) == 1 and len(others) == 1:
            chosen[place] = alike[0]
    return tuple(_landing(each, row) for each, row in zip(told, chosen, strict=True))


def added(landings: Sequence[Landing]) -> tuple[str, ...]:
    """Names of the instruments that an import adds."""
    return tuple(each.called for each in landings if each.instrument is None)


def otherwise(landings: Sequence[Landing]) -> tuple[str, ...]:
    """What is worth saying of instruments that are called otherwise here."""
    return tuple(
        f"Sounds of “{each.name}” go to “{each.called}”"
        for each in landings
        if each.instrument is not None and each.called != each.name
    )


def _landing(each: Told, row: InstrumentRow | None) -> Landing:
    number = None if row is None else row.id
    called = each.name if row is None else row.name
    return Landing(each.name, each.chart, each.address, number, called, each.firmware, each.removed)


def _forced(there: Sequence[InstrumentRow], each: Told, instrument: int | None) -> InstrumentRow | None:
    return next((row for row in there if row.id == instrument and row.chart == each.chart.id), None)


def _same(
    there: Sequence[InstrumentRow], each: Told, used: Collection[int], *, alive_alike: bool
) -> InstrumentRow | None:
    """The first that is called so and is not taken by another one of the file: two units may have one name."""
    name = each.name.casefold()
    return next(
        (
            row
            for row in there
            if row.chart == each.chart.id
            and row.name.casefold() == name
            and row.id not in used
            and (row.removed == each.removed or not alive_alike)
        ),
        None,
    )
