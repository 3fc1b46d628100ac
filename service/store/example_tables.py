"""Tables about photos as labelled examples: reviews, withdrawals, imported sets."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, String, Text

from service.store.columns import ID, log_table, own_id, ref, sorter

reviews = log_table(
    "reviews",
    *own_id(),
    ref("capture_id", "captures.id", doc="photo reviewed; its last row counts"),
    Column(
        "verdict",
        String(20),
        nullable=False,
        doc="label, unclear, two_items, dont_use, open (taken back); second is an opinion apart",
    ),
    Column("category", String(80), doc="category, where the verdict is label"),
    Column("note", Text, nullable=False, doc="free text"),
    sorter(),
    Index(None, "capture_id", "seq"),
)

withdrawals = log_table(
    "withdrawals",
    *own_id(),
    Column(
        "capture_id",
        ID,
        ForeignKey("captures.id"),
        nullable=False,
        unique=True,
        doc="photo that was taken back and deleted",
    ),
    Column("reason", Text, nullable=False, doc="why"),
    sorter(),
)

example_sets = log_table(
    "example_sets",
    *own_id(),
    Column(
        "sort_id",
        ID,
        ForeignKey("sorts.id"),
        nullable=False,
        unique=True,
        doc="sort that only holds imported photos; it counts in no total",
    ),
    Column("source", String(400), nullable=False, doc="where the set comes from"),
)

EXAMPLE_TABLES = (reviews, withdrawals, example_sets)
