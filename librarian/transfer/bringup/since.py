"""A report against that of an earlier firmware: what is new, mended, as before, and no longer tried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.chart import Chart
from librarian.errors import BadInput
from librarian.transfer.bringup.report import Finding, Report

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Changes:
    """A report against an earlier one: what fails now and did not, what failed and does not, what fails in both.

    `mended` and `untried` (passed or failed then, not tried now) are findings of the earlier report. `words`: what
    became of those of the later one, by their keys.
    """

    since: str
    broken: tuple[Finding, ...]
    mended: tuple[Finding, ...]
    still: tuple[Finding, ...]
    untried: tuple[Finding, ...] = ()
    words: Mapping[Key, str] = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """In one line, with the firmware it is compared with."""
        new = f"{len(self.broken)} new failure{'' if len(self.broken) == 1 else 's'}"
        said = f"Since {self.since}: {new}, {len(self.mended)} mended, {len(self.still)} as before"
        return f"{said}, {len(self.untried)} not tried any more" if self.untried else said

    def of(self, one: Finding) -> str:
        """What became of a finding of the later report, in a word or two; '' where it passed before as well."""
        return self.words.get(one.key, "")


def refuse_other(earlier: Report, chart: str) -> None:
    """Raise BadInput when the earlier report is of an instrument with another chart: nothing of it can be compared."""
    if earlier.chart != chart:
        raise BadInput(
            f"The earlier report is of {earlier.instrument}, held against the chart {earlier.chart}; this one is "
            f"about the chart {chart}.",
            "Compare with a report of the same kind of instrument.",
        )


def changes(now: Report, earlier: Report, chart: Chart | None = None) -> Changes:
    """Compare with the report of an earlier firmware (or of the same one before).

    `chart`: that of the later report; parameters that got another id between the two revisions are known by its
    history. Raises BadInput where the two are of different charts.
    """
    refuse_other(earlier, now.chart)
    became = _became(chart, earlier.revision)
    then = {_key_now(one, became): one for one in earlier.findings}
    failed_then = {key for key, one in then.items() if one.outcome == "failed"}
    tried_then = {key for key, one in then.items() if one.outcome != "not tried"}
    passed_now = {one.key for one in now.of("passed")}
    failed_now = now.of("failed")
    tried_now = {*passed_now, *(one.key for one in failed_now)}
    words = dict.fromkeys(failed_then & passed_now, "mended")
    for one in failed_now:
        known = "as before" if one.key in failed_then else "new"
        words[one.key] = known if one.key in tried_then else "new, not tried then"
    return Changes(
        since=_since(now, earlier),
        broken=tuple(one for one in failed_now if one.key not in failed_then),
        mended=tuple(one for key, one in then.items() if key in failed_then and key in passed_now),
        still=tuple(one for one in failed_now if one.key in failed_then),
        untried=tuple(one for key, one in then.items() if key in tried_then and key not in tried_now),
        words=words,
    )


def _since(now: Report, earlier: Report) -> str:
    """“firmware 1.2, chart revision 3 (2026-05-01 10:00 UTC)”: as much as tells the two reports apart."""
    said = [f"firmware {earlier.firmware}"] if earlier.firmware else []
    if earlier.revision != now.revision:
        said.append(f"chart revision {earlier.revision}")
    if earlier.instrument != now.instrument:
        said.append(f"the report of {earlier.instrument}")
    when = f"{earlier.taken:%Y-%m-%d %H:%M} UTC"
    return f"{', '.join(said)} ({when})" if said else when


def _became(chart: Chart | None, revision: int) -> dict[str, str]:
    """Id in an earlier revision -> id now, of parameters that got another one and are one parameter still."""
    became: dict[str, str] = {}
    for number in sorted(chart.history if chart is not None else ()):
        if chart is None or number <= revision:
            continue
        for change in chart.history[number].changes:
            if len(change.old) == len(change.new) == 1:
                first = next((old for old, new in became.items() if new == change.old[0]), change.old[0])
                became[first] = change.new[0]
    return became


def _key_now(one: Finding, became: Mapping[str, str]) -> Key:
    check, subject = one.key
    name, comma, which = subject.partition(", ")
    return check, f"{became.get(name, name)}{comma}{which}"
