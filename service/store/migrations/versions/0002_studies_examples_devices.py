"""Studies, learning in place, reviewed examples and devices.

Revision 0002, follows 0001. Only adds tables, an index and columns that may be empty.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

from service.store.migrations.steps import index, log_table, own_id, ref, text, unique

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TABLES = (
    "studies",
    "study_sorts",
    "learning_settings",
    "learned_starts",
    "promotions",
    "reviews",
    "withdrawals",
    "example_sets",
    "join_codes",
    "devices",
    "device_revocations",
)
CAPTURE_COLUMNS = ("audit", "learned", "origin", "object_group")


def upgrade() -> None:
    """Add what is new."""
    op.add_column(
        "captures", sa.Column("audit", sa.Boolean(), nullable=False, server_default=sa.false())
    )
    op.add_column("captures", sa.Column("learned", sa.JSON()))
    op.add_column("captures", text("origin", 400, nullable=True))
    op.add_column("captures", text("object_group", 200, nullable=True))
    index("items", "sort_id", "category", "route", "count")
    _studies()
    _examples()
    _access()


def downgrade() -> None:
    """Drop what was added."""
    op.drop_index(op.f("ix_items_sort_id_category_route_count"), "items")
    for name in reversed(TABLES):
        op.drop_table(name)
    for column in reversed(CAPTURE_COLUMNS):
        op.drop_column("captures", column)


def _studies() -> None:
    _table("studies", text("name", 120))
    _table(
        "study_sorts",
        *ref("study_sorts", "sort_id", "sorts"),
        *ref("study_sorts", "study_id", "studies", nullable=True),
    )
    index("study_sorts", "sort_id", "seq")
    index("study_sorts", "study_id", "seq")
    _table(
        "learning_settings",
        text("scope_id", 36),
        sa.Column("learns", sa.Boolean(), nullable=False),
        sa.Column("audit_percent", sa.Integer(), nullable=False),
        text("sorter", 80),
    )
    index("learning_settings", "scope_id", "seq")
    _table(
        "learned_starts",
        text("scope_id", 36),
        text("name", 200),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        text("sorter", 80),
    )
    index("learned_starts", "scope_id", "seq")
    _table("promotions", text("bundle", 400), text("sorter", 80))


def _examples() -> None:
    _table(
        "reviews",
        *ref("reviews", "capture_id", "captures"),
        text("verdict", 20),
        text("category", 80, nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        text("sorter", 80),
    )
    index("reviews", "capture_id", "seq")
    _table(
        "withdrawals",
        *ref("withdrawals", "capture_id", "captures"),
        sa.Column("reason", sa.Text(), nullable=False),
        text("sorter", 80),
        unique("withdrawals", "capture_id"),
    )
    _table(
        "example_sets",
        *ref("example_sets", "sort_id", "sorts"),
        text("source", 400),
        unique("example_sets", "sort_id"),
    )


def _access() -> None:
    _table(
        "join_codes",
        text("code_digest", 64),
        text("role", 20),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        unique("join_codes", "code_digest"),
    )
    _table(
        "devices",
        *ref("devices", "join_code_id", "join_codes"),
        text("name", 80),
        text("token_digest", 64),
        text("role", 20),
        unique("devices", "join_code_id"),
        unique("devices", "token_digest"),
    )
    _table(
        "device_revocations",
        *ref("device_revocations", "device_id", "devices"),
        unique("device_revocations", "device_id"),
    )


def _table(name: str, *columns: Any) -> None:
    log_table(name, *own_id(name), *columns)
