"""From the log of a scope to what it has learned; runs on the thread of the head cache."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from classifier.errors import StorageError, TallytareError
from classifier.learning.confirmation import Confirmation, shipped_probabilities
from classifier.learning.head import LearnedHead
from classifier.learning.learner import Learner
from service.head_cache import Course, PhotoKey
from service.services import Services
from service.store.rows import ConfirmedPhoto, LearnedStart, LearningMark, ModelRecord

RECENT, SPACING, MOST_SPACED = 6, 50, 6
"""Stages kept to go back to: after each of the last few confirmations, and after every 50th."""


@dataclass(frozen=True, slots=True)
class _Lesson:
    key: PhotoKey
    seq: int
    confirmation: Confirmation


def category_ids(services: Services) -> tuple[str, ...]:
    """Return the categories that a head knows: all of the list, in its order."""
    return tuple(category.id for category in services.categories.categories)


def embedding_of(vector: bytes) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """Return a stored embedding; photos are judged on the same rounded numbers."""
    return np.frombuffer(vector, dtype="<f2").astype(np.float32)


def bring_on(services: Services, scope_id: str, before: Course | None) -> Course:
    """Return what a scope has learned by now; goes on from `before` as far as the log agrees.

    Raises StorageError.
    """
    model = services.model
    label = "" if model is None else model.label
    start = services.log.learned_start(scope_id)
    start_id = "" if start is None else start.id
    if before is None or (before.model, before.start_id) != (label, start_id):
        before = _new(services, label, start)
    elif before.learned:
        mark, photos = services.log.confirmed_photos(scope_id, since=before.mark)
        if _only_grew(before, mark, photos):
            lessons, left_out = _lessons(services, photos, label)
            return _learn(services, before, mark, lessons, before.left_out + left_out)
    mark, photos = services.log.confirmed_photos(scope_id)
    lessons, left_out = _lessons(services, photos, label)
    base = _back_to(before, [lesson.key for lesson in lessons])
    return _learn(services, base, mark, lessons[len(base.learned) :], left_out)


def _only_grew(before: Course, mark: LearningMark, fresh: Sequence[ConfirmedPhoto]) -> bool:
    """Tell whether all that happened is that photos were confirmed, the newest last."""
    return (
        mark.others == before.mark.others
        and [each for each, _ in mark.items] == [each for each, _ in before.mark.items]
        and all(photo.seq > before.last_seq and photo.group is None for photo in fresh)
    )


def _back_to(before: Course, keys: Sequence[PhotoKey]) -> Course:
    """Return the course at its last stage before anything differs from the log."""
    pairs = enumerate(zip(before.learned, keys, strict=False))
    same = min(len(before.learned), len(keys))
    agreed = next((place for place, (old, new) in pairs if old != new), same)
    stages = tuple(stage for stage in before.stages if stage.confirmations <= agreed)
    return replace(before, stages=stages, learned=before.learned[: stages[-1].confirmations])


def _new(services: Services, label: str, start: LearnedStart | None) -> Course:
    categories = category_ids(services)
    problem = ""
    head: LearnedHead | None = None
    if start is not None:
        try:
            head = LearnedHead.from_bytes(start.content)
            head.check_model(label, categories)
        except TallytareError as error:
            head, problem = None, error.message
    learner = Learner(categories, model=label, start=head)
    return Course(
        mark=LearningMark((), ()),
        model=label,
        start_id="" if start is None else start.id,
        stages=(learner,),
        learned=(),
        last_seq=0,
        left_out=0,
        start_problem=problem,
        snapshot=learner.snapshot,
        prequential=learner.prequential,
    )


def _learn(
    services: Services,
    before: Course,
    mark: LearningMark,
    lessons: Sequence[_Lesson],
    left_out: int,
) -> Course:
    stages = before.stages
    learner = stages[-1].branch()
    last = learner.confirmations + len(lessons)
    for lesson in lessons:
        if services.learning.closed:
            raise StorageError("the service is stopping: learning goes on when it runs again")
        learner.learn(lesson.confirmation)
        done = learner.confirmations
        if done % SPACING == 0 or done > last - RECENT:
            stages = (*stages, learner.branch())
    return Course(
        mark=mark,
        model=before.model,
        start_id=before.start_id,
        stages=_kept(stages),
        learned=(*before.learned, *(lesson.key for lesson in lessons)),
        last_seq=max([before.last_seq, *(lesson.seq for lesson in lessons)]),
        left_out=left_out,
        start_problem=before.start_problem,
        snapshot=learner.snapshot,
        prequential=learner.prequential,
    )


def _kept(stages: Sequence[Learner]) -> tuple[Learner, ...]:
    """Return the first stage, the newest few and, before these, a few spaced ones."""
    first, *others = stages
    recent = others[-RECENT:]
    spaced = [stage for stage in others[:-RECENT] if stage.confirmations % SPACING == 0]
    return (first, *spaced[-MOST_SPACED:], *recent)


def _lessons(
    services: Services, photos: Sequence[ConfirmedPhoto], label: str
) -> tuple[list[_Lesson], int]:
    """Return what can be learned from, and how many photos can't be.

    Embeddings of another model mean nothing to this one's head; a category that left the list
    can't be suggested.
    """
    models = services.log.models_of(photo.model_id for photo in photos)
    categories = category_ids(services)
    usable = [
        photo
        for photo in photos
        if models[photo.model_id].label == label and photo.category in categories
    ]
    if usable:  # a bundle that was exported again under its old label may have another width
        width = len(usable[-1].vector)
        usable = [photo for photo in usable if len(photo.vector) == width]
    weights = _weights(usable)
    lessons = [
        _Lesson(
            PhotoKey(photo.capture_id, photo.category, weights[photo.capture_id]),
            photo.seq,
            _confirmation(photo, models, categories, weights),
        )
        for photo in usable
    ]
    return lessons, len(photos) - len(lessons)


def _weights(photos: Iterable[ConfirmedPhoto]) -> dict[str, float]:
    """Return how much each photo counts: those of one object count as much as one photo."""
    photos = tuple(photos)
    sizes = Counter(photo.group for photo in photos if photo.group is not None)
    return {
        photo.capture_id: 1.0 if photo.group is None else 1.0 / sizes[photo.group]
        for photo in photos
    }


def _confirmation(
    photo: ConfirmedPhoto,
    models: Mapping[str, ModelRecord],
    categories: Sequence[str],
    weights: Mapping[str, float],
) -> Confirmation:
    form_categories = models[photo.model_id].form_categories
    return Confirmation(
        capture_id=photo.capture_id,
        embedding=embedding_of(photo.vector),
        shipped=shipped_probabilities(photo.forms, form_categories, categories),
        category=photo.category,
        weight=weights[photo.capture_id],
    )
