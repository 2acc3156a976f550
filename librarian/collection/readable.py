"""What can be read of a damaged library file: its tables, row by row where its pages are damaged.

Works below SQLAlchemy. Where a page cannot be read, the rows around it are; where the list of tables cannot, that of
every library stands in.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from . import sqlite
from .layout import digest, layout_if_whole
from .opening import open_store
from .problems import LibraryProblem
from .schema import Base, Setting

#: Rows read at once while all goes well.
STRIDE = 500
#: A number of a row is never strange below this, however small the file.
_PLAUSIBLE = 1_000_000
#: No row takes less.
_ROW_BYTES = 16
#: Table -> the columns that both files have.
Columns = dict[str, list[str]]


def source_of(damaged: Path, stack: ExitStack) -> tuple[sqlite3.Connection, Columns, bool]:
    """What can be read, the columns of its tables, and whether these are its own or those of every library.

    Open until `stack` ends. Raises `LibraryProblem` when nothing at all can be read.
    """
    own = stack.enter_context(_opened(damaged))
    trouble: LibraryProblem | None = None
    columns: Columns = {}
    try:
        columns = _columns(own, damaged)
    except LibraryProblem as problem:
        trouble = problem
    if damaged.is_file() and not _complete(columns):
        lent = stack.enter_context(_opened(_with_tables(damaged, stack)))
        # Any file would have some rows then; the digest of one set of values proves that they are a library's.
        if _proven(lent):
            return lent, _columns(lent, damaged), False
    if trouble is not None:
        raise trouble
    return own, columns, True


def _complete(columns: Columns) -> bool:
    return all(set(columns.get(table.name, ())) == set(table.columns.keys()) for table in Base.metadata.sorted_tables)


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as source:
        # SQLite reads nothing of a file that is shorter than it says, unless its list of tables may be mended.
        source.execute("PRAGMA writable_schema = ON")
        source.text_factory = lambda raw: raw.decode("utf-8", "replace")
        yield source


def _with_tables(damaged: Path, stack: ExitStack) -> Path:
    try:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="librarian-repair-")))
        open_store(folder / "new.sqlite").close()
        sqlite.with_list_of_tables(damaged, folder / "new.sqlite", folder / "damaged.sqlite")
    except OSError as error:
        raise LibraryProblem(
            f"There is no place for a copy of {damaged}: {error.strerror or error}.",
            "Free some space for temporary files, then try again.",
        ) from error
    return folder / "damaged.sqlite"


def _proven(source: sqlite3.Connection) -> bool:
    """Whether any set of values is what was kept."""
    stored = [
        try_read(source, f"SELECT chart, revision, parameters, widths FROM {table}", ())
        for table in ("layout", "chart_text")
    ]
    layouts = {
        layout.digest
        for rows in stored
        for row in rows or ()
        if (layout := layout_if_whole(*row)) is not None  # type: ignore[arg-type]
    }
    return any(
        isinstance(key, bytes) and any(explains(layout, row, key) for layout in layouts)
        for rows in readable(source, "content", ("row", "digest"))
        for row, key in rows or ()
    )


def _columns(source: sqlite3.Connection, damaged: Path) -> Columns:
    """Table -> the columns that both files have."""
    try:
        names = {str(row[0]) for row in source.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        found = {
            table.name: [
                str(row[1])
                for row in source.execute(f"PRAGMA table_info({table.name})")
                if str(row[1]) in table.columns
            ]
            for table in Base.metadata.sorted_tables
            if table.name in names
        }
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:  # SQLite quotes what is damaged
        raise LibraryProblem(f"Nothing of {damaged} can be read ({error}).", "Restore a backup instead.") from error
    if "patch" not in found or "content" not in found:
        raise LibraryProblem(f"{damaged} is not a library, so there is nothing to repair.", "Choose another file.")
    return found


def _bytes(source: sqlite3.Connection) -> int:
    """How many the file has."""
    sizes = [try_read(source, f"PRAGMA {name}", ()) for name in ("page_count", "page_size")]
    pages, size = (int(str(found[0][0])) if found else 0 for found in sizes)
    return pages * size


def _ends(source: sqlite3.Connection, table: str) -> tuple[int, int]:
    """The numbers between which the rows of a table lie. Its last page may be gone, and all the others be there.

    A number that damage has made does not count: the gap before it would be walked through for years.
    """
    lowest = try_read(source, f"SELECT min(id) FROM {table}", ())
    highest = try_read(source, f"SELECT max(id) FROM {table}", ())
    if lowest and lowest[0][0] is None:
        return 0, -1
    if not highest:
        highest = try_read(source, "SELECT seq FROM sqlite_sequence WHERE name = ?", (table,))
    size = _bytes(source)
    last = highest[0][0] if highest else size // _ROW_BYTES
    first = lowest[0][0] if lowest else 0
    # There were never four times as many rows as the file has bytes, those that were deleted included.
    return max(0, int(str(first))), min(int(str(last)), max(_PLAUSIBLE, 4 * size))


def readable(source: sqlite3.Connection, table: str, names: Sequence[str]) -> Iterator[list[tuple[object, ...]] | None]:
    """Rows in portions; None for each row (or range of rows) that cannot be read."""
    if table == Setting.__tablename__:  # few, and without numbers
        yield try_read(source, f"SELECT {', '.join(names)} FROM {table}", ())
        return
    first, last = _ends(source, table)
    query = f"SELECT {', '.join(names)} FROM {table} WHERE id BETWEEN ? AND ?"
    strange = try_read(source, f"SELECT id FROM {table} WHERE id < 0 OR id > ?", (last,))
    yield from [None] * (1 if strange is None else len(strange))
    for start in range(first, last + 1, STRIDE):
        yield from _halving(source, query, start, min(start + STRIDE - 1, last))


def _halving(
    source: sqlite3.Connection, query: str, first: int, last: int
) -> Iterator[list[tuple[object, ...]] | None]:
    rows = try_read(source, query, (first, last))
    if rows is not None:
        yield rows
    elif first == last:
        yield None
    else:
        middle = (first + last) // 2
        yield from _halving(source, query, first, middle)
        yield from _halving(source, query, middle + 1, last)


def try_read(source: sqlite3.Connection, query: str, given: tuple[object, ...]) -> list[tuple[object, ...]] | None:
    try:
        return source.execute(query, given).fetchall()
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return None


def explains(layout: bytes, row: object, key: bytes) -> bool:
    """Whether this layout was that of these values."""
    return isinstance(row, bytes) and digest(layout, row) == key
