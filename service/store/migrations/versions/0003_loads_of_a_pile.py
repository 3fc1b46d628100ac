"""A weighing says which bucketful of its pile it is.

Only adds a column; each weighing there is was of the whole pile, its first load.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is new."""
    op.add_column("weighings", sa.Column("load", sa.Integer(), nullable=False, server_default="1"))


def downgrade() -> None:
    """Drop what was added."""
    op.drop_column("weighings", "load")
