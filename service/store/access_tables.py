"""Tables about who may use the service from another device; never exported."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, String

from service.store.columns import ID, UtcDateTime, log_table, own_id

join_codes = log_table(
    "join_codes",
    *own_id(),
    Column("code_digest", String(64), nullable=False, unique=True, doc="SHA-256 of the code"),
    Column("role", String(20), nullable=False, doc="sorter, trainer or owner"),
    Column("expires_at", UtcDateTime, nullable=False, doc="when it stops working"),
)

devices = log_table(
    "devices",
    *own_id(),
    Column(
        "join_code_id",
        ID,
        ForeignKey("join_codes.id"),
        nullable=False,
        unique=True,
        doc="code it joined with; each works once",
    ),
    Column("name", String(80), nullable=False, doc="what its user calls it"),
    Column("token_digest", String(64), nullable=False, unique=True, doc="SHA-256 of its token"),
    Column("role", String(20), nullable=False, doc="sorter, trainer or owner"),
)

device_revocations = log_table(
    "device_revocations",
    *own_id(),
    Column(
        "device_id",
        ID,
        ForeignKey("devices.id"),
        nullable=False,
        unique=True,
        doc="device that is let in no longer",
    ),
)

ACCESS_TABLES = (join_codes, devices, device_revocations)
