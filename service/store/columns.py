"""Column types and the shape that every table of the log shares."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    DateTime,
    Dialect,
    Enum,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    TypeDecorator,
)

from classifier.errors import StorageError
from classifier.log.quantities import Unit

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class UtcDateTime(TypeDecorator[datetime]):
    """A moment in UTC; SQLite forgets the zone, so it is put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a local time: it would be read as UTC later."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise StorageError(f"time {value} has no zone: record times in UTC")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)


class DecimalText(TypeDecorator[Decimal]):
    """A decimal as it was read: 1.20 stays 1.20, which a float or NUMERIC would lose."""

    impl = String(40)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Return the plain digits."""
        del dialect
        return None if value is None else format(value, "f")

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        """Return the decimal."""
        del dialect
        return None if value is None else Decimal(value)


ID = String(36)
UNIT = Enum(Unit, native_enum=False, length=4, values_callable=lambda units: [*units])
_Seq = BigInteger().with_variant(Integer(), "sqlite")


def log_table(name: str, *columns: Any) -> Table:
    """Return a table with `seq`, the given columns and the time of recording."""
    return Table(
        name,
        metadata,
        Column("seq", _Seq, primary_key=True, autoincrement=True, doc="grows with every row"),
        *columns,
        Column("at", UtcDateTime, nullable=False, doc="when it was recorded (UTC)"),
        sqlite_autoincrement=True,
    )


def own_id(length: int = 36) -> tuple[Column[str], Column[str]]:
    """Return the id that the client made and the digest of what it sent under it."""
    return (
        Column("id", String(length), nullable=False, unique=True, doc="made by the client"),
        Column("fingerprint", String(64), nullable=False, doc="SHA-256 of what the client sent"),
    )


def ref(
    name: str, target: str, *, nullable: bool = False, unique: bool | None = None, doc: str
) -> Column[str]:
    """Return a column that refers to another table's id."""
    return Column(name, ID, ForeignKey(target), nullable=nullable, unique=unique, doc=doc)


def of_sort(doc: str = "sort") -> tuple[Column[str], Index]:
    """Return the column that says of which sort a row is, which finds them in order."""
    return ref("sort_id", "sorts.id", doc=doc), Index(None, "sort_id", "seq")


def sorter() -> Column[str]:
    """Return the column that says who did it."""
    return Column("sorter", String(80), nullable=False, doc="who did it, empty if not given")
