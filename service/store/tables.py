"""Tables of the log. Rows are added and never changed or deleted.

Every table has `seq`, which only grows: it orders rows even when the clock steps back. `id` is the
client's, `fingerprint` is a digest of what the client sent under it, so that a resend is known from
a second, different entry. Decimals are kept as the text that was read.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from service.store.columns import (
    ID,
    UNIT,
    DecimalText,
    UtcDateTime,
    log_table,
    metadata,
    of_sort,
    own_id,
    ref,
    sorter,
)

sorts = log_table(
    "sorts",
    *own_id(),
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

sort_events = log_table(
    "sort_events",
    *own_id(),
    *of_sort("sort closed or reopened"),
    Column("kind", String(20), nullable=False, doc="close or reopen"),
)

sort_corrections = log_table(
    "sort_corrections",
    *own_id(),
    *of_sort("sort corrected; its last row counts"),
    Column("name", String(120), nullable=False, doc="name of the sort from now on"),
    Column("place", String(120), nullable=False, doc="place from now on"),
    Column("stratum", String(120), nullable=False, doc="stratum from now on"),
    Column("sorted_on", Date, nullable=False, doc="day of sorting from now on"),
    Column("days", Integer, nullable=False, doc="days of accumulation from now on"),
    Column("persons", Integer, nullable=False, doc="persons from now on"),
    Column("programme_id", String(80), nullable=False, doc="programme from now on"),
    Column("reason", Text, nullable=False, doc="why"),
)

models = log_table(
    "models",
    Column("id", String(200), nullable=False, unique=True, doc="name, version, content digest"),
    Column("name", String(80), nullable=False, doc="name of the bundle"),
    Column("version", String(80), nullable=False, doc="version of the bundle"),
    Column("content", JSON, nullable=False, doc="its form-to-category map and thresholds"),
)

captures = log_table(
    "captures",
    *own_id(),
    *of_sort("sort the photo was taken in"),
    Column("photo_name", String(200), doc="file under photos/, our own name"),
    Column("forms", JSON, nullable=False, doc="ranked forms: [id, probability]"),
    Column("model_id", String(200), ForeignKey("models.id"), doc="model that looked, if any"),
    Column("categories_version", String(80), nullable=False, doc="version of the category list"),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    Column("notice", Text, nullable=False, doc="why there is no suggestion, if so"),
    Column(
        "audit",
        Boolean,
        nullable=False,
        default=False,
        server_default=false(),
        doc="whether the sorter chose before the suggestion was shown",
    ),
    Column("learned", JSON(none_as_null=True), doc="what learning in place made of the forms"),
    Column("origin", String(400), doc="where an imported photo comes from"),
    Column("object_group", String(200), doc="photos of one object share it, if given"),
)

# Apart from captures, so that listing a sort does not read 2.5 kB per photo.
embeddings = Table(
    "embeddings",
    metadata,
    Column("capture_id", ID, ForeignKey("captures.id"), primary_key=True, doc="photo"),
    Column("vector", LargeBinary, nullable=False, doc="little-endian 16-bit floats"),
)

fact_answers = log_table(
    "fact_answers",
    ref("capture_id", "captures.id", doc="photo the question was about"),
    Column("fact", String(80), nullable=False, doc="fact asked"),
    Column("answer", String(80), nullable=False, doc="answer, or not_sure"),
    Index(None, "capture_id", "seq"),
)

batches = log_table(
    "batches",
    *own_id(),
    ref("sort_id", "sorts.id", doc="sort"),
    Column("category", String(80), nullable=False, doc="category of all that is in it"),
    Column("label", String(120), nullable=False, doc="what the sorters call it"),
    Index(None, "sort_id", "category", "seq"),
)

items = log_table(
    "items",
    *own_id(),
    *of_sort(),
    ref("capture_id", "captures.id", nullable=True, doc="photo, if there is one"),
    Column("attempt", Integer, doc="0, or how many confirmations of the photo were undone before"),
    ref("batch_id", "batches.id", nullable=True, doc="container or heap it went into"),
    Column("category", String(80), nullable=False, doc="category confirmed"),
    Column("count", Integer, nullable=False, doc="number of equal pieces"),
    Column("facts", JSON, nullable=False, doc="facts answered"),
    Column("route", String(80), doc="route shown; empty while a fact leaves several"),
    sorter(),
    Column("note", Text, nullable=False, doc="free text"),
    Column("suggested", String(80), doc="category on top of the suggestion that was seen"),
    Column("model_version", String(200), doc="model that suggested"),
    Column("categories_version", String(80), nullable=False, doc="version of the category list"),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    UniqueConstraint("capture_id", "attempt"),
    # Sums over many sorts read this alone, not the rows.
    Index(None, "sort_id", "category", "route", "count"),
)

item_changes = log_table(
    "item_changes",
    *own_id(),
    *of_sort("sort of the item"),
    ref("item_id", "items.id", doc="item changed"),
    Column("kind", String(20), nullable=False, doc="correct or void"),
    Column("category", String(80), doc="category instead"),
    Column("count", Integer, doc="count instead"),
    Column("route", String(80), doc="route instead"),
    Column("facts", JSON(none_as_null=True), doc="facts instead"),
    ref("batch_id", "batches.id", nullable=True, doc="container or heap instead"),
    Column("reason", Text, nullable=False, doc="why"),
    sorter(),
    Column("programme_version", String(80), nullable=False, doc="version of the programme"),
    Index(None, "item_id", "seq"),
)

weighings = log_table(
    "weighings",
    *own_id(),
    *of_sort(),
    ref("batch_id", "batches.id", doc="what was weighed"),
    Column(
        "load",
        Integer,
        nullable=False,
        default=1,
        server_default="1",
        doc="which bucketful of the batch, from 1: loads are added, readings of one are averaged",
    ),
    Column("method", String(20), nullable=False, doc="container, difference, below_resolution"),
    Column("gross", DecimalText, doc="reading with the contents, as read"),
    Column("tare", DecimalText, doc="reading without, as read"),
    Column("unit", UNIT, nullable=False, doc="unit of gross, resolution and capacity"),
    Column("resolution", DecimalText, nullable=False, doc="smallest step of the scale"),
    Column("tare_unit", UNIT, doc="unit of the tare where it differs"),
    Column("tare_resolution", DecimalText, doc="resolution of the tare where it differs"),
    Column("capacity", DecimalText, doc="most that the scale takes"),
    Column("contents_left", Boolean, nullable=False, doc="whether contents were left inside"),
    Column("note", Text, nullable=False, doc="free text"),
    sorter(),
    Index(None, "batch_id", "seq"),
)

weighing_voids = log_table(
    "weighing_voids",
    *own_id(),
    *of_sort(),
    ref("weighing_id", "weighings.id", unique=True, doc="weighing taken back"),
    Column("reason", Text, nullable=False, doc="why"),
    sorter(),
)

tares = log_table(
    "tares",
    *own_id(),
    Column("name", String(120), nullable=False, doc="what the sorters call it"),
    Column("weight", DecimalText, nullable=False, doc="weight as read"),
    Column("unit", UNIT, nullable=False, doc="unit of weight and resolution"),
    Column("resolution", DecimalText, nullable=False, doc="smallest step of the scale"),
)

# Order: a table stands after those it refers to, so that an export can be read in again.
LOG_TABLES = (
    sorts,
    sort_events,
    sort_corrections,
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

studies = log_table(
    "studies",
    *own_id(),
    Column("name", String(120), nullable=False, doc="name of the study"),
)

study_sorts = log_table(
    "study_sorts",
    *own_id(),
    *of_sort("sort; its last row counts"),
    Column("study_id", ID, ForeignKey("studies.id"), doc="study it belongs to, empty for none"),
    Index(None, "study_id", "seq"),
)

learning_settings = log_table(
    "learning_settings",
    *own_id(),
    Column("scope_id", ID, nullable=False, doc="study, or sort outside a study; last row counts"),
    Index(None, "scope_id", "seq"),
    Column("learns", Boolean, nullable=False, doc="whether confirmations change suggestions"),
    Column("audit_percent", Integer, nullable=False, doc="share of photos judged blind, percent"),
    sorter(),
)

learned_starts = log_table(
    "learned_starts",
    *own_id(),
    Column("scope_id", ID, nullable=False, doc="study, or sort outside a study; last row counts"),
    Index(None, "scope_id", "seq"),
    Column("name", String(200), nullable=False, doc="what the head was exported as"),
    Column("content", LargeBinary, nullable=False, doc="exported head"),
    sorter(),
)

promotions = log_table(
    "promotions",
    *own_id(),
    Column("bundle", String(400), nullable=False, doc="bundle that answers from now on"),
    sorter(),
)

STUDY_TABLES = (studies, study_sorts, learning_settings, learned_starts, promotions)

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
    ref("capture_id", "captures.id", unique=True, doc="photo that was taken back and deleted"),
    Column("reason", Text, nullable=False, doc="why"),
    sorter(),
)

example_sets = log_table(
    "example_sets",
    *own_id(),
    ref(
        "sort_id",
        "sorts.id",
        unique=True,
        doc="sort that only holds imported photos; it counts in no total",
    ),
    Column("source", String(400), nullable=False, doc="where the set comes from"),
)

EXAMPLE_TABLES = (reviews, withdrawals, example_sets)

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
    ref("join_code_id", "join_codes.id", unique=True, doc="code it joined with; each works once"),
    Column("name", String(80), nullable=False, doc="what its user calls it"),
    Column("token_digest", String(64), nullable=False, unique=True, doc="SHA-256 of its token"),
    Column("role", String(20), nullable=False, doc="sorter, trainer or owner"),
)

device_revocations = log_table(
    "device_revocations",
    *own_id(),
    ref("device_id", "devices.id", unique=True, doc="device that is let in no longer"),
)

ACCESS_TABLES = (join_codes, devices, device_revocations)

# Secrets of devices stay in the store; everything else can leave it.
EXPORTED_TABLES = (*LOG_TABLES, *STUDY_TABLES, *EXAMPLE_TABLES)

ALL_TABLES = (*EXPORTED_TABLES, *ACCESS_TABLES)

__all__ = ["ALL_TABLES", "EXPORTED_TABLES", "metadata"]
