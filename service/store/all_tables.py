"""Every table of the store, in an order in which each stands after those it refers to."""

from __future__ import annotations

from service.store.access_tables import ACCESS_TABLES
from service.store.columns import metadata
from service.store.example_tables import EXAMPLE_TABLES
from service.store.study_tables import STUDY_TABLES
from service.store.tables import LOG_TABLES

# Secrets of devices stay in the store; everything else can leave it.
EXPORTED_TABLES = (*LOG_TABLES, *STUDY_TABLES, *EXAMPLE_TABLES)
ALL_TABLES = (*EXPORTED_TABLES, *ACCESS_TABLES)

__all__ = ["ALL_TABLES", "EXPORTED_TABLES", "metadata"]
