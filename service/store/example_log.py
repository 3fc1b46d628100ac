"""Photos as labelled examples: what they are called, by whom, and which may be used."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, delete, exists, select

from classifier.errors import UnknownIdError
from classifier.log.records import Item, ItemChange
from service.store.append import already_recorded, insert, sort_name
from service.store.example_import_log import ExampleImportLog
from service.store.example_rows import (
    PHOTO_IS_THERE,
    Example,
    Review,
    Wanted,
    select_examples,
    to_example,
)
from service.store.rows import in_order, record, values
from service.store.tables import (
    captures,
    embeddings,
    item_changes,
    items,
    reviews,
    sorts,
    withdrawals,
)

_AT_ONCE = 5_000  # ids in one query; SQLite takes some 32,000
_SHARED = 24  # characters of an id that tell its batch: all but a UUID's last part


@dataclass(frozen=True, slots=True)
class ExampleHistory:
    """All rows about one photo's label, in order."""

    items: tuple[Item, ...]
    changes: tuple[ItemChange, ...]
    reviews: tuple[Review, ...]


class ExampleLog(ExampleImportLog):
    """The part of the log that is about examples."""

    def examples(
        self, wanted: Wanted, *, limit: int | None = None, offset: int = 0
    ) -> tuple[Example, ...]:
        """Return examples, the newest first."""
        query = select_examples(wanted).order_by(captures.c.seq.desc())
        return tuple(to_example(row) for row in self._rows(query.limit(limit).offset(offset)))

    def count_examples(self, wanted: Wanted) -> int:
        """Return how many examples there are."""
        with self._database.read() as connection:
            return int(connection.scalar(select_examples(wanted, counted=True)) or 0)

    def photo_sorters(self) -> tuple[str, ...]:
        """Return who confirmed photos of any sort, by name."""
        query = select(items.c.sorter).where(items.c.capture_id.is_not(None)).distinct()
        return tuple(sorted(self._firsts(query)))

    def photo_sorts(self) -> tuple[tuple[str, str], ...]:
        """Return id and name of each sort with photos that were not withdrawn, newest first."""
        return self._named(exists().where(captures.c.sort_id == sorts.c.id, PHOTO_IS_THERE))

    def example_sorters(self) -> tuple[str, ...]:
        """Return who confirmed photos in sorts that keep them, by name."""
        query = (
            select(items.c.sorter)
            .join(sorts, sorts.c.id == items.c.sort_id)
            .where(sorts.c.keeps_photos, items.c.capture_id.is_not(None))
            .distinct()
        )
        return tuple(sorted(self._firsts(query)))

    def example_sorts(self) -> tuple[tuple[str, str], ...]:
        """Return id and name of each sort that keeps photos, the newest first."""
        return self._named(sorts.c.keeps_photos)

    def _named(self, which: ColumnElement[bool]) -> tuple[tuple[str, str], ...]:
        """Return id and name of some sorts, the newest first."""
        query = select(sorts.c.id, sort_name().label("name")).where(which)
        rows = self._rows(query.order_by(sorts.c.seq.desc()))
        return tuple((row["id"], row["name"]) for row in rows)

    def histories(self, capture_ids: Sequence[str]) -> dict[str, ExampleHistory]:
        """Return every row about the labels of some photos; an unknown one is left out."""
        found: dict[str, tuple[list[Item], list[ItemChange], list[Review]]] = {}
        owner: dict[str, str] = {}
        with self._database.read() as connection:
            for row in _of(connection, select(items), items.c.capture_id, capture_ids, items.c.seq):
                found.setdefault(row["capture_id"], ([], [], []))[0].append(record(Item, row))
                owner[row["id"]] = row["capture_id"]
            query, key = select(item_changes), item_changes.c.item_id
            for row in _of(connection, query, key, list(owner), item_changes.c.seq):
                found[owner[row["item_id"]]][1].append(record(ItemChange, row))
            query, key = select(reviews), reviews.c.capture_id
            for row in _of(connection, query, key, capture_ids, reviews.c.seq):
                found.setdefault(row["capture_id"], ([], [], []))[2].append(record(Review, row))
        return {
            capture_id: ExampleHistory(in_order(first), in_order(changed), tuple(reviewed))
            for capture_id, (first, changed, reviewed) in found.items()
        }

    def add_reviews(self, rows: Sequence[Review], sent: Mapping[str, object]) -> int:
        """Record reviews, all or none; a resend changes nothing. Return how many were new.

        Raises UnknownIdError for a photo that is no example (any more), ConflictError when an id
        already belongs to another review.
        """

        def work(connection: Connection) -> int:
            new = []
            for row in rows:
                own = {**sent, "capture_id": row.capture_id}
                if not already_recorded(connection, reviews, row.id, own, "review"):
                    new.append((row, own))
            _refuse_unknown(connection, [row.capture_id for row, _ in new])
            for row, own in new:
                insert(connection, reviews, own, values(reviews, row))
            return len(new)

        return self._database.write(work)

    def reviews_of_batch(self, batch_id: str) -> tuple[Review, ...]:
        """Return the reviews whose ids `batch_row_id` made for one batch, in order."""
        query = select(reviews).where(_in_batch(reviews.c.id, batch_id))
        return tuple(record(Review, row) for row in self._rows(query.order_by(reviews.c.seq)))

    def photos_of(
        self, *, sorter: str | None = None, sort_id: str | None = None
    ) -> tuple[str, ...]:
        """Return the captures with a photo of a sorter (confirmed by them) or of a sort."""
        query = select(captures.c.id).where(PHOTO_IS_THERE)
        if sorter is not None:
            query = query.where(
                captures.c.id.in_(select(items.c.capture_id).where(items.c.sorter == sorter))
            )
        if sort_id is not None:
            query = query.where(captures.c.sort_id == sort_id)
        return tuple(self._firsts(query.order_by(captures.c.seq)))

    def withdraw(
        self, capture_ids: Mapping[str, str], *, reason: str, sorter: str, at: datetime
    ) -> int:
        """Record photos (capture id to row id) as taken back and forget what was seen in them.

        One that was withdrawn before is passed over. Return how many are new. The embedding is
        made from the photo, so it goes with it; the item and its counts stay.

        Raises UnknownIdError for an entry without a photo.
        """

        def work(connection: Connection) -> int:
            gone = set(connection.scalars(select(withdrawals.c.capture_id)))
            new = [each for each in capture_ids if each not in gone]
            query = select(captures.c.id).where(captures.c.photo_name.is_not(None))
            known = {
                row["id"] for row in _of(connection, query, captures.c.id, new, captures.c.seq)
            }
            for capture_id in new:
                if capture_id not in known:
                    raise UnknownIdError(
                        f"there is no photo {capture_id!r}: reload the page to see what is there",
                        capture=capture_id,
                    )
                own = {"capture_id": capture_id, "reason": reason, "sorter": sorter}
                row = {"id": capture_ids[capture_id], "at": at, **own}
                insert(connection, withdrawals, own, row)
                connection.execute(delete(embeddings).where(embeddings.c.capture_id == capture_id))
            return len(new)

        return self._database.write(work)

    def withdrawn_at_once(self, batch_id: str) -> tuple[str, ...]:
        """Return the captures whose withdrawals have ids that `batch_row_id` made for one batch."""
        query = select(withdrawals.c.capture_id).where(_in_batch(withdrawals.c.id, batch_id))
        return tuple(self._firsts(query.order_by(withdrawals.c.seq)))

    def withdrawn_photos(self) -> frozenset[str]:
        """Return the names of the files that must be gone."""
        query = select(captures.c.photo_name).join(
            withdrawals, withdrawals.c.capture_id == captures.c.id
        )
        return frozenset(filter(None, self._firsts(query)))

    def withdrawn_captures(self) -> frozenset[str]:
        """Return the captures whose photos were taken back."""
        return frozenset(self._firsts(select(withdrawals.c.capture_id)))

    def is_withdrawn(self, capture_id: str) -> bool:
        """Tell whether a photo was taken back."""
        query = select(withdrawals.c.seq).where(withdrawals.c.capture_id == capture_id)
        return bool(self._firsts(query))

    def embeddings_of(self, capture_ids: Sequence[str]) -> dict[str, bytes]:
        """Return the stored embeddings (little-endian 16-bit floats) of some photos."""
        with self._database.read() as connection:
            query, key = select(embeddings), embeddings.c.capture_id
            rows = _of(connection, query, key, capture_ids, key)
            return {row["capture_id"]: row["vector"] for row in rows}


def batch_row_id(batch_id: str, capture_id: str) -> str:
    """Return the id of a photo's row in a batch: rows of one batch share all but the last part."""
    return batch_id[:_SHARED] + hashlib.sha256(capture_id.encode()).hexdigest()[:12]


def _in_batch(own_id: Any, batch_id: str) -> Any:
    """Return the condition that an id belongs to a batch: a range, which an index serves."""
    shared = batch_id[:_SHARED]
    return own_id.between(shared, shared + "g")  # no digit of an id sorts behind a g


def _of(
    connection: Connection, query: Any, key: Any, ids: Sequence[str], order: Any
) -> Iterator[Any]:
    """Give the rows that belong to some ids, in order within each portion."""
    for start in range(0, len(ids), _AT_ONCE):
        chosen = query.where(key.in_(ids[start : start + _AT_ONCE])).order_by(order)
        yield from connection.execute(chosen).mappings()


def _refuse_unknown(connection: Connection, capture_ids: Sequence[str]) -> None:
    for start in range(0, len(capture_ids), _AT_ONCE):
        part = capture_ids[start : start + _AT_ONCE]
        rows = connection.execute(select_examples(Wanted(ids=part))).mappings()
        known = {row["capture_id"] for row in rows}
        if missing := [each for each in part if each not in known]:
            raise UnknownIdError(
                f"{len(missing)} of the photos are no examples (any more): they were withdrawn, "
                "undone, or belong to a sort that keeps no photos; reload the page. Nothing was "
                "recorded",
                captures=missing[:20],
            )
