"""The program that `tests.bench.crash` kills: what it intends at random, and how it says what it did.

Before each intent it does the same to a copy of the library and tells on a pipe what the library will look like and
how long it took; afterwards it acknowledges. Times are left out of the comparison, all else is in it.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path

import sqlalchemy as sa
from alembic import op
from alembic.migration import MigrationContext
from alembic.operations import Operations

from librarian.chart import Chart, load, shipped
from librarian.collection import BackupRow, Library, LibraryProblem, NewPatch, opening
from librarian.collection.schema import REVISIONS
from librarian.errors import LibrarianError
from librarian.files import importing, syx
from librarian.files.targets import targets_of
from librarian.messages import Address, Origin, Values, Version

ADDRESS = Address(0, 16)
WORDS = ("storm", "gust", "harbour", "bell", "lantern", "fog", "curtain", "tide", "lamp", "rope")
JUNK = b"\xf0\x7d\x00\x11not of any chart\xf7"

Intent = Callable[[Library, random.Random], object]
#: Makes the disk too small for what is written inside the block.
Narrow = Callable[[], AbstractContextManager[object]]


@lru_cache(maxsize=1)
def chart() -> Chart:
    """Lanternfish, read once: it has dumps to import."""
    return load(shipped()["lanternfish"])


def values(luck: random.Random) -> Values:
    """A random sound."""
    return Values((name, luck.randint(each.low, each.high)) for name, each in chart().parameters.items())


def version(luck: random.Random) -> Version:
    """A random sound with bytes."""
    dump = b"\xf0\x7d" + bytes(luck.randrange(128) for _ in range(120)) + b"\xf7"
    return Version(chart().id, chart().revision, values(luck), received=(dump,), origin=Origin("imported", "bank"))


def sounds(luck: random.Random, count: int) -> list[NewPatch]:
    """Random sounds with names and tags."""
    return [
        NewPatch(1, " ".join(luck.sample(WORDS, 2)), version(luck), tuple(luck.sample(WORDS, 2)), luck.choice(WORDS))
        for _ in range(count)
    ]


def some(library: Library, luck: random.Random, most: int, *, trash: bool = False) -> list[int]:
    """A few patches; none when there are none."""
    ids = list(library.find(trash=trash).ids)
    return luck.sample(ids, min(len(ids), luck.randint(1, most)))


def import_bank(library: Library, luck: random.Random) -> object:
    """A .syx file as a person imports it: looked through, then kept as one step, with what no chart understands."""
    message = next(each.message for each in chart().ways_out if each.kind == "dump")
    raw = [
        b"".join(chart().codec.encode(message, values(luck), ADDRESS, name=luck.choice(WORDS)))
        for _ in range(luck.randint(5, 60))
    ]
    with tempfile.TemporaryDirectory() as folder:
        bank = Path(folder) / "bank.syx"
        bank.write_bytes(b"".join(raw) + JUNK * luck.randint(0, 1))
        seen = importing.preview(library, [syx.read(bank)], targets_of(library))
        return importing.apply(library, seen, tags=luck.sample(WORDS, 1))


def restore_a_backup(library: Library, luck: random.Random) -> object:
    """One of the newest backups, when there is one."""
    rows = library.backups()
    return library.restore_backup(luck.choice(rows[:2]).path) if rows else None


def tag(library: Library, luck: random.Random) -> object:
    """Many patches get one tag and lose another."""
    return library.tag(some(library, luck, 200), luck.sample(WORDS, 1), luck.sample(WORDS, 1))


def merge(library: Library, luck: random.Random) -> object:
    """Three patches become one."""
    ids = some(library, luck, 3)
    return library.merge(ids[0], ids[1:]) if len(ids) > 1 else None


def together(library: Library, luck: random.Random) -> object:
    """Several edits as one intent."""
    with library.together("Several"):
        made = library.keep_many(sounds(luck, 3))
        library.tag(made, add=["together"])
        return library.delete(some(library, luck, 2))


def of_one(edit: Callable[[Library, int, random.Random], object]) -> Intent:
    """An edit of one patch, when there is any."""
    return lambda library, luck: [edit(library, patch, luck) for patch in some(library, luck, 1)]


def of_some(edit: Callable[[Library, list[int]], object], most: int, *, trash: bool = False) -> Intent:
    """An edit of up to `most` patches."""

    def intent(library: Library, luck: random.Random) -> object:
        ids = some(library, luck, most, trash=trash)
        return edit(library, ids) if ids else None

    return intent


INTENTS: tuple[tuple[int, str, Intent], ...] = (
    (5, "keep", lambda library, luck: library.keep_many(sounds(luck, 1))),
    (3, "keep many", lambda library, luck: library.keep_many(sounds(luck, luck.randint(20, 300)), "Many")),
    (4, "import", import_bank),
    (3, "rename", lambda library, luck: library.rename_many({p: luck.choice(WORDS) for p in some(library, luck, 5)})),
    (3, "tag", tag),
    (1, "rename tag", lambda library, luck: library.rename_tag(*luck.sample(WORDS, 2))),
    (2, "note", of_one(lambda library, patch, luck: library.set_note(patch, luck.choice(WORDS)))),
    (3, "version", of_one(lambda library, patch, luck: library.add_version(patch, version(luck)))),
    (3, "delete", of_some(lambda library, ids: library.delete(ids), 60)),
    (1, "restore", of_some(lambda library, ids: library.restore(ids), 60, trash=True)),
    (1, "merge", merge),
    (2, "together", together),
    (1, "search", lambda library, luck: library.save_search(luck.choice(WORDS), luck.choice(WORDS))),
    (3, "undo", lambda library, _: library.undo()),
    (2, "redo", lambda library, _: library.redo()),
    (1, "empty", lambda library, _: library.empty_trash() if library.total(trash=True) > 200 else None),
    (2, "back up", lambda library, _: library.back_up_if_changed()),
    (1, "bring back", restore_a_backup),
)  # fmt: skip


def look(library: Library) -> str:
    """A digest of all that a person can see, times left out."""
    state = blake2b(digest_size=16)
    for trash in (False, True):
        for row in library.rows(library.find(trash=trash).ids):
            versions = [(one.id, one.content, one.note) for one in library.versions(row.id)] if row.versions > 1 else []
            seen = (row.id, row.name, row.tags, row.note, row.latest, row.versions, row.place, versions)
            state.update(repr(seen).encode())
    latest = [row.latest for row in library.rows(library.find().ids)]
    for number, content in sorted(library.version_contents(latest).items()):
        state.update(repr((number, sorted(content.values.items()), content.received)).encode())
    labels = [(step.label, step.state) for step in library.history(limit=50) if "backup" not in step.label]
    kept = ([row.id for row in library.unread()], library.saved_searches(), library.instruments())
    state.update(repr((labels[:10], kept, library.find("storm").ids[:50])).encode())
    return state.hexdigest()


def tell(pipe: int, **said: object) -> None:
    """One line to the parent, at once."""
    os.write(pipe, (json.dumps(said) + "\n").encode())


def on_a_copy(library: Library, folder: Path) -> Library:
    """The same library again, elsewhere; its backups are other names of the same files."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    copy = folder / library.path.name
    library.back_up(copy)
    if library.backup_folder.is_dir():
        shutil.copytree(library.backup_folder, copy.with_name(f"{copy.stem} backups"))
    return Library.open(copy)


def intents(luck: random.Random) -> Iterator[tuple[str, Intent, float]]:
    """Without end: name, intent, and the seed of its own luck."""
    while True:
        name, intent = luck.choices([one[1:] for one in INTENTS], [one[0] for one in INTENTS])[0]
        yield name, intent, luck.random()


def edit(path: Path, copies: Path, pipe: int, seed: int, narrow: Narrow) -> None:
    """Do intents until killed; `copies`: a folder for the copies."""
    with Library.open(path) as library:
        tell(pipe, ready=look(library))
        for name, intent, own_seed in intents(random.Random(seed)):
            with on_a_copy(library, copies) as other:
                start = time.perf_counter()
                try:
                    intent(other, random.Random(own_seed))
                except LibrarianError as problem:
                    tell(pipe, skipped=name, sentence=str(problem))
                    continue
                tell(pipe, begin=name, becomes=look(other), took=time.perf_counter() - start)
            try:
                with narrow():
                    made = intent(library, random.Random(own_seed))
                backup = str(made.path) if isinstance(made, BackupRow) else None
                tell(pipe, done=name, is_now=look(library), backup=backup)
            except LibraryProblem as problem:
                tell(pipe, refused=name, is_now=look(library), sentence=str(problem))


def change_schema(connection: sa.Connection) -> None:
    """A migration that rebuilds the largest tables."""
    context = MigrationContext.configure(connection, opts={"render_as_batch": True, "transactional_ddl": True})
    with Operations.context(context):
        for table in ("patch", "version", "received"):
            with op.batch_alter_table(table) as batch:
                batch.add_column(sa.Column("extra", sa.Integer(), nullable=False, server_default="7"))
        connection.execute(sa.text("UPDATE alembic_version SET version_num = 'next'"))


def migrate(path: Path, pipe: int) -> None:
    """Bring the library to a schema that does not exist yet."""
    opening.REVISIONS = (*REVISIONS, "next")  # type: ignore[assignment]
    opening.HEAD = "next"
    opening.upgrade = lambda connection, target="head": change_schema(connection)
    tell(pipe, ready="")
    opening.open_store(path).close()
    tell(pipe, done="migrate", is_now="")
