"""Imported photos: a sort that counts in no total, and labelled captures without a sorting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, select

from classifier.log.records import SortInfo
from service.store.append import already_recorded, insert
from service.store.capture_log import insert_capture, remember_model
from service.store.example_rows import PHOTO_IS_THERE
from service.store.part import LogPart
from service.store.rows import ModelRecord, values
from service.store.tables import captures, example_sets, items, sorts


@dataclass(frozen=True, slots=True)
class ImportedPhoto:
    """A labelled photo from elsewhere, its cleaned copy in place."""

    capture_id: str
    item_id: str
    photo_name: str
    category: str
    note: str
    forms: tuple[tuple[str, float], ...]
    embedding: bytes | None
    model: ModelRecord | None
    origin: str
    object_group: str | None
    at: datetime


class ExampleImportLog(LogPart):
    """The part of the log that is about imported sets."""

    def example_sets(self) -> dict[str, str]:
        """Return the sorts that only hold imported photos, each with where they come from."""
        query = select(example_sets.c.sort_id, example_sets.c.source)
        return {row["sort_id"]: row["source"] for row in self._rows(query)}

    def origins(self) -> frozenset[str]:
        """Return where imported photos come from; each text ends with the file's digest."""
        query = select(captures.c.origin).where(captures.c.origin.is_not(None))
        return frozenset(filter(None, self._firsts(query)))

    def photos_by_capture(self) -> dict[str, str]:
        """Return the names of the photos that are still there, by capture."""
        query = select(captures.c.id, captures.c.photo_name).where(PHOTO_IS_THERE)
        return {row["id"]: row["photo_name"] for row in self._rows(query)}

    def add_example_set(
        self,
        sort: SortInfo,
        *,
        set_id: str,
        source: str,
        programme_version: str,
        sent: Mapping[str, object],
    ) -> None:
        """Record a sort that only holds imported photos; a resend changes nothing."""

        def work(connection: Connection) -> None:
            if already_recorded(connection, example_sets, set_id, sent, "example set"):
                return
            first = values(sorts, sort, programme_version=programme_version, at=sort.created_at)
            insert(connection, sorts, sent, first)
            row = {"id": set_id, "sort_id": sort.id, "source": source, "at": sort.created_at}
            insert(connection, example_sets, sent, row)

        self._database.write(work)

    def add_imported(
        self,
        sort_id: str,
        photos: Sequence[ImportedPhoto],
        *,
        sorter: str,
        categories_version: str,
        programme_version: str,
    ) -> int:
        """Record photos with their labels, all or none; return how many were new."""

        own = {
            "sort_id": sort_id,
            "categories_version": categories_version,
            "programme_version": programme_version,
        }

        def work(connection: Connection) -> int:
            new = 0
            for photo in photos:
                sent = {"origin": photo.origin, "sort_id": sort_id}
                if already_recorded(connection, captures, photo.capture_id, sent, "photo"):
                    continue
                new += 1
                model_id = remember_model(connection, photo.model, photo.at)
                seen = {"id": photo.capture_id, "model_id": model_id, "notice": "", **own}
                insert_capture(connection, values(captures, photo, **seen), photo.embedding, sent)
                item = {"id": photo.item_id, "attempt": 0, "count": 1, "facts": {}, **own}
                insert(connection, items, sent, values(items, photo, sorter=sorter, **item))
            return new

        return self._database.write(work)
