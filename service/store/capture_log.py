"""Photos, the model's answer to each and the facts that were told about it."""

from __future__ import annotations

from collections.abc import Mapping
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
    lock_open_sort,
    one_row,
)
from service.store.database import Database
from service.store.rows import (
    CaptureRecord,
    CaptureState,
    LearnedShares,
    ModelRecord,
    in_order,
    record,
    values,
)
from service.store.tables import (
    captures,
    embeddings,
    fact_answers,
    item_changes,
    items,
    models,
    withdrawals,
)


class CaptureLog:
    """The part of the log that is about photos."""

    _database: Database

    def add_capture(
        self, capture: CaptureRecord, *, embedding: bytes | None, sent: Mapping[str, object]
    ) -> None:
        """Record a photo whose file is in place; a resend changes nothing.

        Raises ClosedSortError, or ConflictError when the id bears another photo.
        """

        def work(connection: Connection) -> None:
            if already_recorded(connection, captures, capture.id, sent, "photo"):
                return
            lock_open_sort(connection, capture.sort_id)
            row = values(
                captures,
                capture,
                model_id=remember_model(connection, capture.model, capture.at),
                learned=None if capture.learned is None else asdict(capture.learned),
            )
            insert_capture(connection, row, embedding, sent)

        self._database.write(work)

    def capture_recorded(self, capture_id: str, sent: Mapping[str, object]) -> bool:
        """Tell whether this very photo is recorded.

        Raises ConflictError when the id bears another one.
        """
        with self._database.read() as connection:
            return already_recorded(connection, captures, capture_id, sent, "photo")

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
        undone_later = exists().where(
            item_changes.c.item_id == items.c.id, item_changes.c.kind == "void"
        )
        standing = exists().where(items.c.capture_id == captures.c.id, ~undone_later)
        withdrawn = exists().where(withdrawals.c.capture_id == captures.c.id)
        query = (
            select(captures.c.id)
            .where(captures.c.sort_id == sort_id, ~standing, ~withdrawn)
            .order_by(captures.c.seq.desc())
            .limit(limit)
        )
        with self._database.read() as connection:
            ids = list(connection.scalars(query))
            return tuple(load_capture(connection, capture_id) for capture_id in ids)

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
        with self._database.read() as connection:
            return frozenset(connection.scalars(query))


def load_capture(connection: Connection, capture_id: str) -> CaptureState:
    """Return a capture with its answers and confirmations.

    Raises UnknownIdError when there is none.
    """
    row = one_row(connection, captures, capture_id, "photo")
    told = connection.execute(
        select(fact_answers.c.fact, fact_answers.c.answer)
        .where(fact_answers.c.capture_id == capture_id)
        .order_by(fact_answers.c.seq)
    )
    answers = {row.fact: row.answer for row in told}
    confirmed = connection.execute(
        select(items).where(items.c.capture_id == capture_id).order_by(items.c.seq)
    )
    changed = connection.execute(
        select(item_changes)
        .join(items, items.c.id == item_changes.c.item_id)
        .where(items.c.capture_id == capture_id)
        .order_by(item_changes.c.seq)
    )
    return CaptureState(
        capture=record(
            CaptureRecord,
            row,
            model=load_model(connection, row["model_id"]),
            learned=None if row["learned"] is None else record(LearnedShares, row["learned"]),
        ),
        answers=answers,
        items=in_order(record(Item, each) for each in confirmed.mappings()),
        changes=in_order(record(ItemChange, each) for each in changed.mappings()),
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


def load_model(connection: Connection, model_id: str | None) -> ModelRecord | None:
    if model_id is None:
        return None
    row = one_row(connection, models, model_id, "model")
    content = row["content"]
    return record(
        ModelRecord,
        row,
        form_categories=content["form_categories"],
        thresholds=Thresholds(**content["thresholds"]),
    )
