"""What header, history and list show, made from what is on the desk: facts in, plain states out."""

from __future__ import annotations

from librarian.chart import Chart
from librarian.collection import VersionRow
from librarian.window.collection.state import RowMarks
from librarian.window.desk.choice import Choice, Side
from librarian.window.desk.standing import Standing
from librarian.window.header.state import (
    COMPARE,
    END_COMPARE,
    MATCH,
    RECALL,
    RECALL_B,
    SWAP,
    HeaderState,
    Title,
    detail,
)
from librarian.window.history.state import HOW, HistoryState, VersionMark
from librarian.window.parts.spec import ButtonSpec
from librarian.window.shown.sheet import Sheet
from librarian.window.words import clock_time, day


def recall_reason(choice: Choice, standing: Standing | None) -> str:
    """Why recall cannot work now, or empty."""
    side = choice.b if choice.comparing else choice.a
    if side is None or side.patch is None:
        return "Choose a kept sound first."
    reason = cannot_send(side.patch.instrument_name, standing)
    if reason or standing is None:
        return reason
    if side.content.revision != standing.chart.revision:
        return (
            f"It was kept with revision {side.content.revision} of the chart, and {standing.row.name} uses revision "
            f"{standing.chart.revision}. Carry it over first (Patch menu)."
        )
    if not side.values:
        return "Nothing of this sound is known, so there is nothing to send."
    return ""


def cannot_send(name: str, standing: Standing | None) -> str:
    """Why nothing can be sent to this instrument now, or empty. `name`: of one that may be gone."""
    if standing is None:
        return f"{name} is no longer in this library."
    if not standing.open:
        return f"No cable to {standing.row.name} is open."
    if standing.transfer not in {"", "identify"}:
        return "Another transfer is under way."
    return "" if standing.ready else f"{standing.row.name} has not answered yet."


def capture_reason(standing: Standing | None) -> str:
    """Why capture cannot work now, or empty."""
    if standing is None:
        return "No instrument is connected."
    if not standing.open:
        return f"No cable to {standing.row.name} is open."
    return "Another transfer is under way." if standing.transfer not in {"", "identify"} else ""


def match_reason(choice: Choice, standing: Standing | None) -> str:
    """Why the panel cannot lead back to A now, or empty."""
    if choice.a is None or choice.a.patch is None:
        return "Choose a kept sound first."
    if standing is None or not standing.open:
        return f"{choice.a.patch.instrument_name} cannot be heard: no cable to it is open."
    return ""


def guide_summary(choice: Choice, standing: Standing | None) -> str:
    """"29 agree · 9 to turn · 12 not heard yet: move each a little"."""
    if choice.a is None or choice.chart is None or standing is None:
        return ""
    wanted = [name for name in choice.chart.sound_ids if name in choice.a.values]
    agreed = standing.agreeing(choice.a.values)
    silent = sum(name not in standing.now for name in wanted)
    if len(agreed) == len(wanted):
        return f"All {len(wanted)} agree. What you hear is what the panel shows."
    parts = [f"{len(agreed)} agree", f"{len(wanted) - len(agreed) - silent} to turn"]
    if silent:
        parts.append(f"{silent} not heard yet: move each a little, so that the panel tells where it stands")
    return " · ".join(parts)


def title(side: Side, chart: Chart | None, *, beside: bool) -> Title:
    """Name and second line of one sound; of two that lie beside each other only the version is said."""
    if beside and side.version is not None:
        return Title(side.name, f"version {side.version.number}")
    of = side.content.known + len(side.content.unknown)
    if chart is not None and side.content.chart == chart.id:
        of = max(of, len(chart.parameters))
    if side.patch is None or side.version is None:
        return Title(side.name, f"read back just now · {side.content.known} of {of} known")
    taken = side.version.taken
    return Title(
        side.name,
        detail(
            instrument=side.patch.instrument_name, number=side.version.number, latest=side.latest,
            how=HOW[side.version.origin.kind], when=f"{day(taken)}, {clock_time(taken)}",
            known=side.content.known, of=of,
        ),
    )


def header(choice: Choice, sheet: Sheet | None, standing: Standing | None) -> HeaderState:
    """Titles, buttons, summary and legend."""
    if choice.a is None:
        return HeaderState()
    reason = recall_reason(choice, standing)
    buttons: tuple[ButtonSpec, ...]
    if choice.b is not None:
        buttons = (SWAP, END_COMPARE, _with_reason(RECALL_B, reason))
        if choice.b.patch is None:
            # What is in the instrument now needs no recall; A may be sent there again.
            buttons = (END_COMPARE, ButtonSpec("recall_a", "Recall A", primary=True, key="Ctrl+R"))
    else:
        match = ButtonSpec("match_panel", "End match", key="Ctrl+T") if choice.turning else MATCH
        buttons = (COMPARE, _with_reason(match, match_reason(choice, standing)), _with_reason(RECALL, reason))
    summary = guide_summary(choice, standing) if choice.turning and not choice.comparing else choice.odd
    if not summary and sheet is not None:
        since = clock_time(standing.in_it.since) if standing is not None and standing.in_it is not None else ""
        silent = standing.silent_since if standing is not None and not standing.open else None
        summary = sheet.summary(since=since, silent_since=clock_time(silent) if silent is not None else "")
    return HeaderState(
        a=title(choice.a, choice.chart, beside=choice.b is not None),
        b=title(choice.b, choice.chart, beside=True) if choice.b is not None else None,
        buttons=buttons, summary=summary, legend=sheet.marks_in_use() if sheet is not None else (),
        editable=choice.a.patch is not None,
    )


def _with_reason(button: ButtonSpec, reason: str) -> ButtonSpec:
    return ButtonSpec(button.name, button.text, button.primary, button.key, reason, button.tip)


def history(choice: Choice, standing: Standing | None) -> HistoryState:
    """The versions of the sound that was chosen last: of B's patch if there is one, else of A's."""
    side = choice.b if choice.b is not None and choice.b.patch is not None else choice.a
    if side is None or side.patch is None:
        return HistoryState()
    marks = tuple(_mark(one, choice) for one in side.versions)
    moved = len(standing.changed) if standing is not None else 0
    panel = f"{moved} moved" if standing is not None and standing.now and _is_in(standing, side) else ""
    return HistoryState(side.name, marks, panel)


def _is_in(standing: Standing, side: Side) -> bool:
    return standing.in_it is not None and side.patch is not None and standing.in_it.patch == side.patch.id


def _mark(version: VersionRow, choice: Choice) -> VersionMark:
    role = ""
    if choice.a is not None and choice.a.version is not None and choice.a.version.id == version.id:
        role = "A"
    elif choice.b is not None and choice.b.version is not None and choice.b.version.id == version.id:
        role = "B"
    return VersionMark(version.id, version.number, day(version.taken), HOW[version.origin.kind], role)  # type: ignore[arg-type]


def marks(choice: Choice, standings: dict[int, Standing]) -> RowMarks:
    """Which rows carry A, B, and the number of controls changed since the recall."""
    changed = {
        standing.in_it.patch: len(standing.changed)
        for standing in standings.values()
        if standing.in_it is not None and standing.changed
    }
    a = choice.a.patch.id if choice.a is not None and choice.a.patch is not None else None
    b = choice.b.patch.id if choice.b is not None and choice.b.patch is not None else None
    return RowMarks(a, b if b != a else None, changed)


