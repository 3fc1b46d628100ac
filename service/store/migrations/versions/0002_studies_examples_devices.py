"""Studies, learning in place, reviewed examples and devices.

Revision 0002, follows 0001. Only adds tables, an index and columns that may be empty.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

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
    op.add_column("captures", _text("origin", 400, nullable=True))
    op.add_column("captures", _text("object_group", 200, nullable=True))
    _index("items", "sort_id", "category", "route", "count")
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
    _log_table("studies", _text("name", 120))
    _log_table(
        "study_sorts",
        *_ref("study_sorts", "sort_id", "sorts"),
        *_ref("study_sorts", "study_id", "studies", nullable=True),
    )
    _index("study_sorts", "sort_id", "seq")
    _index("study_sorts", "study_id", "seq")
    _log_table(
        "learning_settings",
        _text("scope_id", 36),
        sa.Column("learns", sa.Boolean(), nullable=False),
        sa.Column("audit_percent", sa.Integer(), nullable=False),
        _text("sorter", 80),
    )
    _index("learning_settings", "scope_id", "seq")
    _log_table(
        "learned_starts",
        _text("scope_id", 36),
        _text("name", 200),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        _text("sorter", 80),
    )
    _index("learned_starts", "scope_id", "seq")
    _log_table("promotions", _text("bundle", 400), _text("sorter", 80))


def _examples() -> None:
    _log_table(
        "reviews",
        *_ref("reviews", "capture_id", "captures"),
        _text("verdict", 20),
        _text("category", 80, nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        _text("sorter", 80),
    )
    _index("reviews", "capture_id", "seq")
    _log_table(
        "withdrawals",
        *_ref("withdrawals", "capture_id", "captures"),
        sa.Column("reason", sa.Text(), nullable=False),
        _text("sorter", 80),
        _unique("withdrawals", "capture_id"),
    )
    _log_table(
        "example_sets",
        *_ref("example_sets", "sort_id", "sorts"),
        _text("source", 400),
        _unique("example_sets", "sort_id"),
    )


def _access() -> None:
    _log_table(
        "join_codes",
        _text("code_digest", 64),
        _text("role", 20),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        _unique("join_codes", "code_digest"),
    )
    _log_table(
        "devices",
        *_ref("devices", "join_code_id", "join_codes"),
        _text("name", 80),
        _text("token_digest", 64),
        _text("role", 20),
        _unique("devices", "join_code_id"),
        _unique("devices", "token_digest"),
    )
    _log_table(
        "device_revocations",
        *_ref("device_revocations", "device_id", "devices"),
        _unique("device_revocations", "device_id"),
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
        _text("id", 36),
        _text("fingerprint", 64),
        _unique(name, "id"),
        *columns,
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f(f"pk_{name}")),
        sqlite_autoincrement=True,
    )


def _text(name: str, length: int, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(length), nullable=nullable)


def _ref(table: str, column: str, target: str, *, nullable: bool = False) -> tuple[Any, ...]:
    return (
        _text(column, 36, nullable=nullable),
        sa.ForeignKeyConstraint([column], [f"{target}.id"], name=op.f(f"fk_{table}_{column}")),
    )


def _unique(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def _index(table: str, *columns: str) -> None:
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))
