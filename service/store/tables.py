"""Tables of the log. Rows are added and never changed or deleted.

Every table has `seq`, which only grows: it orders rows even when the clock steps back. `id` is the
client's, `fingerprint` is a digest of what the client sent under it, so that a resend is told from
a second, different entry. Decimals are kept as the text that was read.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Date,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

from classifier.domain.errors import StorageError

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


_ID = String(36)
_Seq = BigInteger().with_variant(Integer(), "sqlite")


def _table(name: str, *columns: Any) -> Table:
    return Table(
        name,
        metadata,
        Column("seq", _Seq, primary_key=True, autoincrement=True, doc="grows with every row"),
        *columns,
        Column("at", UtcDateTime, nullable=False, doc="when it was recorded (UTC)"),
        sqlite_autoincrement=True,
    )


def _own_id(length: int = 36) -> tuple[Column[str], Column[str]]:
    return (
        Column("id", String(length), nullable=False, unique=True, doc="made by the client"),
        Column("fingerprint", String(64), nullable=False, doc="SHA-256 of what the client sent"),
    )


def _ref(name: str, target: str, *, nullable: bool = False, doc: str) -> Column[str]:
    return Column(name, _ID, ForeignKey(target), nullable=nullable, doc=doc)


def _sorter() -> Column[str]:
    return Column("sorter", String(80), nullable=False, doc="who did it, empty if not told")


sorts = _table(
    "sorts",
    *_own_id(),
    Column("name", String(120), nullable=False, doc="name of the sort"),
    Column("place", String(120), nullable=False, doc="where the discards come from"),
    Column("stratum", String(120), nullable=False, doc="part of the study it belongs to"),
    Column("sorted_on", Date, nullable=False, doc="day of sorting"),
    Column("days", Integer, nullable=False, doc="days of accumulation"),
    Column("persons", Integer, nullable=False, doc="persons whose discards these are"),
    Column("programme_id", String(80), nullable=False, doc="programme in force"),
    Column("programme_version", String(80), nullable=False, doc="its version at the start"),
    Column("sorters", JSON, nullable=False, doc="names of the sorters"),
    Column("keeps_photos", Boolean, nullable=False, doc="whether photos may be kept for training"),
)

sort_events = _table(
    "sort_events",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort closed or reopened"),
    Column("kind", String(20), nullable=False, doc="close or reopen"),
    Index(None, "sort_id", "seq"),
)

models = _table(
    "models",
    Column("id", String(200), nullable=False, unique=True, doc="name, version, content digest"),
    Column("name", String(80), nullable=False, doc="name of the bundle"),
    Column("version", String(80), nullable=False, doc="version of the bundle"),
    Column("content", JSON, nullable=False, doc="its form-to-category map and thresholds"),
)

captures = _table(
    "captures",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort the photo was taken in"),
    Column("photo_name", String(200), doc="file under photos/, our own name"),
    Column("forms", JSON, nullable=False, doc="ranked forms: [id, probability]"),
    Column("model_id", String(200), ForeignKey("models.id"), doc="model that looked, if any"),
    Column("categories_version", String(80), nullable=False, doc="version of the category list"),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    Column("notice", Text, nullable=False, doc="why there is no suggestion, if so"),
    Index(None, "sort_id", "seq"),
)

# Apart from captures, so that listing a sort does not read 2.5 kB per photo.
embeddings = Table(
    "embeddings",
    metadata,
    Column("capture_id", _ID, ForeignKey("captures.id"), primary_key=True, doc="photo"),
    Column("vector", LargeBinary, nullable=False, doc="little-endian 16-bit floats"),
)

fact_answers = _table(
    "fact_answers",
    _ref("capture_id", "captures.id", doc="photo the question was about"),
    Column("fact", String(80), nullable=False, doc="fact asked"),
    Column("answer", String(80), nullable=False, doc="answer, or not_sure"),
    Index(None, "capture_id", "seq"),
)

batches = _table(
    "batches",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort"),
    Column("category", String(80), nullable=False, doc="category of all that is in it"),
    Column("label", String(120), nullable=False, doc="what the sorters call it"),
    Index(None, "sort_id", "category", "seq"),
)

items = _table(
    "items",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort"),
    _ref("capture_id", "captures.id", nullable=True, doc="photo, if there is one"),
    Column("attempt", Integer, doc="0, or how many confirmations of the photo were undone before"),
    _ref("batch_id", "batches.id", nullable=True, doc="container or heap it went into"),
    Column("category", String(80), nullable=False, doc="category confirmed"),
    Column("count", Integer, nullable=False, doc="number of equal pieces"),
    Column("facts", JSON, nullable=False, doc="facts answered"),
    Column("route", String(80), doc="route shown; empty while a fact leaves several"),
    _sorter(),
    Column("note", Text, nullable=False, doc="free text"),
    Column("suggested", String(80), doc="category on top of the suggestion that was seen"),
    Column("model_version", String(200), doc="model that suggested"),
    Column("categories_version", String(80), nullable=False, doc="version of the category list"),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    UniqueConstraint("capture_id", "attempt"),
    Index(None, "sort_id", "seq"),
)

item_changes = _table(
    "item_changes",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort of the item"),
    _ref("item_id", "items.id", doc="item changed"),
    Column("kind", String(20), nullable=False, doc="correct or void"),
    Column("category", String(80), doc="category instead"),
    Column("count", Integer, doc="count instead"),
    Column("route", String(80), doc="route instead"),
    Column("facts", JSON(none_as_null=True), doc="facts instead"),
    _ref("batch_id", "batches.id", nullable=True, doc="container or heap instead"),
    Column("reason", Text, nullable=False, doc="why"),
    _sorter(),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    Index(None, "sort_id", "seq"),
    Index(None, "item_id", "seq"),
)

weighings = _table(
    "weighings",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort"),
    _ref("batch_id", "batches.id", doc="what was weighed"),
    Column("method", String(20), nullable=False, doc="container, difference, below_resolution"),
    Column("gross", DecimalText, doc="reading with the contents, as read"),
    Column("tare", DecimalText, doc="reading without, as read"),
    Column("unit", String(4), nullable=False, doc="unit of gross, resolution and capacity"),
    Column("resolution", DecimalText, nullable=False, doc="smallest step of the scale"),
    Column("tare_unit", String(4), doc="unit of the tare where it differs"),
    Column("tare_resolution", DecimalText, doc="resolution of the tare where it differs"),
    Column("capacity", DecimalText, doc="most that the scale takes"),
    Column("contents_left", Boolean, nullable=False, doc="whether contents were left inside"),
    Column("note", Text, nullable=False, doc="free text"),
    _sorter(),
    Index(None, "sort_id", "seq"),
    Index(None, "batch_id", "seq"),
)

weighing_voids = _table(
    "weighing_voids",
    *_own_id(),
    _ref("sort_id", "sorts.id", doc="sort"),
    Column(
        "weighing_id",
        _ID,
        ForeignKey("weighings.id"),
        nullable=False,
        unique=True,
        doc="weighing taken back",
    ),
    Column("reason", Text, nullable=False, doc="why"),
    _sorter(),
    Index(None, "sort_id", "seq"),
)

tares = _table(
    "tares",
    *_own_id(),
    Column("name", String(120), nullable=False, doc="what the sorters call it"),
    Column("weight", DecimalText, nullable=False, doc="weight as read"),
    Column("unit", String(4), nullable=False, doc="unit of weight and resolution"),
    Column("resolution", DecimalText, nullable=False, doc="smallest step of the scale"),
)

# Order: a table stands after those it refers to, so that an export can be read in again.
LOG_TABLES = (
    sorts,
    sort_events,
    models,
    captures,
    fact_answers,
    batches,
    items,
    item_changes,
    weighings,
    weighing_voids,
    tares,
)
