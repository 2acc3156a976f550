"""What a bring-up found: one line for each thing that was tried; saved and loaded."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from librarian.errors import BadInput, OutsideProblem
from librarian.transfer.troubles import and_list

Outcome = Literal["passed", "failed", "not tried"]

_NAMED = re.compile(r".* \((?P<id>[^()]+)\)(?P<rest>, .*)?$")
_NUMBERED = frozenset({
    "identity: own device ID", "identity: another device ID", "dumps: another device ID",
    "controllers: another channel",
})  # fmt: skip
"""Checks that are made once, with the number of an address as their subject."""

_KIND = "librarian bring-up report"
_EDITION = 1


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was tried. `check` names the kind ("controllers: ends"), `subject` what it was tried on, or ''.

    `expected`, `got`: in words or display units. `side`: where a fault probably is. `sent`, `received`: the bytes of
    a failure, one message each, in hexadecimal.
    """

    check: str
    subject: str
    outcome: Outcome
    expected: str = ""
    got: str = ""
    side: str = ""
    sent: tuple[str, ...] = ()
    received: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[str, str]:
        """What makes it the same thing in another report: a label or a device ID may have changed since."""
        if self.check in _NUMBERED:
            return self.check, ""
        named = _NAMED.match(self.subject)
        return self.check, f"{named['id']}{named['rest'] or ''}" if named else self.subject


@dataclass(frozen=True, slots=True)
class Report:
    """A whole run. `measured`: figures that are no pass or fail, such as the fastest gap, in words. `taken`: UTC.

    `unproved`: labels of the parameters that the chart can set and nothing reads back: of these nobody knows whether
    they arrive, however many findings passed.
    """

    instrument: str
    chart: str
    revision: int
    firmware: str
    port: str
    findings: tuple[Finding, ...]
    measured: tuple[tuple[str, str], ...]
    seconds: float
    taken: datetime
    restored: str = ""
    unproved: tuple[str, ...] = ()

    def of(self, outcome: Outcome) -> tuple[Finding, ...]:
        """The findings with this outcome, in the order tried."""
        return tuple(one for one in self.findings if one.outcome == outcome)

    @property
    def sentence(self) -> str:
        """Totals in one line."""
        counts = {outcome: len(self.of(outcome)) for outcome in ("passed", "failed", "not tried")}
        return f"{counts['passed']} passed, {counts['failed']} failed, {counts['not tried']} not tried"

    @property
    def open(self) -> str:
        """What this report cannot say of the instrument; '' where everything that can be set is read back."""
        if not self.unproved:
            return ""
        return f"Not proved, because nothing reads them back here: {and_list(self.unproved)}."


def save(report: Report, path: Path) -> None:
    """Write a report that `load` reads back. Raises OutsideProblem when the file cannot be written."""
    content = {"file": _KIND, "edition": _EDITION, **asdict(report), "taken": report.taken.isoformat()}
    try:
        path.write_text(json.dumps(content, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be written: {error.strerror}.", "Choose another place.") from error


def load(path: Path) -> Report:
    """Read a saved report. Raises BadInput when it is none, OutsideProblem when the file cannot be read."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise OutsideProblem(f"{path} could not be read: {error.strerror}.", "Choose another file.") from error
    except json.JSONDecodeError as error:
        raise _no_report(path, f"from line {error.lineno} on it is not JSON, or it was cut there") from error
    except (ValueError, RecursionError) as error:
        raise _no_report(path, "it is not JSON") from error
    if not isinstance(content, dict) or content.get("file") != _KIND:
        raise _no_report(path, "its first key does not say so")
    if content.get("edition") != _EDITION:
        raise _no_report(path, f"it is of edition {content.get('edition')}, and this program reads {_EDITION}")
    try:
        return _report(content)
    except KeyError as error:
        raise _no_report(path, f"{error} is missing in it") from error
    except (TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _no_report(path, f"it is damaged, or was changed by hand ({error})") from error


def _no_report(path: Path, why: str) -> BadInput:
    return BadInput(f"{path} is no saved bring-up report: {why}.", "Choose a file that a bring-up has saved.")


def _report(content: dict[str, Any]) -> Report:
    taken = datetime.fromisoformat(_text(content["taken"]))
    return Report(
        instrument=_text(content["instrument"]),
        chart=_text(content["chart"]),
        revision=int(content["revision"]),
        firmware=_text(content["firmware"]),
        port=_text(content["port"]),
        findings=tuple(_finding(one) for one in content["findings"]),
        measured=tuple((_text(name), _text(figure)) for name, figure in content["measured"]),
        seconds=float(content["seconds"]),
        taken=taken if taken.tzinfo is not None else taken.replace(tzinfo=UTC),
        restored=_text(content["restored"]),
        unproved=_texts(content.get("unproved", ())),
    )


def _finding(content: dict[str, Any]) -> Finding:
    outcome = content["outcome"]
    if outcome not in {"passed", "failed", "not tried"}:
        raise ValueError(f"outcome {outcome!r}")
    words = {name: _text(content[name]) for name in ("check", "subject", "expected", "got", "side")}
    return Finding(outcome=outcome, sent=_texts(content["sent"]), received=_texts(content["received"]), **words)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r}")
    return value


def _texts(values: Iterable[object]) -> tuple[str, ...]:
    return tuple(_text(value) for value in values)
