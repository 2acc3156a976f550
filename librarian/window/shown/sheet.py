"""The rows of the values table, made from the same cells as the panel, so that the two never disagree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.window.paint.marks import Mark
from librarian.window.paint.strip import StripState
from librarian.window.shown.cells import Cell, cells_of
from librarian.window.shown.chart_like import ChartLike, ParameterLike
from librarian.window.shown.state import Shown

Scope = Literal["differences", "changed", "unknown", "all"]
SCOPE_WORDS: dict[Scope, str] = {
    "differences": "Differences", "changed": "Changed", "unknown": "Unknown", "all": "All",
}
Order = Literal["share", "panel"]
NOT_HEARD = "not heard"
NO_REASON = "never received; recall leaves it as it is"


@dataclass(frozen=True)
class ValueRow:
    """One parameter in the table. `second` is B, the panel now, or why it is unknown, as the table's mode says."""

    id: str
    section: str
    label: str
    a: str
    second: str
    difference: str
    strip: StripState
    binding: str
    mark: Mark | Literal[""]
    weight: float
    stands_out: bool
    a_unknown: bool
    second_unknown: bool
    spoken: str


Mode = Literal["compare", "panel", "unknown"]


@dataclass(frozen=True)
class Counts:
    """One number for five places: header, section titles, switch, table and plates all take these."""

    differ: int = 0
    equal: int = 0
    unclear: int = 0
    counted: int = 0
    changed: int = 0
    unknown: int = 0
    total: int = 0
    differ_by_section: tuple[tuple[str, int], ...] = ()


class Sheet:
    """A chart with the facts laid on it: cells, counts and table rows, computed once and then read by everyone."""

    def __init__(self, chart: ChartLike, shown: Shown) -> None:
        self.chart = chart
        self.shown = shown
        self.cells: dict[str, Cell] = cells_of(chart, shown)
        self._compared = {row.parameter: row for row in shown.comparison.rows} if shown.comparison else {}
        self.counts = self._count()

    def says(self, chart: ChartLike, shown: Shown) -> bool:
        """True when a sheet made of these would draw nothing differently."""
        return self.chart is chart and self.shown == shown

    def _count(self) -> Counts:
        cells = self.cells.values()
        states = [cell.state for cell in cells]
        per_section: list[tuple[str, int]] = []
        for section in self.chart.sections:
            found = sum(self.cells[parameter.id].state == "different" for parameter in section.parameters)
            per_section.append((section.id, found))
        differ, equal, unclear = (states.count(word) for word in ("different", "equal", "unknown"))
        return Counts(
            differ=differ, equal=equal, unclear=unclear, counted=differ + equal + unclear,
            changed=sum(self._changed(cell) for cell in cells),
            unknown=sum(cell.control.a is None for cell in cells), total=len(self.cells),
            differ_by_section=tuple(per_section),
        )

    @staticmethod
    def _changed(cell: Cell) -> bool:
        return cell.control.changed or cell.moved

    def mode(self, scope: Scope) -> Mode:
        """Which columns the table has: two sounds, the panel, or what is unknown and why."""
        if self.shown.comparing:
            return "compare"
        return "unknown" if scope == "unknown" else "panel"

    def scopes(self) -> tuple[tuple[Scope, int], ...]:
        """What the switch above the table offers, with the number of rows each gives; the narrowest first."""
        counts = self.counts
        offered: list[tuple[Scope, int]] = []
        if self.shown.comparing:
            offered.append(("differences", counts.differ))
        else:
            if counts.changed or not counts.unknown:
                offered.append(("changed", counts.changed))
            if counts.unknown:
                offered.append(("unknown", counts.unknown))
        offered.append(("all", counts.total))
        return tuple(offered)

    def rows(self, scope: Scope, order: Order) -> tuple[ValueRow, ...]:
        """The table's rows. Order 'share': largest share of the range first, what cannot be compared last."""
        mode = self.mode(scope)
        made = [self._row(self.chart.parameters[name], cell, mode) for name, cell in self.cells.items()
                if self._wanted(cell, scope)]
        if order == "share":
            # Python's sort is stable: equal shares stay in panel order.
            made.sort(key=lambda row: (row.weight < 0, -row.weight))
        return tuple(made)

    def _wanted(self, cell: Cell, scope: Scope) -> bool:
        if scope == "differences":
            return cell.state == "different"
        if scope == "changed":
            return self._changed(cell)
        return scope == "all" or cell.control.a is None

    def _row(self, parameter: ParameterLike, cell: Cell, mode: Mode) -> ValueRow:
        shown = self.shown
        a = None if shown.a is None else shown.a.get(parameter.id)
        control = cell.control
        text_a = "unknown" if a is None else parameter.display(a)
        second, difference, weight, missing = "", "", 0.0, False
        strip = StripState(a=control.a)
        stands_out = False
        if mode == "compare":
            second, difference, weight, missing = self._against_b(parameter, cell)
            stands_out = cell.state == "different"
            b = shown.b.get(parameter.id) if shown.b is not None else None
            share = None if b is None else parameter.share(b)
            strip = StripState(a=control.a, b=share, differs=stands_out)
        elif mode == "unknown":
            missing = stands_out = a is None
            second = shown.reasons.get(parameter.id, NO_REASON)
        else:
            now = shown.now.get(parameter.id)
            stands_out = self._changed(cell)
            missing = now is None
            second = NOT_HEARD if now is None else parameter.display(now)
            if a is not None and now is not None and cell.moved:
                difference = parameter.difference(a, now)
                weight = self._share_between(parameter, a, now)
            strip = StripState(a=control.a, now=None if now is None else parameter.share(now))
        return ValueRow(
            id=parameter.id, section=cell.section, label=parameter.label, a=text_a, second=second,
            difference=difference, strip=strip, binding=parameter.binding_text, mark=self._mark(cell, mode),
            weight=weight, stands_out=stands_out, a_unknown=a is None, second_unknown=missing,
            spoken=cell.spoken_name,
        )

    @staticmethod
    def _share_between(parameter: ParameterLike, a: int, b: int) -> float:
        if a == b:
            return 0.0
        if parameter.kind in {"stepped", "switch"}:
            return 1.0
        return abs(parameter.share(b) - parameter.share(a))

    def _against_b(self, parameter: ParameterLike, cell: Cell) -> tuple[str, str, float, bool]:
        b = self.shown.b.get(parameter.id) if self.shown.b is not None else None
        text = "unknown" if b is None else parameter.display(b)
        if cell.state == "left out":
            return text, "left out", 0.0, b is None
        row = self._compared.get(parameter.id)
        if row is None or row.state == "unknown":
            return text, "cannot compare", -1.0, b is None
        return text, row.text_difference, row.share, False

    def _mark(self, cell: Cell, mode: Mode) -> Mark | Literal[""]:
        if cell.control.a is None or cell.state == "unknown":
            return "unknown"
        return "changed" if mode == "panel" and self._changed(cell) else ""

    def summary(self, *, since: str = "", silent_since: str = "") -> str:
        """The bold line above the panel. `since`: when the sound was captured or recalled ("19:42");
        `silent_since`: when the instrument was last heard, if it is not heard any more."""
        counts = self.counts
        if self.shown.a is None:
            return ""
        if self.shown.comparing:
            parts = [f"{counts.differ} of {counts.counted} {'differs' if counts.differ == 1 else 'differ'}",
                     f"{counts.equal} equal"]
            if counts.unclear:
                parts.append(f"{counts.unclear} cannot be compared")
            if any(cell.state == "left out" for cell in self.cells.values()):
                parts.append("setup left out")
            return " · ".join(parts)
        if silent_since:
            return (f"Panel not heard since {silent_since}: its positions are not shown. "
                    "Recall waits for an answer.")
        if counts.changed:
            noun = "control" if counts.changed == 1 else "controls"
            return f"{counts.changed} {noun} moved since {since}" if since else f"{counts.changed} {noun} moved"
        if counts.unknown:
            return f"{counts.unknown} of {counts.total} unknown: never received, never sent"
        return ""

    def marks_in_use(self) -> tuple[Mark, ...]:
        """The legend: just the marks that stand on the panel now, in the order of the vocabulary."""
        controls = [cell.control for cell in self.cells.values()]
        used: list[Mark] = []
        if any(control.a is not None for control in controls):
            used.append("A")
        if self.shown.comparing:
            used.append("B")
        if any(control.now is not None for control in controls):
            used.append("panel")
        if any(control.changed for control in controls):
            used.append("changed")
        if any(control.a is None or control.b_missing or control.not_heard for control in controls):
            used.append("unknown")
        if any(control.agrees for control in controls):
            used.append("agrees")
        if any(control.locked for control in controls):
            used.append("locked")
        if any(control.setup for control in controls):
            used.append("setup")
        return tuple(used)
