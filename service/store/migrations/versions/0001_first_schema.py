"""First schema.

Revision 0001, follows none. Written out, not taken from `service.store.tables`: that will change,
and what this step made must not.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.store.migrations.steps import index, log_table, own_id, ref, text, unique

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# In the order in which they refer to each other.
TABLES = (
    "sorts",
    "sort_events",
    "models",
    "captures",
    "embeddings",
    "fact_answers",
    "batches",
    "items",
    "item_changes",
    "weighings",
    "weighing_voids",
    "tares",
)


def upgrade() -> None:
    """Make all tables."""
    _sorts()
    _captures()
    _items()
    _weighings()


def downgrade() -> None:
    """Drop all tables."""
    for name in reversed(TABLES):
        op.drop_table(name)


def _sorts() -> None:
    log_table(
        "sorts",
        *own_id("sorts"),
        text("name", 120),
        text("place", 120),
        text("stratum", 120),
        sa.Column("sorted_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("persons", sa.Integer(), nullable=False),
        text("programme_id", 80),
        text("programme_version", 80),
        sa.Column("sorters", sa.JSON(), nullable=False),
        sa.Column("keeps_photos", sa.Boolean(), nullable=False),
    )
    log_table(
        "sort_events",
        *own_id("sort_events"),
        *ref("sort_events", "sort_id", "sorts"),
        text("kind", 20),
    )
    index("sort_events", "sort_id", "seq")


def _captures() -> None:
    log_table(
        "models",
        text("id", 200),
        text("name", 80),
        text("version", 80),
        sa.Column("content", sa.JSON(), nullable=False),
        unique("models", "id"),
    )
    log_table(
        "captures",
        *own_id("captures"),
        *ref("captures", "sort_id", "sorts"),
        text("photo_name", 200, nullable=True),
        sa.Column("forms", sa.JSON(), nullable=False),
        *ref("captures", "model_id", "models", length=200, nullable=True),
        text("categories_version", 80),
        text("programme_version", 80),
        sa.Column("notice", sa.Text(), nullable=False),
    )
    index("captures", "sort_id", "seq")
    op.create_table(
        "embeddings",
        *ref("embeddings", "capture_id", "captures"),
        sa.Column("vector", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("capture_id", name=op.f("pk_embeddings")),
    )
    log_table(
        "fact_answers",
        *ref("fact_answers", "capture_id", "captures"),
        text("fact", 80),
        text("answer", 80),
    )
    index("fact_answers", "capture_id", "seq")


def _items() -> None:
    log_table(
        "batches",
        *own_id("batches"),
        *ref("batches", "sort_id", "sorts"),
        text("category", 80),
        text("label", 120),
    )
    index("batches", "sort_id", "category", "seq")
    log_table(
        "items",
        *own_id("items"),
        *ref("items", "sort_id", "sorts"),
        *ref("items", "capture_id", "captures", nullable=True),
        sa.Column("attempt", sa.Integer()),
        *ref("items", "batch_id", "batches", nullable=True),
        text("category", 80),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        text("route", 80, nullable=True),
        text("sorter", 80),
        sa.Column("note", sa.Text(), nullable=False),
        text("suggested", 80, nullable=True),
        text("model_version", 200, nullable=True),
        text("categories_version", 80),
        text("programme_version", 80),
        unique("items", "capture_id", "attempt"),
    )
    index("items", "sort_id", "seq")
    log_table(
        "item_changes",
        *own_id("item_changes"),
        *ref("item_changes", "sort_id", "sorts"),
        *ref("item_changes", "item_id", "items"),
        text("kind", 20),
        text("category", 80, nullable=True),
        sa.Column("count", sa.Integer()),
        text("route", 80, nullable=True),
        sa.Column("facts", sa.JSON()),
        *ref("item_changes", "batch_id", "batches", nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        text("sorter", 80),
        text("programme_version", 80),
    )
    index("item_changes", "sort_id", "seq")
    index("item_changes", "item_id", "seq")


def _weighings() -> None:
    log_table(
        "weighings",
        *own_id("weighings"),
        *ref("weighings", "sort_id", "sorts"),
        *ref("weighings", "batch_id", "batches"),
        text("method", 20),
        text("gross", 40, nullable=True),
        text("tare", 40, nullable=True),
        text("unit", 4),
        text("resolution", 40),
        text("tare_unit", 4, nullable=True),
        text("tare_resolution", 40, nullable=True),
        text("capacity", 40, nullable=True),
        sa.Column("contents_left", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        text("sorter", 80),
    )
    index("weighings", "sort_id", "seq")
    index("weighings", "batch_id", "seq")
    log_table(
        "weighing_voids",
        *own_id("weighing_voids"),
        *ref("weighing_voids", "sort_id", "sorts"),
        *ref("weighing_voids", "weighing_id", "weighings"),
        sa.Column("reason", sa.Text(), nullable=False),
        text("sorter", 80),
        unique("weighing_voids", "weighing_id"),
    )
    index("weighing_voids", "sort_id", "seq")
    log_table(
        "tares",
        *own_id("tares"),
        text("name", 120),
        text("weight", 40),
        text("unit", 4),
        text("resolution", 40),
    )
