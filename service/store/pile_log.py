"""Batches, weighings, their voids and the tare library."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import NAMESPACE_URL, uuid5

from sqlalchemy import Connection, func, select

from classifier.errors import ConflictError
from classifier.log.quantities import MAX_LOADS
from classifier.log.records import Batch, LoadAsked, Tare, Weighing, WeighingVoid
from service.store.append import (
    already_recorded,
    insert,
    lock_open_sort,
    newest_of,
    one_row,
    record_once,
)
from service.store.part import LogPart
from service.store.rows import record, said, values
from service.store.tables import batches, item_changes, items, tares, weighing_voids, weighings


class PileLog(LogPart):
    """The part of the log that is about piles and scales."""

    def add_batch(self, batch: Batch) -> Batch:
        """Record another batch; a resend returns the first.

        Raises ClosedSortError, or ConflictError when the id already belongs to another batch.
        """

        def work(connection: Connection) -> Batch:
            if not already_recorded(connection, batches, batch.id, said(batch), "batch"):
                lock_open_sort(connection, batch.sort_id)
                _insert_batch(connection, batch)
            return record(Batch, one_row(connection, batches, batch.id, "batch"))

        return self._database.write(work)

    def get_batch(self, batch_id: str) -> Batch:
        """Return a batch.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return record(Batch, one_row(connection, batches, batch_id, "batch"))

    def add_weighing(
        self,
        weighing: Weighing,
        *,
        sort_id: str,
        category: str,
        load: LoadAsked,
        sent: Mapping[str, object],
    ) -> Weighing:
        """Record a weighing; an empty `batch_id` means the newest batch of the category.

        Its load is found while nobody else adds to the sort: that of `weighing` is not looked at.
        A resend returns the first. Raises ClosedSortError; ConflictError when the id already
        belongs to another weighing, the batch holds another category, or the load is not clear or
        is none that comes next.
        """

        def work(connection: Connection) -> Weighing:
            if not already_recorded(connection, weighings, weighing.id, sent, "weighing"):
                lock_open_sort(connection, sort_id)
                batch_id = batch_for(
                    connection, sort_id, category, weighing.batch_id or None, weighing.at
                )
                row = values(
                    weighings,
                    weighing,
                    sort_id=sort_id,
                    batch_id=batch_id,
                    load=_load(load, _loads_there(connection, batch_id)),
                )
                insert(connection, weighings, sent, row)
            return record(Weighing, one_row(connection, weighings, weighing.id, "weighing"))

        return self._database.write(work)

    def void_weighing(self, void: WeighingVoid) -> str:
        """Take a weighing back and return the id of its sort; a resend changes nothing.

        Raises ClosedSortError, ConflictError when it was taken back already, UnknownIdError.
        """
        sent = said(void)

        def work(connection: Connection) -> str:
            sort_id: str = one_row(connection, weighings, void.weighing_id, "weighing")["sort_id"]
            if not already_recorded(connection, weighing_voids, void.id, sent, "void"):
                lock_open_sort(connection, sort_id)
                _refuse_second_void(connection, void.weighing_id)
                insert(
                    connection, weighing_voids, sent, values(weighing_voids, void, sort_id=sort_id)
                )
            return sort_id

        return self._database.write(work)

    def newest_rows(self, sort_ids: Sequence[str]) -> dict[str, tuple[int, ...]]:
        """Return for each sort the numbers of the newest rows that its piles are made of.

        The log only grows: while they stay the same, so does what was worked out from them.
        """
        tables = (items, item_changes, batches, weighings, weighing_voids)
        found: dict[str, list[int]] = {sort_id: [0] * len(tables) for sort_id in sort_ids}
        with self._database.read() as connection:
            for place, table in enumerate(tables):
                query = (
                    select(table.c.sort_id, func.max(table.c.seq))
                    .where(table.c.sort_id.in_(sort_ids))
                    .group_by(table.c.sort_id)
                )
                for sort_id, newest in connection.execute(query):
                    found[sort_id][place] = newest
        return {sort_id: tuple(newest) for sort_id, newest in found.items()}

    def add_tare(self, tare: Tare) -> Tare:
        """Add to the tare library; a resend returns the first.

        Raises ConflictError when the id already belongs to another tare.
        """

        def work(connection: Connection) -> Tare:
            record_once(connection, tares, tare, said(tare), "tare")
            return record(Tare, one_row(connection, tares, tare.id, "tare"))

        return self._database.write(work)

    def list_tares(self) -> tuple[Tare, ...]:
        """Return the tare library, oldest first."""
        return tuple(record(Tare, row) for row in self._rows(select(tares).order_by(tares.c.seq)))


def batch_for(
    connection: Connection, sort_id: str, category: str, batch_id: str | None, at: datetime
) -> str:
    """Return the batch that something of a category goes into: the one named, or the newest.

    The first entry of a category makes its first batch, so that every item stands in one and a
    second batch, started later, does not take the earlier items along. Its id follows from sort
    and category: two stations that make it at once make the same one.

    Raises ConflictError when the named batch is of another sort or category.
    """
    if batch_id is not None:
        batch = record(Batch, one_row(connection, batches, batch_id, "batch"))
        if (batch.sort_id, batch.category) != (sort_id, category):
            raise ConflictError(
                f"batch {batch_id} holds {batch.category}, not {category} of this sort: "
                "choose a batch of that category, or start one",
                batch=batch_id,
                holds=batch.category,
            )
        return batch_id
    newest = connection.scalar(
        newest_of(batches.c.id, batches.c.sort_id == sort_id, batches.c.category == category)
    )
    if newest is not None:
        return str(newest)
    first = str(uuid5(NAMESPACE_URL, f"tallytare:{sort_id}:{category}"))
    _insert_batch(connection, Batch(first, sort_id, category, "", at))
    return first


def _loads_there(connection: Connection, batch_id: str) -> int:
    """Return the highest load of a batch that was not taken back, 0 without any."""
    joined = weighings.outerjoin(weighing_voids, weighing_voids.c.weighing_id == weighings.c.id)
    query = (
        select(func.max(weighings.c.load))
        .select_from(joined)
        .where(weighings.c.batch_id == batch_id, weighing_voids.c.seq.is_(None))
    )
    return int(connection.scalar(query) or 0)


def _load(asked: LoadAsked, there: int) -> int:
    """Return the load that is meant, where the loads up to `there` are weighed."""
    if asked == "only" and there:
        raise ConflictError(
            "this pile is weighed already: say whether the same is on the scale again or a "
            "further bucketful of it, then record it",
            loads=there,
        )
    load = {"only": 1, "further": there + 1}[asked] if isinstance(asked, str) else asked
    if load > there + 1:
        raise ConflictError(
            f"load {load} of this pile can't be weighed before load {there + 1}: send that one, or "
            "the number of the load that is on the scale again",
            load=load,
            loads=there,
        )
    if load > MAX_LOADS:
        raise ConflictError(
            f"this pile has {there} loads, the most that one can have: start another batch for "
            "the rest",
            loads=there,
        )
    return load


def _insert_batch(connection: Connection, batch: Batch) -> None:
    insert(connection, batches, said(batch), values(batches, batch))


def _refuse_second_void(connection: Connection, weighing_id: str) -> None:
    earlier = (
        connection.execute(
            select(weighing_voids).where(weighing_voids.c.weighing_id == weighing_id)
        )
        .mappings()
        .first()
    )
    if earlier is not None:
        raise ConflictError(
            f"this weighing was taken back already ({earlier['reason']}): reload the page",
            weighing=weighing_id,
            reason=earlier["reason"],
        )
