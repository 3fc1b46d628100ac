"""Tables about studies: which sorts belong together, what is learned and which model answers."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, LargeBinary, String

from service.store.columns import ID, log_table, own_id, ref, sorter

studies = log_table(
    "studies",
    *own_id(),
    Column("name", String(120), nullable=False, doc="name of the study"),
)

study_sorts = log_table(
    "study_sorts",
    *own_id(),
    ref("sort_id", "sorts.id", doc="sort; its last row counts"),
    Column("study_id", ID, ForeignKey("studies.id"), doc="study it belongs to, empty for none"),
    Index(None, "sort_id", "seq"),
    Index(None, "study_id", "seq"),
)

learning_settings = log_table(
    "learning_settings",
    *own_id(),
    Column("scope_id", ID, nullable=False, doc="study, or sort outside a study; last row counts"),
    Column("learns", Boolean, nullable=False, doc="whether confirmations change suggestions"),
    Column("audit_percent", Integer, nullable=False, doc="share of photos judged blind, percent"),
    sorter(),
    Index(None, "scope_id", "seq"),
)

learned_starts = log_table(
    "learned_starts",
    *own_id(),
    Column("scope_id", ID, nullable=False, doc="study, or sort outside a study; last row counts"),
    Column("name", String(200), nullable=False, doc="what the head was exported as"),
    Column("content", LargeBinary, nullable=False, doc="exported head"),
    sorter(),
    Index(None, "scope_id", "seq"),
)

promotions = log_table(
    "promotions",
    *own_id(),
    Column("bundle", String(400), nullable=False, doc="bundle that answers from now on"),
    sorter(),
)

STUDY_TABLES = (studies, study_sorts, learning_settings, learned_starts, promotions)
