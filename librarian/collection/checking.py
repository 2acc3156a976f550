"""Is the library whole? Every promise of the schema, looked at row by row; each broken one is a sentence."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Any

from sqlalchemy import Connection, text

from . import evidence, sqlite
from .changes import word_row
from .content import cut
from .layout import digest, layout_if_whole
from .problems import LibraryProblem, as_kept

#: Ids named as examples in one sentence.
EXAMPLES = 3
#: Rows per round of reading.
PORTION = 5000


def check(connection: Connection) -> tuple[str, ...]:
    """Sentences of what is wrong, most serious first; () when the library is whole. Changes nothing."""
    said = [f"SQLite finds the file damaged: {line}." for line in sqlite.check_file(connection)]
    if said:
        return tuple(said)
    for look in _LOOKS:
        try:
            with as_kept():
                said.extend(look(connection))
        except LibraryProblem as problem:
            said.append(str(problem))
    return tuple(said)


def _references(connection: Connection) -> Iterator[str]:
    broken = sqlite.broken_references(connection)
    if broken:
        yield f"{len(broken)} rows point to nothing, in {', '.join(sorted({table for table, _ in broken}))}."


def _tables(connection: Connection) -> Iterator[str]:
    changed = evidence.changed_tables(connection)
    if changed:
        yield f"The description of {', '.join(changed)} is damaged."


def _kinds(connection: Connection) -> Iterator[str]:
    for table, rows in sqlite.of_a_wrong_kind(connection):
        yield f"{rows} {'row holds' if rows == 1 else 'rows hold'} something of a wrong kind, in {table}."
    if not evidence.counters_are_whole(connection):
        yield "The counters of changes are damaged."


#: Sentence (with the count and examples put in), and a query for the ids of the rows that break it.
_POINTERS: tuple[tuple[str, str], ...] = (
    (
        "{} have no latest version of their own",
        "SELECT patch.id FROM patch LEFT JOIN version ON version.id = patch.latest_id "
        "WHERE version.id IS NULL OR version.patch_id != patch.id OR (version.state != 0 AND patch.state != 2)",
    ),
    (
        "{} show something else than their latest version",
        "SELECT patch.id FROM patch JOIN version ON version.id = patch.latest_id "
        "JOIN content ON content.id = version.content_id WHERE patch.content_id != version.content_id "
        "OR patch.unknown != content.unknown OR patch.origin != version.origin OR patch.taken != version.taken",
    ),
    (
        "{} miscount their versions",
        "SELECT patch.id FROM patch WHERE patch.versions != "
        "(SELECT count(*) FROM version WHERE version.patch_id = patch.id AND version.state = 0)",
    ),
    (
        "{} spell their tags differently from the list of tags",
        "SELECT patch.id FROM patch WHERE patch.tags != coalesce((SELECT group_concat(name, char(10)) FROM "
        "(SELECT tag.name FROM patch_tag JOIN tag ON tag.id = patch_tag.tag_id "
        "WHERE patch_tag.patch_id = patch.id ORDER BY patch_tag.position)), '')",
    ),
)


def _pointers(connection: Connection) -> Iterator[str]:
    for sentence, query in _POINTERS:
        ids = [str(number) for number in connection.execute(text(query)).scalars()]
        if ids:
            yield sentence.format(_counted(ids, "patch", "patches")) + "."


def _contents(connection: Connection) -> Iterator[str]:
    layouts = {
        row.id: layout_if_whole(row.chart, row.revision, row.parameters, row.widths)
        for row in connection.execute(text("SELECT * FROM layout"))
    }
    nameless = [str(number) for number, layout in layouts.items() if layout is None]
    if nameless:
        yield f"{_counted(nameless, 'list', 'lists')} of which parameter a value belongs to cannot be read."
    torn, miscounted = [], []
    for row in _rows(connection, "SELECT id, layout_id, unknown, row, digest FROM content"):
        layout = layouts.get(row.layout_id)
        if layout is None:
            continue  # said above, or with the rows that point to nothing
        if len(row.row) != layout.size or digest(layout.digest, row.row) != row.digest:
            torn.append(str(row.id))
        elif layout.count_unknown(row.row) != row.unknown:
            miscounted.append(str(row.id))
    if torn:
        yield f"{_counted(torn, 'set of values', 'sets of values')} do not have the values that were kept."
    if miscounted:
        yield f"{_counted(miscounted, 'set of values', 'sets of values')} miscount what is unknown."


def _received(connection: Connection) -> Iterator[str]:
    torn = [
        str(row.id)
        for row in _rows(connection, "SELECT id, lengths, raw, digest FROM received")
        if b"".join(messages := cut(row.raw, row.lengths)) != row.raw or digest(*messages) != row.digest
    ]
    if torn:
        yield f"{_counted(torn, 'run of received bytes', 'runs of received bytes')} are not the bytes that were kept."


def _texts(connection: Connection) -> Iterator[str]:
    torn = [
        f"{row.chart} revision {row.revision}"
        for row in connection.execute(text("SELECT chart, revision, text, digest FROM chart_text"))
        if digest(row.text.encode("utf-8", "surrogatepass")) != row.digest
    ]
    if torn:
        yield f"The kept text of chart {', '.join(torn)} is not the text that was kept."


def _words(connection: Connection) -> Iterator[str]:
    said = sqlite.check_words(connection)
    if said:
        yield f"The index of words is damaged inside ({said})."
        return
    with closing(sqlite.indexed(connection)) as indexed:
        yield from _words_of(connection, indexed)


def _words_of(connection: Connection, indexed: Iterator[tuple[int, str, str, str]]) -> Iterator[str]:
    live = _rows(connection, "SELECT id, name, tags, note FROM patch WHERE state = 0")
    wrong: list[str] = []
    have = next(indexed, None)
    for row in live:
        while have is not None and have[0] < row.id:
            wrong.append(str(have[0]))
            have = next(indexed, None)
        if have is not None and have[0] == row.id:
            if have != word_row(row.id, row.name, row.tags, row.note):
                wrong.append(str(row.id))
            have = next(indexed, None)
        else:
            wrong.append(str(row.id))
    wrong += [str(number) for number, *_ in ([have] if have else [])] + [str(number) for number, *_ in indexed]
    if wrong:
        yield f"The index of words disagrees with {_counted(wrong, 'patch', 'patches')}."


_LOOKS: tuple[Callable[[Connection], Iterator[str]], ...] = (
    _tables, _references, _kinds, _contents, _received, _texts, _pointers, _words,
)  # fmt: skip


def _rows(connection: Connection, query: str) -> Iterator[Any]:
    """All rows by id, a portion at a time, so that a large library needs no large memory."""
    last = -1
    joint = "AND" if "WHERE" in query else "WHERE"
    page = text(f"{query} {joint} id > :last ORDER BY id LIMIT {PORTION}")
    while rows := connection.execute(page, {"last": last}).all():
        yield from rows
        last = rows[-1].id


def _counted(ids: list[str], one: str, many: str) -> str:
    """ "3 patches (numbers 4, 5, 9)"."""
    some = ", ".join(ids[:EXAMPLES]) + (" …" if len(ids) > EXAMPLES else "")
    return f"{len(ids)} {one if len(ids) == 1 else many} (number {some})"
