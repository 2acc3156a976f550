"""A bring-up report for people (text, HTML) and for machines (JUnit XML, which continuous integration reads)."""

from __future__ import annotations

import html
from collections import defaultdict
from xml.etree import ElementTree

from librarian.transfer.bringup.report import Finding, Report
from librarian.transfer.bringup.since import Changes

_MARKS = {"passed": "✓", "failed": "≠", "not tried": "–"}


def as_text(report: Report, changes: Changes | None = None) -> str:
    """Plain text: totals, what failed with its bytes, what was not tried and why, figures."""
    lines = [_title(report), report.sentence]
    if changes is not None:
        lines.append(changes.sentence)
    lines += [words for words in (report.open, report.restored) if words]
    for outcome, title in (("failed", "Failed"), ("not tried", "Not tried")):
        found = report.of(outcome)  # type: ignore[arg-type]
        if found:
            lines += ["", title]
            for one in found:
                lines += _lines(one, changes.of(one) if changes is not None else "")
    if changes is not None and changes.mended:
        lines += ["", "Mended", *(f"  {_name(one)}" for one in changes.mended)]
    if changes is not None and changes.untried:
        lines += ["", "Not tried any more", *(f"  {words}" for words in _untried(changes))]
    if report.measured:
        lines += ["", "Measured", *(f"  {name}: {figure}" for name, figure in report.measured)]
    lines += ["", "Passed", *(f"  {check}: {count}" for check, count in _counted(report.of("passed")).items()), ""]
    return "\n".join(lines)


def as_html(report: Report, changes: Changes | None = None) -> str:
    """One page without scripts or anything from elsewhere; reads and prints alone."""
    rows = []
    for one in report.findings:
        cells = [_MARKS[one.outcome], one.check, one.subject, one.expected, one.got, one.side]
        told = "".join(f"<td>{html.escape(cell)}</td>" for cell in cells)
        raw = "<br>".join(html.escape(line) for line in _bytes_of(one))
        since = html.escape(changes.of(one)) if changes is not None else ""
        rows.append(
            f'<tr class="{one.outcome.replace(" ", "-")}">{told}<td><b>{since}</b></td><td><code>{raw}</code></td></tr>'
        )
    heads = ("", "Tried", "On", "Expected", "Got", "Probably", "Since then" if changes is not None else "", "Bytes")
    said = [report.sentence, *([changes.sentence] if changes is not None else []), report.open, report.restored]
    figures = "".join(f"<li>{html.escape(name)}: {html.escape(figure)}</li>" for name, figure in report.measured)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{html.escape(_title(report))}</title><style>{_STYLE}</style></head><body>"
        f"<h1>{html.escape(_title(report))}</h1>"
        + "".join(f"<p>{html.escape(words)}</p>" for words in said if words)
        + (f"<ul>{figures}</ul>" if figures else "")
        + (_untried_html(changes) if changes is not None and changes.untried else "")
        + "<table><thead><tr>"
        + "".join(f"<th>{head}</th>" for head in heads)
        + "</tr></thead><tbody>\n"
        + "\n".join(rows)
        + "\n</tbody></table></body></html>\n"
    )


def _untried(changes: Changes) -> list[str]:
    """What failed then by name, what passed then counted by kind: one lost answer may take hundreds with it."""
    failed = [f"{_name(one)} (failed then)" for one in changes.untried if one.outcome == "failed"]
    passed = _counted(tuple(one for one in changes.untried if one.outcome == "passed"))
    return failed + [f"{check}: {count} passed then" for check, count in passed.items()]


def _untried_html(changes: Changes) -> str:
    items = "".join(f"<li>{html.escape(words)}</li>" for words in _untried(changes))
    return f"<p>Not tried any more:</p><ul>{items}</ul>"


def as_junit(report: Report, changes: Changes | None = None) -> str:
    """JUnit XML: one test suite for each kind of check, one case for each finding.

    With `changes` the message of a failure ends in what became of it, and a case that was mended says so.
    """
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
            since = changes.of(one) if changes is not None else ""
            if one.outcome == "failed":
                words = _with(f"expected {one.expected}, got {one.got}" if one.expected else one.got, since)
                failure = ElementTree.SubElement(
                    case, "failure", message=_clean(words), type=_clean(one.side or "instrument")
                )
                failure.text = _clean("\n".join(_bytes_of(one)))
            elif one.outcome == "not tried":
                ElementTree.SubElement(case, "skipped", message=_clean(one.got))
            elif since:
                ElementTree.SubElement(case, "system-out").text = since
    if changes is not None:
        root.set("name", _clean(f"{_title(report)}. {changes.sentence}"))
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


def _with(words: str, since: str) -> str:
    return f"{words} ({since})" if since else words


def _lines(one: Finding, since: str) -> list[str]:
    words = f"expected {one.expected}, got {one.got}" if one.expected else one.got
    lines = [f"  {_MARKS[one.outcome]} {_name(one)}: {_with(words, since)}"]
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
