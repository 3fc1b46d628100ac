"""How migrations write tables out.

Not taken from `service.store.columns`, which may change: what a migration made must not. So neither
may this; a migration that needs something else says so itself.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op


def log_table(name: str, *columns: Any) -> None:
    """Make a table with a number and a time for each row."""
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


def own_id(table: str) -> tuple[Any, ...]:
    """Return the id that a client made, and the digest of what it sent."""
    return text("id", 36), text("fingerprint", 64), unique(table, "id")


def text(name: str, length: int, *, nullable: bool = False) -> sa.Column[str]:
    """Return a column of text of at most so many characters."""
    return sa.Column(name, sa.String(length), nullable=nullable)


def ref(
    table: str, column: str, target: str, *, length: int = 36, nullable: bool = False
) -> tuple[Any, ...]:
    """Return a column that refers to another table's id, and its constraint."""
    name = op.f(f"fk_{table}_{column}")
    return (
        text(column, length, nullable=nullable),
        sa.ForeignKeyConstraint([column], [f"{target}.id"], name=name),
    )


def unique(table: str, *columns: str) -> sa.UniqueConstraint:
    """Return the constraint that no two rows are the same in some columns."""
    return sa.UniqueConstraint(*columns, name=op.f(f"uq_{table}_{'_'.join(columns)}"))


def index(table: str, *columns: str) -> None:
    """Make an index."""
    op.create_index(op.f(f"ix_{table}_{'_'.join(columns)}"), table, list(columns))
