"""What an instrument held before a recall or a bring-up, kept in the library unless it is there already."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from librarian.chart import Chart
from librarian.collection import Library
from librarian.errors import OutsideProblem
from librarian.messages import Values, Version

_RECENT = 200
RECALL_TAG = "before a recall"
BRING_UP_TAG = "before a bring-up"


class NotKept(OutsideProblem):
    """What an instrument holds could not be kept, so that nothing was sent over it; the person may go on without."""


def before_the_recall_of(over: str) -> str:
    """The note of what was replaced by `over`."""
    return f"Before the recall of “{over}”"


def before_in(place: str) -> str:
    """The note of what a bring-up found in `place`, '' for the edit buffer."""
    return f"In {place or 'the edit buffer'} before it"


def panel_name(taken: datetime) -> str:
    """What a captured sound is called until the person names it: "Panel, 12 Mar 20:04"."""
    local = taken.astimezone()
    return f"Panel, {local.day} {local:%b %H:%M}"


def keep_what_was_there(
    library: Library, instrument: int, chart: Chart, before: Version, over: str, *, with_setup: bool
) -> None:
    """Keep `before` as a patch, unless a recent one holds that sound. `over`: the name of what is recalled over it.

    The set-up counts only where the recall changes it: a transposition that differs makes no other sound.
    """
    if before.values and not _is_held(library, instrument, chart, before, with_setup=with_setup):
        name = before.name.strip() or panel_name(before.taken)
        library.keep(instrument, name, before, [RECALL_TAG], before_the_recall_of(over))


def before_bring_up(library: Library, instrument: int, chart: Chart) -> Callable[[str, Version], None]:
    """The `keep_before` of a bring-up: it puts back what it writes over, and a broken cable may keep it from that."""

    def keep(place: str, before: Version) -> None:
        # Of a firmware that the chart does not describe there are no values, but the bytes as they came.
        some = before.values or before.received
        if some and not _is_held(library, instrument, chart, before, with_setup=True):
            name = before.name.strip() or place[:1].upper() + place[1:] or panel_name(before.taken)
            library.keep(instrument, name, before, [BRING_UP_TAG], before_in(place))

    return keep


def _is_held(library: Library, instrument: int, chart: Chart, before: Version, *, with_setup: bool) -> bool:
    """Is it the latest version of a recent patch? If it is an old one's, a copy does no harm."""
    told = tuple(chart.parameters) if with_setup else chart.sound_ids
    rows = library.rows(library.find(instrument=instrument, order="time").ids[:_RECENT])
    contents = library.version_contents([row.latest for row in rows])
    wanted = _of(before.values, told)
    return any(
        (each.chart, each.revision) == (before.chart, before.revision)
        and _of(each.values, told) == wanted
        and (wanted or each.received == before.received)
        for each in contents.values()
    )


def _of(values: Values, names: tuple[str, ...]) -> dict[str, int]:
    return {name: values[name] for name in names if name in values}
