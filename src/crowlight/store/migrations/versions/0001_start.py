"""The first tables: people, reeds, entries with their readings, and the list."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

TEXT = sa.Text().with_variant(sa.TEXT(collation="C"), "postgresql")

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the database one step forward."""
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("uuid", name=op.f("uq_person_uuid")),
    )
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("maker", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["maker"], ["person.id"], name=op.f("fk_batch_maker_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch")),
        sa.UniqueConstraint("uuid", name=op.f("uq_batch_uuid")),
    )
    op.create_index("ix_batch_maker", "batch", ["maker"])

    op.create_table(
        "style",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("maker", sa.Integer(), nullable=True),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["maker"], ["person.id"], name=op.f("fk_style_maker_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_style")),
        sa.UniqueConstraint("name", name=op.f("uq_style_name")),
        sa.UniqueConstraint("uuid", name=op.f("uq_style_uuid")),
    )
    op.create_index("ix_style_maker", "style", ["maker"])

    op.create_table(
        "maker",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("hand", TEXT, nullable=False),
        sa.CheckConstraint("hand IN ('left', 'right', '')", name=op.f("ck_maker_hand")),
        sa.ForeignKeyConstraint(["person"], ["person.id"], name=op.f("fk_maker_person_person")),
        sa.PrimaryKeyConstraint("person", name=op.f("pk_maker")),
    )
    op.create_table(
        "player",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("contact", TEXT, nullable=False),
        sa.Column("uses_knife", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(["person"], ["person.id"], name=op.f("fk_player_person_person")),
        sa.PrimaryKeyConstraint("person", name=op.f("pk_player")),
    )
    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("altitude", sa.Float(), nullable=True),
        sa.Column("temperature", sa.Float(), nullable=True),
        sa.Column("humidity", sa.Float(), nullable=True),
        sa.CheckConstraint("humidity BETWEEN 0 AND 1", name=op.f("ck_place_humidity")),
        sa.CheckConstraint("temperature > 0", name=op.f("ck_place_temperature")),
        sa.ForeignKeyConstraint(["person"], ["person.id"], name=op.f("fk_place_person_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("uuid", name=op.f("uq_place_uuid")),
    )
    op.create_index("ix_place_person", "place", ["person"])

    op.create_table(
        "reed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("maker", sa.Integer(), nullable=True),
        sa.Column("player", sa.Integer(), nullable=True),
        sa.Column("batch", sa.Integer(), nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["batch"], ["batch.id"], name=op.f("fk_reed_batch_batch")),
        sa.ForeignKeyConstraint(["maker"], ["person.id"], name=op.f("fk_reed_maker_person")),
        sa.ForeignKeyConstraint(["player"], ["person.id"], name=op.f("fk_reed_player_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reed")),
        sa.UniqueConstraint("name", name=op.f("uq_reed_name")),
        sa.UniqueConstraint("uuid", name=op.f("uq_reed_uuid")),
    )
    op.create_index("ix_reed_batch", "reed", ["batch"])
    op.create_index("ix_reed_maker", "reed", ["maker"])
    op.create_index("ix_reed_player", "reed", ["player"])

    op.create_table(
        "entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("reed", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("happened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Integer(), nullable=True),
        sa.Column("replaces", sa.Uuid(), nullable=True),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.CheckConstraint("seq >= 1", name=op.f("ck_entry_seq")),
        sa.ForeignKeyConstraint(["by"], ["person.id"], name=op.f("fk_entry_by_person")),
        sa.ForeignKeyConstraint(["reed"], ["reed.id"], name=op.f("fk_entry_reed_reed")),
        sa.ForeignKeyConstraint(["replaces"], ["entry.uuid"], name=op.f("fk_entry_replaces_entry")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entry")),
        sa.UniqueConstraint("reed", "seq", name=op.f("uq_entry_reed_seq")),
        sa.UniqueConstraint("replaces", name=op.f("uq_entry_replaces")),
        sa.UniqueConstraint("uuid", name=op.f("uq_entry_uuid")),
    )
    op.create_index("ix_entry_by", "entry", ["by"])

    op.create_table(
        "reed_summary",
        sa.Column("reed", sa.Integer(), nullable=False),
        sa.Column("maker", TEXT, nullable=False),
        sa.Column("player", TEXT, nullable=False),
        sa.Column("batch", TEXT, nullable=False),
        sa.Column("thread_colour", TEXT, nullable=False),
        sa.Column("cork_number", TEXT, nullable=False),
        sa.Column("style", TEXT, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("length", sa.Float(), nullable=True),
        sa.Column("opening", sa.Float(), nullable=True),
        sa.Column("grade", sa.Integer(), nullable=True),
        sa.Column("last_kind", TEXT, nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("search", TEXT, nullable=False),
        sa.Column("sort_name", TEXT, nullable=False),
        sa.ForeignKeyConstraint(["reed"], ["reed.id"], name=op.f("fk_reed_summary_reed_reed")),
        sa.PrimaryKeyConstraint("reed", name=op.f("pk_reed_summary")),
    )
    op.create_index("ix_reed_summary_batch", "reed_summary", ["batch"])
    op.create_index("ix_reed_summary_last_at", "reed_summary", ["last_at"])
    op.create_index("ix_reed_summary_sort_name", "reed_summary", ["sort_name"])

    op.create_table(
        "reading",
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("blade", TEXT, nullable=False),
        sa.Column("along", sa.Float(), nullable=False),
        sa.Column("across", sa.Float(), nullable=False),
        sa.Column("thickness", sa.Float(), nullable=False),
        sa.Column("instrument", TEXT, nullable=False),
        sa.Column("seating", sa.Integer(), nullable=False),
        sa.Column("repeat", sa.Integer(), nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("minutes_wet", sa.Float(), nullable=True),
        sa.CheckConstraint("blade IN ('marked', 'plain')", name=op.f("ck_reading_blade")),
        sa.CheckConstraint("state IN ('wet', 'dry', 'unknown')", name=op.f("ck_reading_state")),
        sa.CheckConstraint("thickness > 0", name=op.f("ck_reading_thickness")),
        sa.ForeignKeyConstraint(["entry"], ["entry.id"], name=op.f("fk_reading_entry_entry")),
        sa.PrimaryKeyConstraint("entry", "position", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    for table in ("entry", "reading"):
        _append_only(table)


def _append_only(table: str) -> None:
    """Let the database itself refuse to change or delete rows of `table`."""
    if op.get_context().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
    else:
        op.execute(
            f"CREATE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{table} is append-only' "
            f"USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_append_only()"
        )
