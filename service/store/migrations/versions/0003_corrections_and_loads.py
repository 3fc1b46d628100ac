"""Corrections of a sort's details; a weighing says which bucketful of its pile it is.

Revision 0003, follows 0002. Only adds a table and a column; each weighing there is was of the whole
pile, its first load.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.store.migrations.steps import index, log_table, own_id, ref, text

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TABLE = "sort_corrections"


def upgrade() -> None:
    """Add what is new."""
    log_table(
        TABLE,
        *own_id(TABLE),
        *ref(TABLE, "sort_id", "sorts"),
        text("name", 120),
        text("place", 120),
        text("stratum", 120),
        sa.Column("sorted_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("persons", sa.Integer(), nullable=False),
        text("programme_id", 80),
        sa.Column("reason", sa.Text(), nullable=False),
    )
    index(TABLE, "sort_id", "seq")
    op.add_column("weighings", sa.Column("load", sa.Integer(), nullable=False, server_default="1"))


def downgrade() -> None:
    """Drop what was added."""
    op.drop_column("weighings", "load")
    op.drop_table(TABLE)
