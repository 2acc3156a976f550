"""A bring-up report for people (text, HTML) and for machines (JUnit XML, which continuous integration reads)."""

from __future__ import annotations

import html
from collections import defaultdict
from xml.etree import ElementTree

from librarian.transfer.bringup.report import Changes, Finding, Report

_MARKS = {"passed": "✓", "failed": "≠", "not tried": "–"}


def as_text(report: Report, changes: Changes | None = None) -> str:
    """Plain text: totals, what failed with its bytes, what was not tried and why, figures."""
    lines = [_title(report), report.sentence]
    if changes is not None:
        lines.append(changes.sentence)
    lines += [words for words in (report.open, report.restored) if words]
    new = {one.key for one in changes.broken} if changes is not None else set()
    for outcome, title in (("failed", "Failed"), ("not tried", "Not tried")):
        found = report.of(outcome)  # type: ignore[arg-type]
        if found:
            lines += ["", title]
            for one in found:
                lines += _lines(one, new=one.key in new)
    if changes is not None and changes.mended:
        lines += ["", "Mended", *(f"  {_name(one)}" for one in changes.mended)]
    if report.measured:
        lines += ["", "Measured", *(f"  {name}: {figure}" for name, figure in report.measured)]
    lines += ["", "Passed", *(f"  {check}: {count}" for check, count in _counted(report.of("passed")).items()), ""]
    return "\n".join(lines)


def as_html(report: Report, changes: Changes | None = None) -> str:
    """One page without scripts or anything from elsewhere; reads and prints alone."""
    new = {one.key for one in changes.broken} if changes is not None else set()
    rows = []
    for one in report.findings:
        cells = [_MARKS[one.outcome], one.check, one.subject, one.expected, one.got, one.side]
        told = "".join(f"<td>{html.escape(cell)}</td>" for cell in cells)
        raw = "<br>".join(html.escape(line) for line in _bytes_of(one))
        since = "<b>new</b>" if one.key in new else ""
        rows.append(
            f'<tr class="{one.outcome.replace(" ", "-")}">{told}<td>{since}</td><td><code>{raw}</code></td></tr>'
        )
    heads = ("", "Tried", "On", "Expected", "Got", "Probably", "", "Bytes")
    said = [report.sentence, *([changes.sentence] if changes is not None else []), report.open, report.restored]
    figures = "".join(f"<li>{html.escape(name)}: {html.escape(figure)}</li>" for name, figure in report.measured)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{html.escape(_title(report))}</title><style>{_STYLE}</style></head><body>"
        f"<h1>{html.escape(_title(report))}</h1>"
        + "".join(f"<p>{html.escape(words)}</p>" for words in said if words)
        + (f"<ul>{figures}</ul>" if figures else "")
        + "<table><thead><tr>"
        + "".join(f"<th>{head}</th>" for head in heads)
        + "</tr></thead><tbody>\n"
        + "\n".join(rows)
        + "\n</tbody></table></body></html>\n"
    )


def as_junit(report: Report) -> str:
    """JUnit XML: one test suite for each kind of check, one case for each finding."""
    suites: dict[str, list[Finding]] = defaultdict(list)
    for one in report.findings:
        suites[one.check].append(one)
    root = ElementTree.Element(
        "testsuites",
        name=_clean(_title(report)),
        tests=str(len(report.findings)),
        failures=str(len(report.of("failed"))),
        skipped=str(len(report.of("not tried"))),
        time=f"{report.seconds:.3f}",
    )
    for check, findings in suites.items():
        suite = ElementTree.SubElement(
            root,
            "testsuite",
            name=_clean(check),
            tests=str(len(findings)),
            failures=str(sum(one.outcome == "failed" for one in findings)),
            skipped=str(sum(one.outcome == "not tried" for one in findings)),
            timestamp=f"{report.taken:%Y-%m-%dT%H:%M:%S}",
        )
        for one in findings:
            case = ElementTree.SubElement(
                suite, "testcase", classname=_clean(f"{report.chart}.{check}"), name=_clean(one.subject or check)
            )
            if one.outcome == "failed":
                words = f"expected {one.expected}, got {one.got}" if one.expected else one.got
                failure = ElementTree.SubElement(
                    case, "failure", message=_clean(words), type=_clean(one.side or "instrument")
                )
                failure.text = _clean("\n".join(_bytes_of(one)))
            elif one.outcome == "not tried":
                ElementTree.SubElement(case, "skipped", message=_clean(one.got))
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


_STYLE = (
    "body{font:14px/1.4 sans-serif;margin:2em;color:#222;background:#fff}table{border-collapse:collapse}"
    "td,th{border-bottom:1px solid #bbb;padding:2px 8px;text-align:left;vertical-align:top}"
    ".failed td{font-weight:600}.not-tried td{color:#666}code{font-size:12px}"
)


def _title(report: Report) -> str:
    firmware = f", firmware {report.firmware}" if report.firmware else ""
    return (
        f"Bring-up of {report.instrument}{firmware} against chart {report.chart} revision {report.revision} "
        f"on {report.port}, {report.taken:%Y-%m-%d %H:%M} UTC"
    )


def _name(one: Finding) -> str:
    return f"{one.check}, {one.subject}" if one.subject else one.check


def _lines(one: Finding, *, new: bool) -> list[str]:
    words = f"expected {one.expected}, got {one.got}" if one.expected else one.got
    lines = [f"  {_MARKS[one.outcome]} {_name(one)}: {words}" + (" (new)" if new else "")]
    if one.side:
        lines.append(f"      probably {one.side}")
    return lines + [f"      {line}" for line in _bytes_of(one)]


def _bytes_of(one: Finding) -> list[str]:
    return [f"out {raw}" for raw in one.sent] + [f"in  {raw}" for raw in one.received]


def _counted(findings: tuple[Finding, ...]) -> dict[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for one in findings:
        counts[one.check] += 1
    return counts


def _clean(text: str) -> str:
    """XML has no place for control characters."""
    return "".join(one for one in text if one >= " " or one in "\n\t")
