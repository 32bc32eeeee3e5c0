"""How each person wants the pages, and what lies on the bench."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the database one step forward."""
    op.create_table(
        "setting",
        sa.Column("person", sa.Integer(), nullable=False),
        sa.Column("chosen", sa.JSON(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person"], ["person.id"], name=op.f("fk_setting_person_person")),
        sa.PrimaryKeyConstraint("person", name=op.f("pk_setting")),
    )
    op.create_table(
        "sitting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("shown", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["shown"], ["reed.id"], name=op.f("fk_sitting_shown_reed")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting")),
        sa.UniqueConstraint("uuid", name=op.f("uq_sitting_uuid")),
    )
    op.create_index("ix_sitting_shown", "sitting", ["shown"])
    op.create_table(
        "sitting_reed",
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("reed", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("joined", sa.Integer(), nullable=False),
        sa.Column("passed", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["reed"], ["reed.id"], name=op.f("fk_sitting_reed_reed_reed")),
        sa.ForeignKeyConstraint(
            ["sitting"], ["sitting.id"], name=op.f("fk_sitting_reed_sitting_sitting")
        ),
        sa.PrimaryKeyConstraint("sitting", "reed", name=op.f("pk_sitting_reed")),
    )
    op.create_index("ix_sitting_reed_reed", "sitting_reed", ["reed"])
