"""Learning in place: what a study's own confirmations make of the next photo.

A scope is a study, or a sort outside one. What it learned is a function of the log and the model;
the log keeps with each photo what was shown, so that it reads the same for ever.
"""

from __future__ import annotations

from concurrent.futures import Future, wait
from dataclasses import dataclass
from functools import partial

import numpy as np

from classifier.errors import ConflictError, InvalidEntryError, UnknownIdError
from classifier.learning.confirmation import shipped_probabilities
from classifier.learning.head import LearnedHead
from service.entries import NAME_LENGTH, check_id, check_sorter, check_text
from service.head_cache import Course
from service.learning.audits import Accuracy, accuracy
from service.learning.course import bring_on, category_ids, embedding_of
from service.services import Services
from service.store.rows import LearnedShares, LearnedStart, LearningSettings, Scope

FIRST_HEAD_WAIT_S = 5.0
"""How long the first photo after a start of the service waits for the head to be rebuilt."""

MOST_AUDIT_PERCENT = 100

_DIGITS = 6

_LEAST_P = 10.0**-_DIGITS


@dataclass(frozen=True, slots=True)
class LearningScope:
    """What learns as one: a study, or a sort outside a study."""

    id: str
    name: str
    is_study: bool


@dataclass(frozen=True, slots=True)
class LearningState:
    """How learning stands in a scope.

    `confirmations` were learned from, `left_out` can't be (another model's, or a category that left
    the list). Losses are -log p of the confirmed category (nats), each photo predicted before it
    was learned from. `trusted`: what was learned answers; else the shipped model does. `ready` is
    False while the first head after a start of the service is still being built.
    """

    scope: LearningScope
    learns: bool
    audit_percent: int
    model: str | None
    ready: bool
    up_to_date: bool
    confirmations: int
    left_out: int
    trusted: bool
    shipped_losses: tuple[float, ...]
    learned_losses: tuple[float, ...]
    start: str | None
    start_problem: str
    accuracy: Accuracy


def set_learning(
    services: Services,
    *,
    scope_id: str,
    change_id: str,
    learns: bool,
    audit_percent: int,
    sorter: str = "",
) -> LearningSettings:
    """Set whether a scope learns and what share of photos is judged blind; a resend is harmless.

    Raises UnknownIdError when no study or sort has the id, InvalidEntryError, ConflictError.
    """
    scope = get_scope(services, scope_id)
    if not 0 <= audit_percent <= MOST_AUDIT_PERCENT:
        raise InvalidEntryError(
            f"audits of {audit_percent} % are impossible: give 0 to {MOST_AUDIT_PERCENT}",
            given=audit_percent,
        )
    wanted = LearningSettings(learns=learns, audit_percent=audit_percent)
    services.log.set_learning(
        check_id(change_id, "change_id"),
        scope.id,
        wanted,
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    if learns:
        _refresh(services, scope.id)
    return services.log.scope(scope.id).settings


def get_scope(services: Services, scope_id: str) -> LearningScope:
    """Return the study or the sort with an id; a sort in a study has no scope of its own.

    Raises UnknownIdError when neither does, ConflictError for a sort in a study.
    """
    own = scope_id.lower()
    if services.log.is_study(own):
        return LearningScope(own, services.log.study(own).name, is_study=True)
    try:
        sort = services.log.get_sort(own)
    except UnknownIdError:
        raise UnknownIdError(
            f"there is no study or sort {scope_id!r}: open it from the list", scope=scope_id
        ) from None
    study = services.log.study_of_sort(own)
    if study is not None:
        raise ConflictError(
            f"the sort {sort.name!r} learns with its study {study.name!r}: use the study",
            study=study.id,
        )
    return LearningScope(own, sort.name, is_study=False)


def notice(services: Services, scope: Scope) -> None:
    """Tell the worker that something was confirmed, corrected or undone in a scope; never waits."""
    if services.model is not None and scope.settings.learns:
        _refresh(services, scope.id)


def learned_shares(
    services: Services,
    scope: Scope,
    forms: tuple[tuple[str, float], ...],
    embedding: bytes,
) -> LearnedShares | None:
    """Return what the scope's own confirmations make of a photo, None where they have no part.

    They have none while nothing was learned or while the shipped model does better.
    """
    model = services.model
    if model is None or not scope.settings.learns:
        return None
    course = current(services, scope.id)
    if course is None:
        return None
    head, seen = course.snapshot.head, embedding_of(embedding)
    if head is None or not course.snapshot.trusted or head.features != len(seen):
        return None
    shipped = shipped_probabilities(forms, model.form_categories, head.categories)
    learned = course.snapshot.probabilities(seen, shipped)
    ranked = sorted(
        zip(head.categories, learned.tolist(), strict=True), key=lambda e: (-e[1], e[0])
    )
    return LearnedShares(
        confirmations=course.snapshot.confirmations,
        categories=tuple(
            (category, min(1.0, round(p, _DIGITS))) for category, p in ranked if p >= _LEAST_P
        ),
    )


def current(services: Services, scope_id: str, *, patience_s: float | None = None) -> Course | None:
    """Return what a scope has learned so far, and have the worker bring it up to date.

    What was learned last serves until then; only where there is nothing yet, this waits.
    """
    heads, model = services.learning, services.model
    course = heads.course(scope_id)
    label = "" if model is None else model.label
    if course is not None and course.model == label:
        if course.mark == services.log.learning_mark(scope_id):
            return course
        _refresh(services, scope_id)
        return course
    wait([_refresh(services, scope_id)], FIRST_HEAD_WAIT_S if patience_s is None else patience_s)
    course = heads.course(scope_id)
    return course if course is not None and course.model == label else None


def up_to_date(services: Services, scope_id: str, *, patience_s: float = 60.0) -> Course | None:
    """Return what a scope has learned from all of its log; waits for the worker."""
    wait([_refresh(services, scope_id)], patience_s)
    return services.learning.course(scope_id)


def learning_state(services: Services, scope_id: str) -> LearningState:
    """Return how learning stands in a study or sort: settings, curves, trust, accuracy.

    Raises UnknownIdError when no study or sort has the id, ConflictError for a sort in a study.
    """
    scope = get_scope(services, scope_id)
    settings = services.log.scope(scope.id).settings
    start = services.log.learned_start(scope.id)
    course = current(services, scope.id)
    nothing = np.zeros(0)
    score = None if course is None else course.prequential
    return LearningState(
        scope=scope,
        learns=settings.learns,
        audit_percent=settings.audit_percent,
        model=None if services.model is None else services.model.label,
        ready=course is not None,
        up_to_date=course is not None and course.mark == services.log.learning_mark(scope.id),
        confirmations=0 if course is None else course.snapshot.confirmations,
        left_out=0 if course is None else course.left_out,
        trusted=course is None or course.snapshot.trusted,
        shipped_losses=tuple((nothing if score is None else score.shipped_losses).tolist()),
        learned_losses=tuple((nothing if score is None else score.learned_losses).tolist()),
        start=None if start is None else start.name,
        start_problem="" if course is None else course.start_problem,
        accuracy=accuracy(services, scope.id),
    )


def export_head(services: Services, scope_id: str) -> tuple[str, bytes]:
    """Return a file name and the learned head of a scope as bytes.

    Raises UnknownIdError, ConflictError for a sort in a study or where nothing was learned yet.
    """
    scope = get_scope(services, scope_id)
    course = up_to_date(services, scope.id)
    head = None if course is None else course.snapshot.head
    if head is None:
        raise ConflictError(
            f"{scope.name!r} has learned nothing yet: confirm some photos, then export",
            scope=scope.id,
        )
    return f"tallytare-head-{scope.id[:8]}.npz", head.to_bytes()


def start_from_file(
    services: Services, *, scope_id: str, start_id: str, name: str, content: bytes, sorter: str = ""
) -> LearningScope:
    """Have a scope start from an exported head; its own confirmations go on from there.

    Raises HeadError when the file is damaged or belongs to another model or category list;
    UnknownIdError, InvalidEntryError, ConflictError.
    """
    scope = get_scope(services, scope_id)
    label = "" if services.model is None else services.model.label
    head = LearnedHead.from_bytes(content)
    head.check_model(label, category_ids(services))
    return _start(services, scope, start_id, name, head.to_bytes(), sorter)


def start_from_scope(
    services: Services, *, scope_id: str, start_id: str, other_id: str, sorter: str = ""
) -> LearningScope:
    """Have a scope start from what another study or sort has learned by now.

    Raises UnknownIdError, ConflictError where the other has learned nothing, InvalidEntryError.
    """
    scope = get_scope(services, scope_id)
    other = get_scope(services, check_id(other_id, "from_scope"))
    if scope.id == other.id:
        raise InvalidEntryError(f"{scope.name!r} can't start from itself: choose another study")
    _, content = export_head(services, other.id)
    return _start(services, scope, start_id, other.name, content, sorter)


def start_from_shipped(
    services: Services, *, scope_id: str, start_id: str, sorter: str = ""
) -> LearningScope:
    """Have a scope start from the shipped model again.

    Raises UnknownIdError, InvalidEntryError, ConflictError.
    """
    return _start(services, get_scope(services, scope_id), start_id, "", b"", sorter)


def _start(
    services: Services,
    scope: LearningScope,
    start_id: str,
    name: str,
    content: bytes,
    sorter: str,
) -> LearningScope:
    start = LearnedStart(
        id=check_id(start_id, "start_id"),
        name=check_text(name, "name", longest=NAME_LENGTH, needed=bool(content)),
        content=content,
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    sent = {"scope_id": scope.id, "name": start.name, "sorter": start.sorter}
    services.log.add_learned_start(start, scope_id=scope.id, sent=sent)
    _refresh(services, scope.id)
    return scope


def _refresh(services: Services, scope_id: str) -> Future[None]:
    return services.learning.bring_on(scope_id, partial(bring_on, services, scope_id))
