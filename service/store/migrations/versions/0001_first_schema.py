"""First schema.

Revision 0001, follows none. Written out, not taken from `service.store.tables`: that will change,
and what this step made must not.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

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
    _log_table(
        "sorts",
        *_own_id("sorts"),
        _text("name", 120),
        _text("place", 120),
        _text("stratum", 120),
        sa.Column("sorted_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("persons", sa.Integer(), nullable=False),
        _text("programme_id", 80),
        _text("programme_version", 80),
        sa.Column("sorters", sa.JSON(), nullable=False),
        sa.Column("keeps_photos", sa.Boolean(), nullable=False),
    )
    _log_table(
        "sort_events",
        *_own_id("sort_events"),
        *_ref("sort_events", "sort_id", "sorts"),
        _text("kind", 20),
    )
    _index("sort_events", "sort_id", "seq")


def _captures() -> None:
    _log_table(
        "models",
        _text("id", 200),
        _text("name", 80),
        _text("version", 80),
        sa.Column("content", sa.JSON(), nullable=False),
        _unique("models", "id"),
    )
    _log_table(
        "captures",
        *_own_id("captures"),
        *_ref("captures", "sort_id", "sorts"),
        _text("photo_name", 200, nullable=True),
        sa.Column("forms", sa.JSON(), nullable=False),
        *_ref("captures", "model_id", "models", length=200, nullable=True),
        _text("categories_version", 80),
        _text("programme_version", 80),
        sa.Column("notice", sa.Text(), nullable=False),
    )
    _index("captures", "sort_id", "seq")
    op.create_table(
        "embeddings",
        *_ref("embeddings", "capture_id", "captures"),
        sa.Column("vector", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("capture_id", name=op.f("pk_embeddings")),
    )
    _log_table(
        "fact_answers",
        *_ref("fact_answers", "capture_id", "captures"),
        _text("fact", 80),
        _text("answer", 80),
    )
    _index("fact_answers", "capture_id", "seq")


def _items() -> None:
    _log_table(
        "batches",
        *_own_id("batches"),
        *_ref("batches", "sort_id", "sorts"),
        _text("category", 80),
        _text("label", 120),
    )
    _index("batches", "sort_id", "category", "seq")
    _log_table(
        "items",
        *_own_id("items"),
        *_ref("items", "sort_id", "sorts"),
        *_ref("items", "capture_id", "captures", nullable=True),
        sa.Column("attempt", sa.Integer()),
        *_ref("items", "batch_id", "batches", nullable=True),
        _text("category", 80),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        _text("route", 80, nullable=True),
        _text("sorter", 80),
        sa.Column("note", sa.Text(), nullable=False),
        _text("suggested", 80, nullable=True),
        _text("model_version", 200, nullable=True),
        _text("categories_version", 80),
        _text("programme_version", 80),
        _unique("items", "capture_id", "attempt"),
    )
    _index("items", "sort_id", "seq")
    _log_table(
        "item_changes",
        *_own_id("item_changes"),
        *_ref("item_changes", "sort_id", "sorts"),
        *_ref("item_changes", "item_id", "items"),
        _text("kind", 20),
        _text("category", 80, nullable=True),
        sa.Column("count", sa.Integer()),
        _text("route", 80, nullable=True),
        sa.Column("facts", sa.JSON()),
        *_ref("item_changes", "batch_id", "batches", nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        _text("sorter", 80),
        _text("programme_version", 80),
    )
    _index("item_changes", "sort_id", "seq")
    _index("item_changes", "item_id", "seq")


def _weighings() -> None:
    _log_table(
        "weighings",
        *_own_id("weighings"),
        *_ref("weighings", "sort_id", "sorts"),
        *_ref("weighings", "batch_id", "batches"),
        _text("method", 20),
        _text("gross", 40, nullable=True),
        _text("tare", 40, nullable=True),
        _text("unit", 4),
        _text("resolution", 40),
        _text("tare_unit", 4, nullable=True),
        _text("tare_resolution", 40, nullable=True),
        _text("capacity", 40, nullable=True),
        sa.Column("contents_left", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _text("sorter", 80),
    )
    _index("weighings", "sort_id", "seq")
    _index("weighings", "batch_id", "seq")
    _log_table(
        "weighing_voids",
        *_own_id("weighing_voids"),
        *_ref("weighing_voids", "sort_id", "sorts"),
        *_ref("weighing_voids", "weighing_id", "weighings"),
        sa.Column("reason", sa.Text(), nullable=False),
        _text("sorter", 80),
        _unique("weighing_voids", "weighing_id"),
    )
    _index("weighing_voids", "sort_id", "seq")
    _log_table(
        "tares",
        *_own_id("tares"),
        _text("name", 120),
        _text("weight", 40),
        _text("unit", 4),
        _text("resolution", 40),
    )


def _log_table(name: str, *columns: Any) -> None:
    op.create_table(
        name,
        sa.Column(
            "seq",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        *columns,
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f(f"pk_{name}")),
        sqlite_autoincrement=True,
    )


def _own_id(table: str) -> tuple[Any, ...]:
    return _text("id", 36), _text("fingerprint", 64), _unique(table, "id")


def _text(name: str, length: int, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(length), nullable=nullable)


def _ref(
    table: str, column: str, target: str, *, length: int = 36, nullable: bool = False
) -> tuple[Any, ...]:
    name = op.f(f"fk_{table}_{column}")
    return (
        _text(column, length, nullable=nullable),
        sa.ForeignKeyConstraint([column], [f"{target}.id"], name=name),
    )


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _index(table: str, *columns: str) -> None:
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))
