"""The report as a drawer: totals, then every finding with tick, unequal sign or question mark; below, the bytes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from librarian.transfer.bringup import Changes, Finding, Report
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import text_to_read
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.segments import Segments
from librarian.window.parts.sentence import Sentence
from librarian.window.words import clock_time, day, figures

Scope = Literal["all", "failed", "passed", "not tried"]
MEMORY = (("leave", "Leave its memory alone"), ("write", "Write its memory too"))


def finding_line(one: Finding, since: str) -> Line:
    """One row. `since`: what became of it since the report that this one is compared with, or ''."""
    name = one.subject or one.check
    second = one.check if one.subject else ""
    if one.outcome == "failed":
        words = f"{one.expected}, got {one.got}" if one.expected else one.got
        parts = [second, f"probably {one.side}" if one.side else "", since]
        return Line(name, " · ".join(part for part in parts if part) or "failed", words, "different", "failed",
                    strong=True, trouble=True)
    if one.outcome == "passed":
        words = " · ".join(part for part in (second or "passed", since) if part)
        return Line(name, words, one.got, "agrees", "passed")
    return Line(name, one.got or second, "not tried", "unknown", "not tried")


def bytes_of(one: Finding) -> str:
    """What was expected and got, and the messages of a failure."""
    said = [f"{one.check}, {one.subject}" if one.subject else one.check]
    if one.expected:
        said.append(f"expected  {one.expected}")
    if one.got:
        said.append(f"got       {one.got}")
    if one.side:
        said.append(f"probably  {one.side}")
    said += [f"sent      {raw}" for raw in one.sent]
    said += [f"received  {raw}" for raw in one.received]
    return "\n".join(said)


class BringUpDrawer(Drawer):
    """`scope.chosen` and `memory.chosen` are its switches."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Bring-up")
        self.scope = Segments(look, "Which findings")
        self.memory = Segments(look, "What is written")
        self.changes = Sentence(look, second=True)
        self.changes.hide()
        self.list = LineList(look, "Findings")
        self.foremost = self.list
        self.bytes = text_to_read(look, "Bytes of this finding")
        self.padded(self.changes, stretch_last=False)
        self.padded(self.scope)
        self.body.addWidget(self.list, 4)
        self.body.addWidget(self.bytes, 1)
        self.padded(self.memory)
        self.look_changed()

    def look_changed(self) -> None:
        self.bytes.setFont(self.fonts.get(SMALL, fixed=True))

    def show_report(self, report: Report, changes: Changes | None, scope: Scope) -> Sequence[Finding]:
        """Another report, or another part of it; returns the findings shown, in their order."""
        firmware = f", firmware {report.firmware}" if report.firmware else ""
        self.title.say(f"{report.instrument}{firmware}")
        when = f"Chart revision {report.revision}, {day(report.taken)} at {clock_time(report.taken)}."
        measured = [f"{name[:1].upper()}{name[1:]}: {figure}." for name, figure in report.measured]
        told = (report.open, when, report.restored, *measured)
        self.say(f"{report.sentence}.", " ".join(words for words in told if words))
        self.changes.setVisible(changes is not None)
        if changes is not None:
            mended = [one.subject or one.check for one in changes.mended]
            self.changes.say(f"{changes.sentence}.", f"Mended: {', '.join(mended[:6])}." if mended else "")
        counts = {outcome: len(report.of(outcome)) for outcome in ("failed", "not tried", "passed")}
        words = [("all", f"All {figures(len(report.findings))}"), ("failed", f"Failed {figures(counts['failed'])}"),
                 ("not tried", f"Not tried {figures(counts['not tried'])}"),
                 ("passed", f"Passed {figures(counts['passed'])}")]
        self.scope.show_segments(words, scope)
        self.scope.show()
        order = {"failed": 0, "not tried": 1, "passed": 2}
        shown = sorted((one for one in report.findings if scope in {"all", one.outcome}),
                       key=lambda one: order[one.outcome])
        self.list.show_lines([finding_line(one, changes.of(one) if changes is not None else "") for one in shown])
        self.bytes.setPlainText("")
        self.list.select_row(0)
        return shown
