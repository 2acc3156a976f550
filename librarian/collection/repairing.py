"""Save what is readable of a damaged library into a new one, and say what was not.

Works below SQLAlchemy, row by row and table by table: where a page cannot be read, the rows around it are.
"""

from __future__ import annotations

import sqlite3
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, select

from librarian.errors import Refused

from . import sqlite
from .changes import PORTION, set_patch_tags
from .content import cut
from .folding import clean_name, order_key
from .layout import digest, layout_if_whole
from .opening import open_store
from .readable import Columns, explains, readable, source_of, try_read
from .schema import LIVE, Base, Counter, Patch, PatchTag, Tag

#: Tables that are not copied: a new library has its own counters, and tags stand in the patches too.
_MADE_ANEW = frozenset({Counter.__tablename__, Tag.__tablename__, PatchTag.__tablename__})


@dataclass(slots=True)
class Repaired:
    """`into` is the new library; `saved` rows by table; `lost`: a sentence for each thing that could not be saved."""

    into: Path
    saved: dict[str, int] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)


def repair(damaged: Path, into: Path) -> Repaired:
    """Read `damaged` without changing it; write what is whole to the new library `into`.

    Raises `Refused` when `into` exists, `LibraryProblem` when nothing at all can be read.
    """
    if into.exists():
        raise Refused(f"{into} exists already; a repair never replaces a file.", "Choose another name.")
    sqlite.refuse_strange_log(damaged.absolute())
    result = Repaired(into)
    with ExitStack() as stack:
        source, columns, own = source_of(damaged, stack)
        if not own:
            result.lost.append("The list of tables was damaged; it was taken to be that of every library.")
        _save(source, columns, result)
    return result


def _save(source: sqlite3.Connection, columns: Columns, result: Repaired) -> None:
    """All of it into the new library, or no new library."""
    into = result.into
    store = open_store(into)
    try:
        with store.taking_in(None) as connection:
            driver = sqlite.raw(connection)
            for table in Base.metadata.sorted_tables:
                if table.name not in _MADE_ANEW:
                    _copy(source, driver, table.name, columns, result)
            _layouts_anew(driver)
            _drop_torn(driver, result)
            _name_anew(source, driver, result)
            _stand_ins(driver, result)
            _mend(driver, result)
            _tag_and_index(connection)
            store.next_change(connection, epoch=True)
    except BaseException:
        store.close()
        for leftover in (into, sqlite.log_of(into), Path(f"{into}-shm")):
            leftover.unlink(missing_ok=True)
        raise
    store.close()


def _copy(
    source: sqlite3.Connection,
    driver: sqlite3.Connection,
    table: str,
    columns: Columns,
    result: Repaired,
) -> None:
    names = columns.get(table, [])
    kinds = [Base.metadata.tables[table].columns[name] for name in names]
    missing = 0
    saved = 0
    mended = 0
    places = ", ".join("?" for _ in names)
    into = f"INSERT OR IGNORE INTO {table} ({', '.join(names)}) VALUES ({places})"
    for rows in readable(source, table, names) if names else ():
        if rows is None:
            missing += 1
            continue
        for row in rows:
            values = [_of_its_kind(value, column) for value, column in zip(row, kinds, strict=True)]
            try:
                kept = driver.execute(into, values).rowcount
            except (sqlite3.DatabaseError, UnicodeDecodeError):
                kept = 0
            saved += kept
            missing += not kept
            mended += kept and any(new is not old for new, old in zip(values, row, strict=True))
    result.saved[table] = saved
    if missing:
        result.lost.append(f"{missing} places in the table {table} could not be read.")
    if mended:
        result.lost.append(f"{mended} rows of the table {table} held something of a wrong kind; that was left out.")


def _of_its_kind(value: object, column: Column[Any]) -> object:
    """What a column may hold: damage can make a number of a text, or nothing of a number, and the rest be whole."""
    kind = column.type.python_type
    if isinstance(value, kind) or (value is None and column.nullable):
        return value
    if kind is str and isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    return None if column.nullable else kind()


def _layouts_anew(driver: sqlite3.Connection) -> None:
    """Layouts that are damaged or gone, by the kept charts: without them no values can be read. What fits none goes.

    A chart fits when it explains the digest of some set of values.
    """
    stored = driver.execute("SELECT id, chart, revision, parameters, widths, digest FROM layout").fetchall()
    whole = {
        number: key
        for number, *row, key in stored
        if (layout := layout_if_whole(*row)) is not None and layout.digest == key
    }
    driver.executemany("DELETE FROM layout WHERE id = ?", ((row[0],) for row in stored if row[0] not in whole))
    charts = {
        layout.digest: layout
        for row in driver.execute("SELECT chart, revision, parameters, widths FROM chart_text").fetchall()
        if (layout := layout_if_whole(*row)) is not None and layout.digest not in whole.values()
    }
    used = {row[0] for row in driver.execute("SELECT DISTINCT layout_id FROM content")}
    for number in sorted(used - whole.keys()):
        kept = driver.execute("SELECT row, digest FROM content WHERE layout_id = ?", (number,)).fetchall()
        fits = next((name for name in charts if any(explains(name, *each) for each in kept)), None)
        if fits is not None:
            each = charts.pop(fits)
            driver.execute(
                "INSERT INTO layout (id, chart, revision, parameters, widths, digest) VALUES (?, ?, ?, ?, ?, ?)",
                (number, each.chart, each.revision, each.parameters_text, each.widths_text, fits),
            )


def _drop_torn(driver: sqlite3.Connection, result: Repaired) -> None:
    """Values and bytes that are no longer what was kept go, and whatever points to nothing afterwards."""
    layouts = {
        row[0]: layout
        for row in driver.execute("SELECT id, chart, revision, parameters, widths FROM layout").fetchall()
        if (layout := layout_if_whole(*row[1:])) is not None
    }
    torn = [
        number
        for number, layout, row, key in driver.execute("SELECT id, layout_id, row, digest FROM content").fetchall()
        if layout not in layouts or not explains(layouts[layout].digest, row, key) or len(row) != layouts[layout].size
    ]
    driver.executemany("DELETE FROM content WHERE id = ?", ((number,) for number in torn))
    if torn:
        result.lost.append(f"{len(torn)} sets of values were damaged.")
    bad = [
        number
        for number, lengths, raw, key in driver.execute("SELECT id, lengths, raw, digest FROM received").fetchall()
        if not _are_whole(raw, lengths, key)
    ]
    driver.executemany("DELETE FROM received WHERE id = ?", ((number,) for number in bad))
    if bad:
        result.lost.append(f"The received bytes of {len(bad)} sounds were damaged; their values are whole.")


def _name_anew(source: sqlite3.Connection, driver: sqlite3.Connection, result: Repaired) -> None:
    """A patch for the versions that lost theirs: a sound is worth more than its name.

    The index of words may still know the words of the name. The instrument is the one with most sounds of that layout.
    """
    lost = driver.execute(
        "SELECT patch_id, max(version.id), max(dump_name), layout_id FROM version "
        "JOIN content ON content.id = content_id "
        "WHERE version.state = ? AND patch_id NOT IN (SELECT id FROM patch) GROUP BY patch_id",
        (LIVE,),
    ).fetchall()
    owners = {
        layout: instrument
        for layout, instrument, _ in driver.execute(
            "SELECT layout_id, instrument_id, count(*) FROM patch JOIN content ON content.id = content_id "
            "GROUP BY layout_id, instrument_id ORDER BY 3"
        )
    }
    first = driver.execute("SELECT coalesce(min(id), 1) FROM instrument").fetchone()[0]
    for patch, latest, inside, layout in lost:
        words = try_read(source, "SELECT name FROM word_index WHERE rowid = ?", (patch,))
        name = clean_name(str(words[0][0]) if words else inside, cut=True) or f"Lost name {patch}"
        driver.execute(
            "INSERT INTO patch (id, instrument_id, name, name_order, tags, note, state, latest_id, content_id, origin, "
            "unknown, versions, taken, changed, change) SELECT ?, ?, ?, ?, '', '', ?, -1, content_id, origin, 0, 0, "
            "taken, kept, 0 FROM version WHERE id = ?",
            (patch, owners.get(layout, first), name, order_key(name), LIVE, latest),
        )
    if lost:
        result.lost.append(
            f"{len(lost)} sounds lost tags and note, and of their names all but the words. Check their instrument too."
        )


def _are_whole(raw: bytes, lengths: str, key: bytes) -> bool:
    """Whether these are the bytes that were kept."""
    try:
        return digest(*cut(raw, lengths)) == key
    except (ValueError, TypeError, AttributeError):
        return False


#: (what is lost, statement), until nothing changes any more.
_DANGLING: tuple[tuple[str, str], ...] = (
    ("", "UPDATE version SET received_id = NULL WHERE received_id IS NOT NULL "
         "AND received_id NOT IN (SELECT id FROM received)"),
    ("", "UPDATE version SET parent_id = NULL WHERE parent_id IS NOT NULL "
         "AND parent_id NOT IN (SELECT id FROM version)"),
    ("versions without values", "DELETE FROM version WHERE content_id NOT IN (SELECT id FROM content)"),
    ("versions without a patch", "DELETE FROM version WHERE patch_id NOT IN (SELECT id FROM patch)"),
    ("patches without any version", "DELETE FROM patch WHERE id NOT IN (SELECT patch_id FROM version WHERE state = 0) "
                                    "AND state != 2"),
    ("", "DELETE FROM patch WHERE state = 2 AND latest_id NOT IN (SELECT id FROM version)"),
    ("bytes that were not understood", "DELETE FROM unread WHERE received_id NOT IN (SELECT id FROM received)"),
)  # fmt: skip


def _stand_ins(driver: sqlite3.Connection, result: Repaired) -> None:
    """An instrument for sounds that lost theirs, a chart for an instrument that lost its own: no sound goes too."""
    for number, text, key in driver.execute("SELECT id, text, digest FROM chart_text").fetchall():
        if digest(text.encode("utf-8", "replace")) != key:
            result.lost.append("The text of a chart was damaged; what is left of it was kept. Choose the chart again.")
            new = digest(text.encode("utf-8", "replace"))
            driver.execute("UPDATE chart_text SET text = ?, digest = ? WHERE id = ?", (text, new, number))
    lost = driver.execute(
        "SELECT DISTINCT instrument_id FROM patch WHERE instrument_id NOT IN (SELECT id FROM instrument)"
    ).fetchall()
    for (instrument,) in lost:
        result.lost.append(f"An instrument was lost; its sounds belong to “Lost instrument {instrument}” now.")
        driver.execute(
            "INSERT INTO instrument (id, name, chart_text_id, channel, device, output, input, firmware, pace, state) "
            "VALUES (?, ?, -1, 0, 127, '', '', '', '', 0)",
            (instrument, f"Lost instrument {instrument}"),
        )
    orphans = driver.execute(
        "SELECT id FROM instrument WHERE chart_text_id NOT IN (SELECT id FROM chart_text)"
    ).fetchall()
    for (instrument,) in orphans:
        result.lost.append("The chart of an instrument was lost; choose it again.")
        layout = driver.execute(
            "SELECT layout.chart, layout.revision, layout.parameters, layout.widths FROM patch "
            "JOIN version ON version.patch_id = patch.id JOIN content ON content.id = version.content_id "
            "JOIN layout ON layout.id = content.layout_id WHERE patch.instrument_id = ? ORDER BY version.id DESC",
            (instrument,),
        ).fetchone() or ("lost", 1, "[]", "")
        known = driver.execute(
            "SELECT id FROM chart_text WHERE chart = ? AND revision = ? ORDER BY id DESC", layout[:2]
        ).fetchone()
        if known is None:
            known = driver.execute(
                "INSERT INTO chart_text (chart, revision, name, text, parameters, widths, digest, added) "
                "VALUES (?, ?, ?, '', ?, ?, ?, 0) RETURNING id",
                (*layout[:2], layout[0], *layout[2:], digest(b"")),
            ).fetchone()
        driver.execute("UPDATE instrument SET chart_text_id = ? WHERE id = ?", (known[0], instrument))


def _tag_and_index(connection: Connection) -> None:
    """The tables of tags and the index of words, made anew from what stands in the patches themselves."""
    rows = connection.execute(select(Patch.id, Patch.tags).order_by(Patch.id)).all()
    for start in range(0, len(rows), PORTION):
        some = rows[start : start + PORTION]
        set_patch_tags(connection, [row.id for row in some], [row.tags.split("\n") if row.tags else [] for row in some])


def _mend(driver: sqlite3.Connection, result: Repaired) -> None:
    """References lead somewhere again, and what a patch repeats of its latest version and its tags is true again."""
    changed = True
    while changed:
        changed = False
        for lost, statement in _DANGLING:
            count = driver.execute(statement).rowcount
            changed = changed or count > 0
            if lost and count:
                result.lost.append(f"{count} {lost}.")
    driver.execute(
        "UPDATE patch SET latest_id = (SELECT id FROM version WHERE patch_id = patch.id AND state = 0 "
        "ORDER BY number DESC LIMIT 1) WHERE state != 2 AND latest_id NOT IN "
        "(SELECT id FROM version WHERE patch_id = patch.id AND state = 0)"
    )
    driver.execute(
        "UPDATE patch SET (content_id, unknown, origin, taken) = (SELECT version.content_id, content.unknown, "
        "version.origin, version.taken FROM version JOIN content ON content.id = version.content_id "
        "WHERE version.id = patch.latest_id), versions = (SELECT count(*) FROM version "
        "WHERE version.patch_id = patch.id AND version.state = 0)"
    )
    # The steps may speak of rows that are gone.
    driver.execute("UPDATE intent SET changes = NULL")
