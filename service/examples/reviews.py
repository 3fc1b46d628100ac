"""Confirmed photos as labelled examples: look through them, label many at once, take them back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from classifier.errors import ConflictError, InvalidEntryError, UnknownIdError
from service.entries import NOTE_LENGTH, check_id, check_sorter, check_text
from service.examples.upload import forget_uploads
from service.services import Services
from service.store.example_log import ExampleHistory, batch_row_id
from service.store.example_rows import (
    DONT_USE,
    LABEL,
    OPEN,
    SECOND,
    TWO_ITEMS,
    UNCLEAR,
    Example,
    Review,
    Wanted,
)

VERDICTS = (LABEL, UNCLEAR, TWO_ITEMS, DONT_USE)
AS_IT_IS = ""
"""Category in a review that keeps each photo's own label."""
MOST_AT_ONCE = 2_000
PAGE_LENGTH = 60


@dataclass(frozen=True, slots=True)
class ExamplePage:
    """One page of examples, and how many there are in all."""

    examples: tuple[Example, ...]
    total: int
    page: int
    pages: int


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One thing that happened to a photo's label: when, by whom, what, why."""

    at: datetime
    who: str
    kind: str
    category: str | None
    note: str


@dataclass(frozen=True, slots=True)
class ExampleView:
    """An example with everything that happened to its label."""

    example: Example
    history: tuple[HistoryLine, ...]


def list_examples(
    services: Services,
    wanted: Wanted,
    *,
    page: int = 1,
    length: int = PAGE_LENGTH,
    order: Callable[[Example], float] | None = None,
    keep: Callable[[Example], bool] | None = None,
) -> ExamplePage:
    """Return a page of examples, the newest first, or by `order` where it is given.

    An `order` reads all that are meant, so it is for lists that are short; `keep` goes with it and
    leaves some out.
    """
    if order is None:
        total = services.log.count_examples(wanted)
        pages = max(1, -(-total // length))
        page = min(max(page, 1), pages)
        found = services.log.examples(wanted, limit=length, offset=(page - 1) * length)
        return ExamplePage(found, total, page, pages)
    everything = sorted(filter(keep, services.log.examples(wanted)), key=order)
    pages = max(1, -(-len(everything) // length))
    page = min(max(page, 1), pages)
    start = (page - 1) * length
    return ExamplePage(tuple(everything[start : start + length]), len(everything), page, pages)


def get_example(services: Services, capture_id: str) -> ExampleView:
    """Return an example with its history.

    Raises UnknownIdError when there is none (withdrawn, undone, in a sort that keeps no photos).
    """
    own = capture_id.lower()
    found = services.log.examples(Wanted(ids=[own]), limit=1)
    if not found:
        raise UnknownIdError(
            f"there is no example {capture_id!r}: it was withdrawn, undone, or its sort keeps no "
            "photos; go back to the list",
            capture=capture_id,
        )
    return ExampleView(found[0], history_lines(services.log.histories([own])[own]))


def photo_name(services: Services, capture_id: str) -> str:
    """Return the name of an example's photo.

    Raises UnknownIdError as `get_example` does.
    """
    found = services.log.examples(Wanted(ids=[capture_id.lower()]), limit=1)
    if not found:
        raise UnknownIdError(f"there is no example {capture_id!r}", capture=capture_id)
    return found[0].photo_name


def history_lines(history: ExampleHistory) -> tuple[HistoryLine, ...]:
    """Return what happened to a label in order of time; opinions given blind are left out."""
    lines = [
        HistoryLine(item.at, item.sorter, "confirmed", item.category, item.note)
        for item in history.items
    ]
    lines += [
        HistoryLine(
            change.at,
            change.sorter,
            "undone" if change.kind == "void" else "corrected",
            change.category,
            change.reason,
        )
        for change in history.changes
    ]
    lines += [
        HistoryLine(review.at, review.sorter, review.verdict, review.category, review.note)
        for review in history.reviews
        if review.verdict != SECOND
    ]
    return tuple(sorted(lines, key=lambda line: line.at))


def review(
    services: Services,
    *,
    batch_id: str,
    capture_ids: Sequence[str],
    verdict: str,
    category: str = AS_IT_IS,
    note: str = "",
    sorter: str = "",
) -> int:
    """Say what photos show, all in one step: a label, or that they are not to be learned from.

    With the verdict "label" and no category each photo keeps its label and counts as reviewed.
    Return how many reviews were new; a resend changes nothing.

    Raises InvalidEntryError, UnknownIdError (category, or photos that are no examples any more),
    ConflictError.
    """
    own = check_id(batch_id, "batch_id")
    ids = _checked(capture_ids)
    if verdict not in VERDICTS:
        raise InvalidEntryError(
            f"verdict {verdict[:40]!r}: allowed are {', '.join(VERDICTS)}; choose one"
        )
    if category:
        services.categories.get(category)
    as_it_is: dict[str, str] = {}
    if verdict == LABEL and not category:
        as_it_is = {each.capture_id: each.label for each in _examples(services, ids)}
    at, who = services.clock(), check_sorter(sorter)
    checked = check_text(note, "note", longest=NOTE_LENGTH)
    rows = [
        Review(
            id=batch_row_id(own, capture_id),
            capture_id=capture_id,
            verdict=verdict,
            category=(category or as_it_is.get(capture_id)) if verdict == LABEL else None,
            note=checked,
            sorter=who,
            at=at,
        )
        for capture_id in ids
    ]
    sent = {"verdict": verdict, "category": category, "note": checked, "sorter": who}
    return services.log.add_reviews(rows, sent)


def undo_review(services: Services, *, batch_id: str, undo_id: str, sorter: str = "") -> None:
    """Take a batch of reviews back: each photo stands as it stood before.

    A photo that was reviewed again since is left as it is. Nothing is deleted: the step back is a
    row of its own, equal to the review before, or "open" where there was none.

    Raises UnknownIdError when there is no such batch, InvalidEntryError, ConflictError.
    """
    batch, own = check_id(batch_id, "batch_id"), check_id(undo_id, "undo_id")
    taken = [each for each in services.log.reviews_of_batch(batch) if each.verdict != SECOND]
    if not taken:
        raise UnknownIdError(
            f"there is no batch of reviews {batch_id!r}: reload the page", batch=batch_id
        )
    at, who = services.clock(), check_sorter(sorter)
    histories = services.log.histories([each.capture_id for each in taken])
    rows = []
    for each in taken:
        reviews = [r for r in histories[each.capture_id].reviews if r.verdict != SECOND]
        if reviews[-1].id != each.id:
            continue
        before = reviews[-2] if len(reviews) > 1 else None
        rows.append(
            Review(
                id=batch_row_id(own, each.capture_id),
                capture_id=each.capture_id,
                verdict=OPEN if before is None else before.verdict,
                category=None if before is None else before.category,
                note="taken back",
                sorter=who,
                at=at,
            )
        )
    services.log.add_reviews(rows, {"undo": batch})


def withdraw(
    services: Services,
    *,
    request_id: str,
    capture_ids: Sequence[str],
    reason: str = "",
    sorter: str = "",
) -> int:
    """Take photos back for good: their files are deleted, no set and no learning has them again.

    The items stay counted. Return how many were withdrawn now; those of before are passed over.

    Raises InvalidEntryError, UnknownIdError for an entry without a photo, StorageError.
    """
    own = check_id(request_id, "request_id")
    ids = [check_id(each, "capture_id") for each in capture_ids]
    new = services.log.withdraw(
        {each: batch_row_id(own, each) for each in ids},
        reason=check_text(reason, "reason", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    remove_withdrawn(services)
    return new


def remove_withdrawn(services: Services) -> int:
    """Delete the files of withdrawn photos that are still there, as after a crash; return how many.

    Sets that wait for their import on this machine go too: an old export may hold the photos.

    Raises ConflictError where one can't be deleted.
    """
    left = [name for name in services.log.withdrawn_photos() if services.photos.has(name)]
    try:
        for name in left:
            services.photos.remove(name)
            if services.photos.has(name):
                raise ConflictError(
                    f"the withdrawn photo {name} can't be deleted: give the right to write to the "
                    "folder of the photos, then withdraw it again",
                    photo=name,
                )
    finally:  # after the photos, or a page that is being looked at would make them again
        forget_withdrawn_thumbs(services)
        forget_uploads(services.settings.data_dir)
        services.log.forget_deleted()
    return len(left)


def forget_withdrawn_thumbs(services: Services) -> None:
    """Delete this machine's small pictures of withdrawn photos; another may have withdrawn them."""
    for name in services.log.withdrawn_photos():
        services.thumbs.remove(name)


def withdrawable(
    services: Services, *, sorter: str | None = None, sort_id: str | None = None
) -> tuple[str, ...]:
    """Return the captures with photos of a sorter, of a sort, or of a sorter in a sort.

    Raises InvalidEntryError when neither is named: that would be all photos there are.
    """
    if sorter is None and sort_id is None:
        raise InvalidEntryError("name a sorter, a sort or a photo whose photos to withdraw")
    if sort_id is not None:
        sort_id = services.log.get_sort(sort_id.lower()).id
    return services.log.photos_of(sorter=sorter, sort_id=sort_id)


def _examples(services: Services, ids: Sequence[str]) -> tuple[Example, ...]:
    return services.log.examples(Wanted(ids=ids))


def _checked(capture_ids: Sequence[str]) -> list[str]:
    ids = list(dict.fromkeys(check_id(each, "capture_id") for each in capture_ids))
    if not ids:
        raise InvalidEntryError("no photo is chosen: tick some, then send it again")
    if len(ids) > MOST_AT_ONCE:
        raise InvalidEntryError(
            f"{len(ids)} photos at once are too many: choose at most {MOST_AT_ONCE}"
        )
    return ids
