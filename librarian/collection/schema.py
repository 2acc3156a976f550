"""The tables of a library file. Alembic (migrations/) makes them; `alembic check` keeps both equal.

How to read a library with plain SQL, twenty years from now:

* `patch` is one named sound; `latest_id` leads to its newest `version`, every version has `patch_id` and `number`.
* `version.content_id` leads to `content.row`: the values, one big-endian code per parameter, in the order of
  `layout.parameters` (a JSON list of ids), each as many bytes wide as the digit at the same place in
  `layout.widths`. Code 0 means unknown; any other code is value + 128 (one byte), + 32768 (two), + 2**31 (four),
  + 2**63 (eight).
* `version.received_id` leads to `received.raw`, the exact bytes as they came; `received.lengths` cuts them into
  messages (decimal byte counts, separated by commas).
* `state`: 0 live, 1 in the trash, 2 withdrawn (its making was undone; kept so that redo can bring it back).
* Times are microseconds since 1970-01-01 UTC.
* `layout.digest`, `content.digest`, `received.digest`: BLAKE2b, 16 bytes, of what `content.py` says.
* `patch.tags` repeats the names of `patch_tag` joined by line feeds, in order; `word_index` holds the folded words.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ForeignKey, Index, LargeBinary, MetaData, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

LIVE, TRASHED, WITHDRAWN = 0, 1, 2

#: Every schema that was ever released, oldest first; the last one is what this program writes.
REVISIONS = ("0001",)
HEAD = REVISIONS[-1]

#: Big enough for any id of ours; SQLite's own INTEGER PRIMARY KEY.
AUTO = {"sqlite_autoincrement": True}


class Base(DeclarativeBase):
    """Names every constraint, so that a migration can find it again."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class Counter(Base):
    """Store-wide numbers: `change` grows with every write, `epoch` with every write that is no plain edit.

    `mark` belongs to the last write alone, `before` to the one before it (`sqlite/log.py` says what for).
    """

    __tablename__ = "counter"
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    value: Mapped[int]


class Setting(Base):
    """Small facts that belong to this library, not to a sound: JSON text by name. Not part of undo."""

    __tablename__ = "setting"
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class ChartText(Base):
    """The full text of every chart revision ever used, kept for ever."""

    __tablename__ = "chart_text"
    __table_args__ = (UniqueConstraint("chart", "revision", "digest"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    chart: Mapped[str] = mapped_column(Text)
    revision: Mapped[int]
    name: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    parameters: Mapped[str] = mapped_column(Text)
    widths: Mapped[str] = mapped_column(Text)
    digest: Mapped[bytes] = mapped_column(LargeBinary)
    added: Mapped[int]


class Instrument(Base):
    """One physical unit. A removed one stays, so that its sounds stay readable."""

    __tablename__ = "instrument"
    __table_args__ = (CheckConstraint("state IN (0, 1, 2)", name="state"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    chart_text_id: Mapped[int] = mapped_column(ForeignKey("chart_text.id"))
    channel: Mapped[int]
    device: Mapped[int]
    output: Mapped[str] = mapped_column(Text)
    input: Mapped[str] = mapped_column(Text)
    firmware: Mapped[str] = mapped_column(Text)
    pace: Mapped[str] = mapped_column(Text)
    state: Mapped[int]


class Layout(Base):
    """Which parameter stands where in a `content.row`."""

    __tablename__ = "layout"
    __table_args__ = (UniqueConstraint("digest"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    chart: Mapped[str] = mapped_column(Text)
    revision: Mapped[int]
    parameters: Mapped[str] = mapped_column(Text)
    widths: Mapped[str] = mapped_column(Text)
    digest: Mapped[bytes] = mapped_column(LargeBinary)


class Content(Base):
    """One set of values; the same values are stored once."""

    __tablename__ = "content"
    __table_args__ = (UniqueConstraint("digest"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    layout_id: Mapped[int] = mapped_column(ForeignKey("layout.id"))
    unknown: Mapped[int]
    row: Mapped[bytes] = mapped_column(LargeBinary)
    digest: Mapped[bytes] = mapped_column(LargeBinary)


class Received(Base):
    """The exact bytes of one capture or one imported sound; the same bytes are stored once."""

    __tablename__ = "received"
    __table_args__ = (UniqueConstraint("digest"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    lengths: Mapped[str] = mapped_column(Text)
    raw: Mapped[bytes] = mapped_column(LargeBinary)
    digest: Mapped[bytes] = mapped_column(LargeBinary)


class Patch(Base):
    """One named sound. `content_id`, `unknown`, `taken`, `versions` repeat its latest version for the list."""

    __tablename__ = "patch"
    __table_args__ = (
        CheckConstraint("state IN (0, 1, 2)", name="state"),
        Index(None, "state", "name_order", "id"),
        Index(None, "change"),
        AUTO,
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    name: Mapped[str] = mapped_column(Text)
    name_order: Mapped[str] = mapped_column(Text)
    tags: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    state: Mapped[int]
    # No foreign key: patch and version would point at each other, and SQLite would look through all patches for each
    # new version. The library check (checking.py) follows this pointer instead.
    latest_id: Mapped[int]
    content_id: Mapped[int] = mapped_column(ForeignKey("content.id"))
    origin: Mapped[str] = mapped_column(Text)
    unknown: Mapped[int]
    versions: Mapped[int]
    taken: Mapped[int]
    changed: Mapped[int]
    change: Mapped[int]


class Version(Base):
    """One immutable content of a patch; only `note` and `state` ever change."""

    __tablename__ = "version"
    __table_args__ = (
        UniqueConstraint("patch_id", "number"),
        CheckConstraint("state IN (0, 2)", name="state"),
        AUTO,
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    patch_id: Mapped[int] = mapped_column(ForeignKey("patch.id"))
    number: Mapped[int]
    content_id: Mapped[int] = mapped_column(ForeignKey("content.id"))
    received_id: Mapped[int | None] = mapped_column(ForeignKey("received.id"))
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("version.id"))
    origin: Mapped[str] = mapped_column(Text)
    detail: Mapped[str] = mapped_column(Text)
    dump_name: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    taken: Mapped[int]
    kept: Mapped[int]
    state: Mapped[int]


class Tag(Base):
    """One tag in one spelling; those with the same `key` (folded) are the same tag to a person.

    Rows are never changed: another name for a tag is another row that its patches point to.
    """

    __tablename__ = "tag"
    __table_args__ = (UniqueConstraint("name"), Index(None, "key"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)


class PatchTag(Base):
    """Which patch has which tag, in the person's order."""

    __tablename__ = "patch_tag"
    __table_args__ = (Index(None, "tag_id", "patch_id"), {"sqlite_with_rowid": False})
    patch_id: Mapped[int] = mapped_column(ForeignKey("patch.id"), primary_key=True)
    tag_id: Mapped[int] = mapped_column(ForeignKey("tag.id"), primary_key=True)
    position: Mapped[int]


class SavedSearch(Base):
    """A line that was worth keeping."""

    __tablename__ = "saved_search"
    __table_args__ = (CheckConstraint("state IN (0, 2)", name="state"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    state: Mapped[int]


class Unread(Base):
    """Bytes from a file or a cable that no chart understood yet: kept, listed, read again later."""

    __tablename__ = "unread"
    __table_args__ = (CheckConstraint("state IN (0, 2)", name="state"), AUTO)
    id: Mapped[int] = mapped_column(primary_key=True)
    received_id: Mapped[int] = mapped_column(ForeignKey("received.id"))
    source: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    kept: Mapped[int]
    state: Mapped[int]


class Intent(Base):
    """One thing the person did, with what it changed: the road back and forth.

    `state`: 0 done, 1 undone, 2 dropped (undone, then something else was done). `changes`: zlib-packed JSON
    (journal.py); NULL when it cannot be undone (an emptied trash, or too long ago), and so nothing before it can.
    """

    __tablename__ = "intent"
    __table_args__ = (
        CheckConstraint("state IN (0, 1, 2)", name="state"),
        Index(None, "state"),
        AUTO,
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[int]
    label: Mapped[str] = mapped_column(Text)
    state: Mapped[int]
    patches: Mapped[int]
    changes: Mapped[bytes | None] = mapped_column(LargeBinary)
