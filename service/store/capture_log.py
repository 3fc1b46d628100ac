"""Photos, the model's answer to each and the facts that were given about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, exists, select

from classifier.errors import ConflictError
from classifier.log.records import Item, ItemChange
from classifier.rules.suggestion_parts import Thresholds
from service.store.append import (
    already_recorded,
    fingerprint,
    insert,
    load_sort,
    lock_open_sort,
    no_such,
    one_row,
    undone,
)
from service.store.part import LogPart
from service.store.rows import (
    CaptureRecord,
    CaptureState,
    LearnedShares,
    ModelRecord,
    Row,
    SortPlace,
    in_order,
    record,
    values,
)
from service.store.study_log import load_scope_of
from service.store.tables import (
    captures,
    embeddings,
    fact_answers,
    item_changes,
    items,
    models,
    withdrawals,
)


class CaptureLog(LogPart):
    """The part of the log that is about photos."""

    def add_capture(
        self, capture: CaptureRecord, *, embedding: bytes | None, sent: Mapping[str, object]
    ) -> CaptureState:
        """Record a photo whose file is in place; a resend returns the first.

        Raises ClosedSortError, or ConflictError when the id already belongs to another photo.
        """

        def work(connection: Connection) -> CaptureState:
            if already_recorded(connection, captures, capture.id, sent, "photo"):
                return load_capture(connection, capture.id)
            lock_open_sort(connection, capture.sort_id)
            row = values(
                captures,
                capture,
                model_id=remember_model(connection, capture.model, capture.at),
                learned=None if capture.learned is None else asdict(capture.learned),
            )
            insert_capture(connection, row, embedding, sent)
            return CaptureState(capture, {}, (), ())

        return self._database.write(work)

    def photo_place(self, sort_id: str, capture_id: str, sent: Mapping[str, object]) -> SortPlace:
        """Return where a photo is to be recorded, with what it is if it was recorded before.

        Raises UnknownIdError for the sort, ConflictError when the id already belongs to another
        photo.
        """
        with self._database.read() as connection:
            sort = load_sort(connection, sort_id)
            known = already_recorded(connection, captures, capture_id, sent, "photo")
            photo = load_capture(connection, capture_id) if known else None
            return SortPlace(sort, load_scope_of(connection, sort.id), photo)

    def get_capture(self, capture_id: str) -> CaptureState:
        """Return a capture with its answers and confirmations.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return load_capture(connection, capture_id)

    def open_captures(self, sort_id: str, *, limit: int) -> tuple[CaptureState, ...]:
        """Return the photos of a sort that no standing item was confirmed from, newest first.

        One that was withdrawn can't be looked at any more, so that it is none of them.
        """
        with self._database.read() as connection:
            return load_open_captures(connection, sort_id, limit=limit)

    def add_fact_answer(self, capture_id: str, fact: str, answer: str, at: datetime) -> None:
        """Record an answer; the same answer twice is one answer, another one replaces it.

        Raises ConflictError once the capture is confirmed, ClosedSortError in a closed sort.
        """

        def work(connection: Connection) -> None:
            state = load_capture(connection, capture_id)
            if state.answers.get(fact) == answer:
                return
            lock_open_sort(connection, state.capture.sort_id)
            # Read again: another station may have confirmed it while this one waited.
            state = load_capture(connection, capture_id)
            undone = {change.item_id for change in state.changes if change.kind == "void"}
            standing = [item for item in state.items if item.id not in undone]
            if standing:
                raise ConflictError(
                    f"this photo is already confirmed as {standing[-1].category}: "
                    "correct the item instead of answering the question",
                    item=standing[-1].id,
                    category=standing[-1].category,
                )
            row = {"capture_id": capture_id, "fact": fact, "answer": answer, "at": at}
            connection.execute(fact_answers.insert().values(row))

        self._database.write(work)

    def photo_names(self) -> frozenset[str]:
        """Return the names of all photos that rows refer to."""
        query = select(captures.c.photo_name).where(captures.c.photo_name.is_not(None))
        return frozenset(self._firsts(query))


def load_capture(connection: Connection, capture_id: str) -> CaptureState:
    """Return a capture with its answers and confirmations.

    Raises UnknownIdError when there is none.
    """
    found = _load_captures(connection, [capture_id])
    if not found:
        raise no_such("photo", capture_id)
    return found[0]


def load_open_captures(
    connection: Connection, sort_id: str, *, limit: int
) -> tuple[CaptureState, ...]:
    """Return the newest photos of a sort that wait for a confirmation (`open_captures`)."""
    standing = exists().where(items.c.capture_id == captures.c.id, ~undone())
    withdrawn = exists().where(withdrawals.c.capture_id == captures.c.id)
    query = (
        select(captures.c.id)
        .where(captures.c.sort_id == sort_id, ~standing, ~withdrawn)
        .order_by(captures.c.seq.desc())
        .limit(limit)
    )
    return _load_captures(connection, list(connection.scalars(query)))


def _load_captures(connection: Connection, ids: Sequence[str]) -> tuple[CaptureState, ...]:
    """Return captures, the newest first; ids that none has are left out."""
    if not ids:
        return ()
    query = (
        select(captures, models.c.name, models.c.version, models.c.content)
        .outerjoin(models, models.c.id == captures.c.model_id)
        .where(captures.c.id.in_(ids))
        .order_by(captures.c.seq.desc())
    )
    rows = connection.execute(query).mappings().all()
    answers: dict[str, dict[str, str]] = defaultdict(dict)
    given = select(fact_answers).where(fact_answers.c.capture_id.in_(ids))
    for row in connection.execute(given.order_by(fact_answers.c.seq)).mappings():
        answers[row["capture_id"]][row["fact"]] = row["answer"]
    confirmed: dict[str, list[Item]] = defaultdict(list)
    own = select(items).where(items.c.capture_id.in_(ids)).order_by(items.c.seq)
    for row in connection.execute(own).mappings():
        confirmed[row["capture_id"]].append(record(Item, row))
    changes = changes_of(connection, [item.id for each in confirmed.values() for item in each])
    return tuple(
        CaptureState(
            capture=_capture(row),
            answers=answers[row["id"]],
            items=in_order(confirmed[row["id"]]),
            changes=tuple(
                change for item in confirmed[row["id"]] for change in in_order(changes[item.id])
            ),
        )
        for row in rows
    )


def changes_of(connection: Connection, item_ids: Sequence[str]) -> dict[str, list[ItemChange]]:
    """Return the changes of items, by item, in the order of the log."""
    found: dict[str, list[ItemChange]] = {item_id: [] for item_id in item_ids}
    if item_ids:
        query = select(item_changes).where(item_changes.c.item_id.in_(item_ids))
        for row in connection.execute(query.order_by(item_changes.c.seq)).mappings():
            found[row["item_id"]].append(record(ItemChange, row))
    return found


def _capture(row: Row) -> CaptureRecord:
    learned = row["learned"]
    return record(
        CaptureRecord,
        row,
        model=None if row["model_id"] is None else _model(row),
        learned=None if learned is None else record(LearnedShares, learned),
    )


def insert_capture(
    connection: Connection,
    row: Mapping[str, Any],
    embedding: bytes | None,
    sent: Mapping[str, object],
) -> None:
    """Add a photo with what was seen in it."""
    insert(connection, captures, sent, row)
    if embedding is not None:
        connection.execute(embeddings.insert().values(capture_id=row["id"], vector=embedding))


def remember_model(connection: Connection, model: ModelRecord | None, at: datetime) -> str | None:
    """Keep what a bundle says of its forms, once, and return its id."""
    if model is None:
        return None
    content = {
        "form_categories": {form: dict(weights) for form, weights in model.form_categories.items()},
        "thresholds": asdict(model.thresholds),
    }
    model_id = f"{model.name}:{model.version}:{fingerprint(content)[:12]}"
    if connection.scalar(select(models.c.seq).where(models.c.id == model_id)) is None:
        row = values(models, model, id=model_id, content=content, at=at)
        connection.execute(models.insert().values(row))
    return model_id


def load_model(connection: Connection, model_id: str) -> ModelRecord:
    """Return a model as it was kept.

    Raises UnknownIdError when there is none.
    """
    return _model(one_row(connection, models, model_id, "model"))


def _model(row: Row) -> ModelRecord:
    content = row["content"]
    return record(
        ModelRecord,
        row,
        form_categories=content["form_categories"],
        thresholds=Thresholds(**content["thresholds"]),
    )
