"""First tables

Revision: 0001, the first one.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "chart_text",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chart", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("parameters", sa.Text(), nullable=False),
        sa.Column("widths", sa.Text(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chart_text")),
        sa.UniqueConstraint("chart", "revision", "digest", name=op.f("uq_chart_text_chart_revision_digest")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "counter",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_counter")),
    )
    op.create_table(
        "intent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.Column("patches", sa.Integer(), nullable=False),
        sa.Column("changes", sa.LargeBinary(), nullable=True),
        sa.CheckConstraint("state IN (0, 1, 2)", name=op.f("ck_intent_state")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intent")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("intent", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_intent_state"), ["state"], unique=False)

    op.create_table(
        "layout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("chart", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("parameters", sa.Text(), nullable=False),
        sa.Column("widths", sa.Text(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layout")),
        sa.UniqueConstraint("digest", name=op.f("uq_layout_digest")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "received",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lengths", sa.Text(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_received")),
        sa.UniqueConstraint("digest", name=op.f("uq_received_digest")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "saved_search",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN (0, 2)", name=op.f("ck_saved_search_state")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_saved_search")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "setting",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )
    op.create_table(
        "tag",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tag")),
        sa.UniqueConstraint("name", name=op.f("uq_tag_name")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("tag", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tag_key"), ["key"], unique=False)

    op.create_table(
        "content",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("layout_id", sa.Integer(), nullable=False),
        sa.Column("unknown", sa.Integer(), nullable=False),
        sa.Column("row", sa.LargeBinary(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["layout_id"], ["layout.id"], name=op.f("fk_content_layout_id_layout")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_content")),
        sa.UniqueConstraint("digest", name=op.f("uq_content_digest")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("chart_text_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Integer(), nullable=False),
        sa.Column("device", sa.Integer(), nullable=False),
        sa.Column("output", sa.Text(), nullable=False),
        sa.Column("input", sa.Text(), nullable=False),
        sa.Column("firmware", sa.Text(), nullable=False),
        sa.Column("pace", sa.Text(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN (0, 1, 2)", name=op.f("ck_instrument_state")),
        sa.ForeignKeyConstraint(
            ["chart_text_id"], ["chart_text.id"], name=op.f("fk_instrument_chart_text_id_chart_text")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "unread",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("received_id", sa.Integer(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("kept", sa.Integer(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN (0, 2)", name=op.f("ck_unread_state")),
        sa.ForeignKeyConstraint(["received_id"], ["received.id"], name=op.f("fk_unread_received_id_received")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unread")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "patch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_order", sa.Text(), nullable=False),
        sa.Column("tags", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.Column("latest_id", sa.Integer(), nullable=False),
        sa.Column("content_id", sa.Integer(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("unknown", sa.Integer(), nullable=False),
        sa.Column("versions", sa.Integer(), nullable=False),
        sa.Column("taken", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN (0, 1, 2)", name=op.f("ck_patch_state")),
        sa.ForeignKeyConstraint(["content_id"], ["content.id"], name=op.f("fk_patch_content_id_content")),
        sa.ForeignKeyConstraint(["instrument_id"], ["instrument.id"], name=op.f("fk_patch_instrument_id_instrument")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_patch")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("patch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_patch_change"), ["change"], unique=False)
        batch_op.create_index(batch_op.f("ix_patch_state_name_order_id"), ["state", "name_order", "id"], unique=False)

    op.create_table(
        "patch_tag",
        sa.Column("patch_id", sa.Integer(), nullable=False),
        sa.Column("tag_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["patch_id"], ["patch.id"], name=op.f("fk_patch_tag_patch_id_patch")),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"], name=op.f("fk_patch_tag_tag_id_tag")),
        sa.PrimaryKeyConstraint("patch_id", "tag_id", name=op.f("pk_patch_tag")),
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("patch_tag", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_patch_tag_tag_id_patch_id"), ["tag_id", "patch_id"], unique=False)

    op.create_table(
        "version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patch_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content_id", sa.Integer(), nullable=False),
        sa.Column("received_id", sa.Integer(), nullable=True),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("dump_name", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("taken", sa.Integer(), nullable=False),
        sa.Column("kept", sa.Integer(), nullable=False),
        sa.Column("state", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN (0, 2)", name=op.f("ck_version_state")),
        sa.ForeignKeyConstraint(["content_id"], ["content.id"], name=op.f("fk_version_content_id_content")),
        sa.ForeignKeyConstraint(["parent_id"], ["version.id"], name=op.f("fk_version_parent_id_version")),
        sa.ForeignKeyConstraint(["patch_id"], ["patch.id"], name=op.f("fk_version_patch_id_patch")),
        sa.ForeignKeyConstraint(["received_id"], ["received.id"], name=op.f("fk_version_received_id_received")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_version")),
        sa.UniqueConstraint("patch_id", "number", name=op.f("uq_version_patch_id_number")),
        sqlite_autoincrement=True,
    )
    op.execute("INSERT INTO counter (name, value) VALUES ('change', 0), ('epoch', 0)")
    if op.get_bind().dialect.name == "sqlite":
        # Full text search is each database's own; here as it was when this revision was released.
        op.execute(
            "CREATE VIRTUAL TABLE word_index USING fts5(name, tags, note, tokenize = 'ascii', prefix = '1 2 3', "
            "detail = full)"
        )
