"""First schema.

Revision 0001, follows None.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
SEQ = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "models",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("version", sa.String(length=80), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_models")),
        sa.UniqueConstraint("id", name=op.f("uq_models_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sorts",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("place", sa.String(length=120), nullable=False),
        sa.Column("stratum", sa.String(length=120), nullable=False),
        sa.Column("sorted_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("persons", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.String(length=80), nullable=False),
        sa.Column("programme_version", sa.String(length=80), nullable=False),
        sa.Column("sorters", sa.JSON(), nullable=False),
        sa.Column("keeps_photos", sa.Boolean(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_sorts")),
        sa.UniqueConstraint("id", name=op.f("uq_sorts_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "tares",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("weight", sa.String(length=40), nullable=False),
        sa.Column("unit", sa.String(length=4), nullable=False),
        sa.Column("resolution", sa.String(length=40), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_tares")),
        sa.UniqueConstraint("id", name=op.f("uq_tares_id")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "batches",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("category", sa.String(length=80), nullable=False),
        sa.Column("label", sa.String(length=120), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_batches_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_batches")),
        sa.UniqueConstraint("id", name=op.f("uq_batches_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_batches_sort_id_category_seq"),
            ["sort_id", "category", "seq"],
            unique=False,
        )

    op.create_table(
        "captures",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("photo_name", sa.String(length=200), nullable=True),
        sa.Column("forms", sa.JSON(), nullable=False),
        sa.Column("model_id", sa.String(length=200), nullable=True),
        sa.Column("categories_version", sa.String(length=80), nullable=False),
        sa.Column("programme_version", sa.String(length=80), nullable=False),
        sa.Column("notice", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name=op.f("fk_captures_model_id")),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_captures_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_captures")),
        sa.UniqueConstraint("id", name=op.f("uq_captures_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("captures", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_captures_sort_id_seq"), ["sort_id", "seq"], unique=False
        )

    op.create_table(
        "sort_events",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_sort_events_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_sort_events")),
        sa.UniqueConstraint("id", name=op.f("uq_sort_events_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("sort_events", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_sort_events_sort_id_seq"), ["sort_id", "seq"], unique=False
        )

    op.create_table(
        "embeddings",
        sa.Column("capture_id", sa.String(length=36), nullable=False),
        sa.Column("vector", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["capture_id"], ["captures.id"], name=op.f("fk_embeddings_capture_id")
        ),
        sa.PrimaryKeyConstraint("capture_id", name=op.f("pk_embeddings")),
    )
    op.create_table(
        "fact_answers",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("capture_id", sa.String(length=36), nullable=False),
        sa.Column("fact", sa.String(length=80), nullable=False),
        sa.Column("answer", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["capture_id"], ["captures.id"], name=op.f("fk_fact_answers_capture_id")
        ),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_fact_answers")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("fact_answers", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_fact_answers_capture_id_seq"), ["capture_id", "seq"], unique=False
        )

    op.create_table(
        "items",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("capture_id", sa.String(length=36), nullable=True),
        sa.Column("attempt", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.String(length=36), nullable=True),
        sa.Column("category", sa.String(length=80), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("route", sa.String(length=80), nullable=True),
        sa.Column("sorter", sa.String(length=80), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("suggested", sa.String(length=80), nullable=True),
        sa.Column("model_version", sa.String(length=200), nullable=True),
        sa.Column("categories_version", sa.String(length=80), nullable=False),
        sa.Column("programme_version", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_items_batch_id")),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name=op.f("fk_items_capture_id")),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_items_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_items")),
        sa.UniqueConstraint("capture_id", "attempt", name=op.f("uq_items_capture_id_attempt")),
        sa.UniqueConstraint("id", name=op.f("uq_items_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("items", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_items_sort_id_seq"), ["sort_id", "seq"], unique=False)

    op.create_table(
        "weighings",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("batch_id", sa.String(length=36), nullable=False),
        sa.Column("method", sa.String(length=20), nullable=False),
        sa.Column("gross", sa.String(length=40), nullable=True),
        sa.Column("tare", sa.String(length=40), nullable=True),
        sa.Column("unit", sa.String(length=4), nullable=False),
        sa.Column("resolution", sa.String(length=40), nullable=False),
        sa.Column("tare_unit", sa.String(length=4), nullable=True),
        sa.Column("tare_resolution", sa.String(length=40), nullable=True),
        sa.Column("capacity", sa.String(length=40), nullable=True),
        sa.Column("contents_left", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("sorter", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name=op.f("fk_weighings_batch_id")),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_weighings_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_weighings")),
        sa.UniqueConstraint("id", name=op.f("uq_weighings_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("weighings", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_weighings_batch_id_seq"), ["batch_id", "seq"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_weighings_sort_id_seq"), ["sort_id", "seq"], unique=False
        )

    op.create_table(
        "item_changes",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("item_id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("category", sa.String(length=80), nullable=True),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("route", sa.String(length=80), nullable=True),
        sa.Column("facts", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("batch_id", sa.String(length=36), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("sorter", sa.String(length=80), nullable=False),
        sa.Column("programme_version", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batches.id"], name=op.f("fk_item_changes_batch_id")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["items.id"], name=op.f("fk_item_changes_item_id")),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_item_changes_sort_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_item_changes")),
        sa.UniqueConstraint("id", name=op.f("uq_item_changes_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("item_changes", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_item_changes_item_id_seq"), ["item_id", "seq"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_item_changes_sort_id_seq"), ["sort_id", "seq"], unique=False
        )

    op.create_table(
        "weighing_voids",
        sa.Column("seq", SEQ, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("sort_id", sa.String(length=36), nullable=False),
        sa.Column("weighing_id", sa.String(length=36), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("sorter", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["sort_id"], ["sorts.id"], name=op.f("fk_weighing_voids_sort_id")),
        sa.ForeignKeyConstraint(
            ["weighing_id"], ["weighings.id"], name=op.f("fk_weighing_voids_weighing_id")
        ),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_weighing_voids")),
        sa.UniqueConstraint("id", name=op.f("uq_weighing_voids_id")),
        sa.UniqueConstraint("weighing_id", name=op.f("uq_weighing_voids_weighing_id")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("weighing_voids", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_weighing_voids_sort_id_seq"), ["sort_id", "seq"], unique=False
        )


def downgrade() -> None:
    """Take back."""
    with op.batch_alter_table("weighing_voids", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_weighing_voids_sort_id_seq"))

    op.drop_table("weighing_voids")
    with op.batch_alter_table("item_changes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_changes_sort_id_seq"))
        batch_op.drop_index(batch_op.f("ix_item_changes_item_id_seq"))

    op.drop_table("item_changes")
    with op.batch_alter_table("weighings", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_weighings_sort_id_seq"))
        batch_op.drop_index(batch_op.f("ix_weighings_batch_id_seq"))

    op.drop_table("weighings")
    with op.batch_alter_table("items", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_items_sort_id_seq"))

    op.drop_table("items")
    with op.batch_alter_table("fact_answers", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_fact_answers_capture_id_seq"))

    op.drop_table("fact_answers")
    op.drop_table("embeddings")
    with op.batch_alter_table("sort_events", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sort_events_sort_id_seq"))

    op.drop_table("sort_events")
    with op.batch_alter_table("captures", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_captures_sort_id_seq"))

    op.drop_table("captures")
    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_batches_sort_id_category_seq"))

    op.drop_table("batches")
    op.drop_table("tares")
    op.drop_table("sorts")
    op.drop_table("models")
