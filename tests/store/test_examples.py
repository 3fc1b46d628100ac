"""Photos as examples: which there are, what they are called, how that is changed and undone."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import nullcontext
from datetime import date
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from classifier.errors import ConflictError, InvalidEntryError, UnknownIdError
from classifier.log.records import SortInfo
from service.app import create_app
from service.examples import agreement, reviews
from service.keeping import upkeep
from service.photos.files import PhotoFiles
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.sorts.usecases import create_sort
from service.store.example_rows import Wanted
from tests.fakes import FakePredictor, jpeg, new_id


@pytest.fixture
def kept(services: Services) -> SortInfo:
    """Return a sort that keeps its photos for training."""
    return keeping_sort(services)


@pytest.fixture
def shades() -> Iterator[int]:
    """Return shades, so that no two photos are the same file."""
    return iter(range(20, 250))


def keeping_sort(services: Services, *, keeps: bool = True) -> SortInfo:
    """Start a sort."""
    return create_sort(
        services,
        sort_id=new_id(),
        name="Block C",
        sorted_on=date(2026, 5, 1),
        days=7,
        persons=2,
        programme_id="alder_valley",
        keeps_photos=keeps,
    )


def confirmed(
    services: Services, sort: SortInfo, category: str = "food", *, shade: int = 99, who: str = "Ada"
) -> str:
    """Photograph and confirm something; return the capture's id."""
    capture = captures.take_photo(services, sort_id=sort.id, capture_id=new_id(), data=jpeg(shade))
    items.confirm(
        services,
        item_id=new_id(),
        sort_id=sort.id,
        capture_id=capture.id,
        category=category,
        sorter=who,
    )
    return capture.id


def ids(services: Services, **wanted: object) -> list[str]:
    """Return the captures of the examples meant, the newest first."""
    found = reviews.list_examples(services, Wanted(**wanted))  # type: ignore[arg-type]
    assert found.total == len(found.examples)
    return [each.capture_id for each in found.examples]


def look(services: Services, capture_id: str) -> tuple[str, str | None]:
    """Return the label and the verdict of an example."""
    found = reviews.get_example(services, capture_id).example
    return found.label, found.verdict


def test_only_confirmed_photos_of_sorts_that_keep_them(services: Services, kept: SortInfo) -> None:
    """Neither a photo that waits, nor one undone, nor one of a sort that keeps none."""
    wanted = confirmed(services, kept)
    confirmed(services, keeping_sort(services, keeps=False))
    captures.take_photo(services, sort_id=kept.id, capture_id=new_id(), data=jpeg(30))
    undone = confirmed(services, kept, shade=60)
    item = reviews.get_example(services, undone).example.item_id
    items.undo(services, item_id=item, change_id=new_id())
    assert ids(services) == [wanted]


def test_filters(services: Services, kept: SortInfo, predictor: FakePredictor) -> None:
    predictor.forms = (("food", 0.9), ("drink_can", 0.1))
    sure = confirmed(services, kept, "food", shade=30)
    predictor.forms = (("drink_can", 0.5), ("food", 0.3), ("non_item", 0.2))
    unsure = confirmed(services, kept, "steel_cans", shade=60, who="Ben")
    assert ids(services) == [unsure, sure]
    assert ids(services, category="food") == [sure]
    assert ids(services, sorter="Ben") == [unsure]
    assert ids(services, sort_id=kept.id) == [unsure, sure]
    assert ids(services, disagreement=True) == [unsure]
    assert ids(services, confidence_below=0.6) == [unsure]
    assert ids(services, reviewed=True) == []
    assert ids(services, reviewed=False) == [unsure, sure]
    assert ids(services, ids=[sure]) == [sure]
    when = reviews.get_example(services, unsure).example.at
    assert ids(services, since=when) == [unsure]
    assert ids(services, before=when) == [sure]


def test_pages_hold_each_example_once(services: Services, kept: SortInfo) -> None:
    made = [confirmed(services, kept, shade=20 + 9 * n) for n in range(5)]
    pages = [reviews.list_examples(services, Wanted(), page=n, length=2) for n in (1, 2, 3, 99)]
    assert [page.pages for page in pages] == [3] * 4
    seen = [each.capture_id for page in pages[:3] for each in page.examples]
    assert seen == made[::-1]
    assert pages[3].examples == pages[2].examples
    oldest = reviews.list_examples(
        services, Wanted(), length=2, order=lambda each: each.at.timestamp()
    )
    assert [each.capture_id for each in oldest.examples] == made[:2]


def test_a_correction_then_a_review_then_undo(services: Services, kept: SortInfo) -> None:
    """The last word counts; every word stays in the history."""
    one = confirmed(services, kept, "food")
    item = reviews.get_example(services, one).example.item_id
    items.correct(
        services, item_id=item, change_id=new_id(), category="garden", count=1, sorter="Ben"
    )
    assert look(services, one) == ("garden", None)
    first, second, back = new_id(), new_id(), new_id()
    review: dict[str, Any] = {"capture_ids": [one], "sorter": "Eva"}
    assert reviews.review(
        services, batch_id=first, verdict="label", category="tissue", note="dry", **review
    )
    assert look(services, one) == ("tissue", "label")
    assert reviews.review(services, batch_id=second, verdict="unclear", **review)
    assert look(services, one) == ("garden", "unclear")
    for _ in range(2):  # sent twice, taken back once
        reviews.undo_review(services, batch_id=second, undo_id=back)
        assert look(services, one) == ("tissue", "label")
    reviews.undo_review(services, batch_id=first, undo_id=new_id())
    assert look(services, one) == ("tissue", "label"), "reviewed again since"
    history = reviews.get_example(services, one).history
    assert [(line.kind, line.category, line.who) for line in history] == [
        ("confirmed", "food", "Ada"),
        ("corrected", "garden", "Ben"),
        ("label", "tissue", "Eva"),
        ("unclear", None, "Eva"),
        ("label", "tissue", ""),
    ]
    assert history[2].note == "dry"


def test_undoing_the_first_review_opens_the_photo_again(services: Services, kept: SortInfo) -> None:
    made = [confirmed(services, kept, shade=shade) for shade in (30, 60)]
    batch = new_id()
    assert reviews.review(services, batch_id=batch, capture_ids=made, verdict="dont_use") == 2
    assert ids(services, reviewed=False) == []
    reviews.undo_review(services, batch_id=batch, undo_id=new_id())
    assert ids(services, reviewed=False) == made[::-1]


def test_a_second_opinion_is_no_batch_to_be_taken_back(services: Services, kept: SortInfo) -> None:
    one, opinion = confirmed(services, kept), new_id()
    agreement.give_second_opinion(
        services, review_id=opinion, capture_id=one, category="garden", sorter="Ben"
    )
    with pytest.raises(UnknownIdError, match="no batch of reviews"):
        reviews.undo_review(services, batch_id=opinion, undo_id=new_id())


def test_a_resent_batch_is_recorded_once(services: Services, kept: SortInfo) -> None:
    one, batch = confirmed(services, kept), new_id()
    sent: dict[str, Any] = {"batch_id": batch, "capture_ids": [one, one], "verdict": "label"}
    assert reviews.review(services, **sent) == 1
    assert reviews.review(services, **sent) == 0
    assert look(services, one) == ("food", "label")


def test_refused_reviews_record_nothing(services: Services, kept: SortInfo) -> None:
    one = confirmed(services, kept)
    with pytest.raises(InvalidEntryError, match="no photo is chosen"):
        reviews.review(services, batch_id=new_id(), capture_ids=[], verdict="label")
    with pytest.raises(InvalidEntryError, match="allowed are label, unclear, two_items, dont_use"):
        reviews.review(services, batch_id=new_id(), capture_ids=[one], verdict="second")
    with pytest.raises(UnknownIdError):
        reviews.review(
            services, batch_id=new_id(), capture_ids=[one], verdict="label", category="gold"
        )
    with pytest.raises(UnknownIdError, match="1 of the photos are no examples"):
        reviews.review(services, batch_id=new_id(), capture_ids=[one, new_id()], verdict="unclear")
    with pytest.raises(UnknownIdError, match="no batch of reviews"):
        reviews.undo_review(services, batch_id=new_id(), undo_id=new_id())
    assert look(services, one) == ("food", None)


def test_a_withdrawn_photo_is_gone_and_its_count_stays(services: Services, kept: SortInfo) -> None:
    """File, small picture and embedding are deleted; log, tally and check are as before."""
    one, other = confirmed(services, kept, shade=30), confirmed(services, kept, shade=60)
    name = reviews.get_example(services, one).example.photo_name
    assert len(services.thumbs.read(name)) > 100
    assert set(services.log.embeddings_of([one, other])) == {one, other}
    before = items.tally(services, kept.id)
    request: dict[str, Any] = {"request_id": new_id(), "capture_ids": [one], "reason": "asked"}
    assert reviews.withdraw(services, **request) == 1
    assert reviews.withdraw(services, **request) == 0
    assert not services.photos.has(name)
    assert not (services.settings.data_dir / "thumbs" / name).exists()
    assert set(services.log.embeddings_of([one, other])) == {other}
    assert ids(services) == [other]
    assert items.tally(services, kept.id) == before
    assert upkeep.check_store(services).missing_photos == ()
    with pytest.raises(UnknownIdError, match="was withdrawn"):
        captures.read_photo(services, one)
    with pytest.raises(UnknownIdError, match="no example"):
        reviews.get_example(services, one)


@pytest.mark.sqlite_only
def test_nothing_of_a_withdrawn_embedding_stays_in_the_files(
    services: Services, settings: Settings, kept: SortInfo, predictor: FakePredictor
) -> None:
    """Neither in the database, nor in its write-ahead log."""
    mark = b"WITHDRAWN PLACE!" * 4
    predictor.embedding = tuple(np.frombuffer(mark, "<f2").astype(float))
    one = confirmed(services, kept, shade=30)

    def files() -> bytes:
        return b"".join(path.read_bytes() for path in settings.data_dir.glob("tallytare.sqlite3*"))

    assert mark in files()
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one])
    assert mark not in files()


def test_a_withdrawn_photo_waits_for_no_answer(services: Services, kept: SortInfo) -> None:
    """Its item was undone, so that it would wait again; there is nothing left to look at."""
    gone, waiting = confirmed(services, kept, shade=30), confirmed(services, kept, shade=60)
    for one in (gone, waiting):
        item = reviews.get_example(services, one).example.item_id
        items.undo(services, item_id=item, change_id=new_id())
    assert {each.id for each in captures.open_captures(services, kept.id)} == {gone, waiting}
    reviews.withdraw(services, request_id=new_id(), capture_ids=[gone])
    assert [each.id for each in captures.open_captures(services, kept.id)] == [waiting]


def test_small_pictures_of_a_withdrawn_photo_go_too(
    services: Services, settings: Settings, kept: SortInfo
) -> None:
    """Also after a crash in between, and on another station, which forgets them at its start."""
    shown = confirmed(services, kept)
    name = reviews.photo_name(services, shown)
    small = services.settings.data_dir / "thumbs" / name
    services.thumbs.read(name)
    small_bytes = small.read_bytes()
    reviews.withdraw(services, request_id=new_id(), capture_ids=[shown], reason="a face")
    assert not small.exists()
    small.write_bytes(small_bytes)
    assert reviews.remove_withdrawn(services) == 0
    assert not small.exists()
    small.write_bytes(small_bytes)
    with TestClient(create_app(settings, services=services)):
        assert not small.exists()


@pytest.mark.parametrize("deletable", [True, False])
def test_a_page_asks_for_a_small_picture_during_the_withdrawal(
    services: Services, kept: SortInfo, monkeypatch: pytest.MonkeyPatch, deletable: bool
) -> None:
    """It is made while the photo is still there, and goes all the same."""
    shown = confirmed(services, kept)
    name = reviews.photo_name(services, shown)
    remove = PhotoFiles.remove

    def asked(photos: PhotoFiles, own: str) -> None:
        services.thumbs.read(own)
        if deletable:
            remove(photos, own)

    monkeypatch.setattr(PhotoFiles, "remove", asked)
    with nullcontext() if deletable else pytest.raises(ConflictError, match="can't be deleted"):
        reviews.withdraw(services, request_id=new_id(), capture_ids=[shown])
    assert not (services.settings.data_dir / "thumbs" / name).exists()
    assert services.photos.has(name) is not deletable


def test_photos_of_a_sorter_or_a_sort_are_withdrawn_also_where_none_are_kept_for_training(
    services: Services, kept: SortInfo
) -> None:
    plain = keeping_sort(services, keeps=False)
    ada, ben = confirmed(services, kept, shade=30), confirmed(services, kept, shade=60, who="Ben")
    other = confirmed(services, plain, shade=90, who="Ben")
    assert set(reviews.withdrawable(services, sorter="Ben")) == {ben, other}
    assert set(reviews.withdrawable(services, sort_id=kept.id)) == {ada, ben}
    assert reviews.withdrawable(services, sorter="Ben", sort_id=kept.id) == (ben,)
    with pytest.raises(InvalidEntryError, match="name a sorter"):
        reviews.withdrawable(services)
    with pytest.raises(UnknownIdError):
        reviews.withdrawable(services, sort_id=str(uuid.uuid4()))


def test_a_withdrawn_file_that_a_crash_left_is_told_and_deleted_later(
    services: Services, kept: SortInfo
) -> None:
    one = confirmed(services, kept)
    name = reviews.get_example(services, one).example.photo_name
    services.log.withdraw({one: new_id()}, reason="", sorter="", at=services.clock())
    assert upkeep.check_store(services).withdrawn_photos == (name,)
    assert reviews.remove_withdrawn(services) == 1
    assert upkeep.check_store(services).withdrawn_photos == ()
