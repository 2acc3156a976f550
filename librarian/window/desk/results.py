"""Search results of the library in the words of the collection area."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from librarian.collection import Completion as Known
from librarian.collection import Found as Answered
from librarian.collection import Library, PatchRow
from librarian.collection import Reason as Why
from librarian.window.collection.state import (
    Completion,
    Found,
    Nothing,
    PatchLine,
    Reason,
    SearchProblem,
    TagCount,
)
from librarian.window.desk.groups import with_headings
from librarian.window.parts.spec import ButtonSpec

if TYPE_CHECKING:
    from librarian.window.desk.desk import Answer

ORDERS = (
    ("name", "by name"), ("time", "latest first"), ("instrument", "by instrument"), ("match", "best match first"),
    ("group tag", "in groups by tag"), ("group instrument", "in groups by instrument"),
)
_KINDS = {"word": "word", "parameter": "value"}
_BEYOND_NAME = ("note", "value", "unknown", "time", "origin", "versions")


class Rows:
    """The list's source of rows. `result` tells which answer the rows belong to: it says why each was found."""

    def __init__(self, library: Library, result: Callable[[], Answered | None]) -> None:
        self._library = library
        self._result = result

    def lines(self, ids: Sequence[int]) -> Sequence[PatchLine]:
        """Rows for one page, by one query, with the reasons by another."""
        rows = self._library.rows(ids)
        result = self._result()
        reasons = self._library.reasons(result, ids) if result is not None and result.text.strip() else {}
        return [_line(row, reasons.get(row.id, ())) for row in rows]


def _line(row: PatchRow, reasons: Sequence[Why]) -> PatchLine:
    spans = next((one.spans for one in reasons if one.kind == "name"), ())
    beyond = next((one for one in reasons if one.kind in _BEYOND_NAME), None)
    reason = None
    if beyond is not None:
        text = f"note: {beyond.text}" if beyond.kind == "note" else beyond.text
        reason = Reason(text, whole=beyond.kind != "note")
    return PatchLine(
        id=row.id, name=row.name, instrument=row.instrument_name, tags=row.tags, unknown=row.unknown,
        name_hits=tuple((start, end - start) for start, end in spans),
        tag_hits=frozenset(one.text for one in reasons if one.kind == "tag"), reason=reason,
    )


def shown(result: Answer, chosen: frozenset[str]) -> Found:
    """What the collection area is told of a result."""
    answer, tags = result.found, result.tags
    counts = dict(tags)
    listed = [TagCount(tag, counts.get(tag, 0)) for tag in sorted(chosen) if tag not in counts]
    listed += [TagCount(tag, count) for tag, count in tags]
    ids, headings = with_headings(answer.ids, result.groups)
    return Found(
        ids=ids, total=answer.total, order=result.order, orders=ORDERS, tags=tuple(listed),
        chosen_tags=chosen, tag_total=max(result.all_tags, len(listed)), problem=_problem(answer),
        nothing=_nothing(answer, chosen), headings=headings, count=len(answer.ids),
    )


def _problem(answer: Answered) -> SearchProblem | None:
    if not answer.problems:
        return None
    first = answer.problems[0]
    text = answer.text
    query = f"{text[: first.start]}{first.replacement}{text[first.end :]}" if first.replacement else ""
    return SearchProblem(first.start, first.end - first.start, first.sentence, first.replacement, query)


def _nothing(answer: Answered, chosen: frozenset[str]) -> Nothing:
    if answer.total == 0:
        return Nothing("The sounds you keep will be listed here, with their tags above.")
    said = []
    if answer.text.strip():
        said.append(f"“{answer.text.strip()}”")
    said += [f"the tag “{tag}”" for tag in sorted(chosen)]
    what = " and ".join(said) or "this"
    return Nothing(f"No patch matches {what}.", ButtonSpec("show_all", f"Show all {answer.total}"))


def offered(line: str, known: Sequence[Known]) -> tuple[Completion, ...]:
    """Completions as the search line shows them: what the whole line would become."""
    return tuple(
        Completion(
            text=one.text, kind=_KINDS.get(one.kind, one.kind), count=one.count or 0,
            query=f"{line[: one.start]}{one.text}{line[one.end :]}",
        )
        for one in known
    )
