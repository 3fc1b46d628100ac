"""A photo comes in, the model looks at it, the programme turns that into a route."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from classifier.errors import (
    BundleError,
    ClosedSortError,
    ConflictError,
    PhotoTooLargeError,
    UnknownIdError,
)
from classifier.log.records import SortInfo
from classifier.rules.suggestion_parts import Suggestion
from service.entries import check_id
from service.learning.audits import blind, is_audit, is_hidden
from service.learning.usecases import learned_shares
from service.services import Services
from service.sorting.items import OPEN_PHOTOS, CurrentItem, history_of
from service.sorting.suggesting import ModelName, suggestion_of
from service.store.rows import CaptureRecord, CaptureState, ItemState, ModelRecord, SortPlace

LOG_SIDE_PX = 512
"""Longest side of the copy that every log keeps: enough to see what was meant."""

TRAINING_SIDE_PX = 1024
"""Longest side where the sort says that photos may be kept for training."""


@dataclass(frozen=True, slots=True)
class CaptureView:
    """A photo, what was suggested for it, and what it was confirmed as.

    `audit`: the sorter has to choose before seeing the suggestion; while nobody has, it is
    `hidden` and `suggestion` holds nothing but perhaps a caution. `learned_from` is the number of
    confirmations that had a part in the suggestion, None where none had.
    """

    id: str
    sort_id: str
    programme_id: str
    photo_name: str | None
    suggestion: Suggestion
    confirmed: CurrentItem | None
    model: ModelName | None
    notice: str
    audit: bool
    hidden: bool
    learned_from: int | None


def take_photo(services: Services, *, sort_id: str, capture_id: str, data: bytes) -> CaptureView:
    """Keep a photo and return what it probably shows; a resend returns the first answer.

    What the study (or sort) has confirmed so far has a part in the answer where it learns. An audit
    hides the answer until somebody has said what it is.

    The model runs outside any transaction, at most `inference_concurrency` photos at once. The
    cleaned copy is safe on disk before the row that names it.

    Raises UnreadablePhotoError, PhotoTooLargeError, ClosedSortError, ConflictError,
    UnknownIdError, InvalidEntryError, StorageError.
    """
    own = check_id(capture_id, "capture_id")
    sent = {"sort_id": sort_id.lower(), "sha256": hashlib.sha256(data).hexdigest()}
    place = services.log.photo_place(sort_id.lower(), own, sent)
    sort = place.sort
    if place.photo is not None:
        return view(services, sort, place.photo)
    if sort.closed:
        raise ClosedSortError(
            f"the sort {sort.name!r} is closed: reopen it, then take the photo again",
            sort=sort.id,
        )
    if len(data) > services.settings.max_upload_bytes:
        raise PhotoTooLargeError(
            f"the photo has {len(data)} bytes, allowed are {services.settings.max_upload_bytes}: "
            "take it at a lower resolution",
            given=len(data),
            allowed=services.settings.max_upload_bytes,
        )
    return view(services, sort, _record(services, place, own, data, sent))


def get_capture(services: Services, capture_id: str) -> CaptureView:
    """Return a photo with its suggestion and, if confirmed, its item.

    Raises UnknownIdError when there is none.
    """
    state = services.log.get_capture(capture_id.lower())
    return view(services, services.log.get_sort(state.capture.sort_id), state)


def open_captures(services: Services, sort_id: str) -> tuple[CaptureView, ...]:
    """Return the newest photos of a sort that still wait for a confirmation.

    Raises UnknownIdError when there is no such sort.
    """
    sort = services.log.get_sort(sort_id)
    states = services.log.open_captures(sort.id, limit=OPEN_PHOTOS)
    return tuple(view(services, sort, state) for state in states)


def answer_fact(services: Services, *, capture_id: str, fact: str, answer: str) -> CaptureView:
    """Take an answer to a question; "not_sure" leaves the fact open and it is not asked again.

    Raises UnknownIdError, ConflictError once the photo is confirmed, ClosedSortError.
    """
    services.categories.known_answers({fact: answer})
    services.log.add_fact_answer(capture_id.lower(), fact, answer, services.clock())
    return get_capture(services, capture_id)


def read_photo(services: Services, capture_id: str) -> bytes:
    """Return the cleaned JPEG of a capture.

    Raises UnknownIdError when there is none.
    """
    name = services.log.get_capture(capture_id.lower()).capture.photo_name
    if name is None:
        raise UnknownIdError(f"entry {capture_id!r} has no photo", capture=capture_id)
    if services.log.is_withdrawn(capture_id.lower()):
        raise UnknownIdError(
            f"the photo of entry {capture_id!r} was withdrawn and deleted: its count stays",
            capture=capture_id,
        )
    return services.photos.read(name)


@dataclass(frozen=True, slots=True)
class _Seen:
    """What came of looking at a photo: its cleaned copy and, with a model, the model's answer."""

    jpeg: bytes
    notice: str
    model: ModelRecord | None = None
    forms: tuple[tuple[str, float], ...] = ()
    embedding: bytes | None = None


def _look(services: Services, data: bytes, side: int) -> _Seen:
    photo, jpeg = services.reader.read(data, max_side=side)
    answering = services.models.newest()
    if answering.predictor is None:
        return _Seen(jpeg, answering.problem)
    try:
        prediction = answering.predictor.predict(photo)
    except BundleError as error:
        return _Seen(jpeg, error.message)
    return _Seen(
        jpeg,
        answering.problem,
        answering.record,
        tuple((each.id, each.p) for each in prediction.forms),
        prediction.embedding.astype("<f2").tobytes(),
    )


def _record(
    services: Services, place: SortPlace, capture_id: str, data: bytes, sent: Mapping[str, object]
) -> CaptureState:
    sort, scope = place.sort, place.scope
    programme = services.programme(sort.programme_id)
    side = TRAINING_SIDE_PX if sort.keeps_photos else LOG_SIDE_PX
    seen = services.inference.submit(_look, services, data, side).result()
    name = services.photos.keep(capture_id, seen.jpeg, sent=f"{sort.id} {sent['sha256']}")
    percent = 0 if seen.embedding is None else scope.settings.audit_percent
    capture = CaptureRecord(
        id=capture_id,
        sort_id=sort.id,
        photo_name=name,
        forms=seen.forms,
        model=seen.model,
        categories_version=services.categories.version,
        programme_version=programme.version,
        notice=seen.notice,
        at=services.clock(),
        audit=is_audit(scope.id, capture_id, percent),
        learned=None
        if seen.embedding is None
        else learned_shares(services, scope, seen.forms, seen.embedding),
    )
    try:
        return services.log.add_capture(capture, embedding=seen.embedding, sent=sent)
    except ConflictError:
        # Nothing names this file: the sort was closed, or another photo took the id, meanwhile.
        services.photos.remove(name)
        raise


def _confirmed(services: Services, state: CaptureState) -> CurrentItem | None:
    undone = {change.item_id for change in state.changes if change.kind == "void"}
    for item in state.items:
        if item.id not in undone:
            changes = tuple(change for change in state.changes if change.item_id == item.id)
            return history_of(services, ItemState(item, changes)).current
    return None


def view(services: Services, sort: SortInfo, state: CaptureState) -> CaptureView:
    """Return a photo of a sort, with its suggestion, as it is shown."""
    capture = state.capture
    suggestion = suggestion_of(services, state, services.programme(sort.programme_id))
    hidden = is_hidden(state)
    model = capture.model
    return CaptureView(
        id=capture.id,
        sort_id=capture.sort_id,
        programme_id=sort.programme_id,
        photo_name=capture.photo_name,
        suggestion=blind(services, suggestion) if hidden else suggestion,
        confirmed=_confirmed(services, state),
        model=None if model is None else ModelName(model.name, model.version),
        notice=capture.notice,
        audit=capture.audit,
        hidden=hidden,
        learned_from=None if hidden or capture.learned is None else capture.learned.confirmations,
    )
