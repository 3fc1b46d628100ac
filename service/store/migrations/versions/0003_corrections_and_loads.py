"""Corrections of a sort's details; a weighing says which bucketful of its pile it is.

Revision 0003, follows 0002. Only adds a table and a column; each weighing there is was of the whole
pile, its first load.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TABLE = "sort_corrections"


def upgrade() -> None:
    """Add what is new."""
    op.create_table(
        TABLE,
        sa.Column(
            "seq",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        _text("id", 36),
        _text("fingerprint", 64),
        _text("sort_id", 36),
        _text("name", 120),
        _text("place", 120),
        _text("stratum", 120),
        sa.Column("sorted_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("persons", sa.Integer(), nullable=False),
        _text("programme_id", 80),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f(f"pk_{TABLE}")),
        sa.UniqueConstraint("id", name=op.f(f"uq_{TABLE}_id")),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f(f"fk_{TABLE}_sort_id")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_sort_id_seq"), TABLE, ["sort_id", "seq"])
    op.add_column("weighings", sa.Column("load", sa.Integer(), nullable=False, server_default="1"))


def downgrade() -> None:
    """Drop what was added."""
    op.drop_column("weighings", "load")
    op.drop_table(TABLE)


def _text(name: str, length: int) -> sa.Column[str]:
    return sa.Column(name, sa.String(length), nullable=False)
