"""Several stations on one store: no double count, no lost entry."""

from __future__ import annotations

import contextlib
import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from classifier.errors import ConflictError
from classifier.log.records import SortInfo
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.store.item_log import ItemLog
from service.store.rows import ItemState
from service.wiring import build_services
from tests.fakes import FakePredictor, jpeg, model_record, new_id
from tests.store.entries import CARDBOARD, correct_details, counts, enter, start, take

STATIONS = 4


def _at_once(work: Callable[[int], None], stations: int = STATIONS) -> list[BaseException]:
    """Run `work(0)` to `work(stations - 1)` on threads that start together; return their errors."""
    errors: list[BaseException] = []
    barrier = threading.Barrier(stations)

    def run(station: int) -> None:
        barrier.wait()
        try:
            work(station)
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=run, args=(n,)) for n in range(stations)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return errors


def test_four_stations_count_what_they_enter(services: Services, sort: SortInfo) -> None:
    """Each enters 25; a hundred are counted, in one batch."""

    def work(_: int) -> None:
        for _ in range(25):
            enter(services, sort)

    assert _at_once(work) == []
    assert counts(services, sort) == {CARDBOARD: 100}
    histories = items.list_items(services, sort.id)
    assert len({each.first.item.batch_id for each in histories}) == 1


def test_four_tabs_confirm_the_same_photos(services: Services, sort: SortInfo) -> None:
    """One of them wins each photo; three hear so."""
    photos = [take(services, sort, shade=shade).id for shade in range(10)]
    said: list[ConflictError] = []

    def work(_: int) -> None:
        for photo in photos:
            try:
                enter(services, sort, capture_id=photo)
            except ConflictError as error:
                said.append(error)

    assert _at_once(work) == []
    assert counts(services, sort) == {CARDBOARD: 10}
    assert len(said) == 30


def test_four_resends_of_the_same_items(services: Services, sort: SortInfo) -> None:
    """The same ids from four threads are the same items."""
    ids = [new_id() for _ in range(10)]

    def work(_: int) -> None:
        for item_id in ids:
            enter(services, sort, item_id=item_id)

    assert _at_once(work) == []
    assert counts(services, sort) == {CARDBOARD: 10}


def test_one_photo_sent_four_times_at_once(services: Services, sort: SortInfo) -> None:
    """One row and one file, and all get the same answer."""
    capture_id = new_id()
    seen: list[object] = []

    def work(_: int) -> None:
        seen.append(
            captures.take_photo(services, sort_id=sort.id, capture_id=capture_id, data=jpeg())
        )

    assert _at_once(work) == []
    assert seen[1:] == seen[:-1]
    assert len(list(services.photos.names())) == 1


def test_one_id_for_four_photos_at_once(services: Services, sort: SortInfo) -> None:
    """One is recorded with its own file; the other three leave nothing."""
    capture_id = new_id()

    def work(station: int) -> None:
        captures.take_photo(
            services, sort_id=sort.id, capture_id=capture_id, data=jpeg(40 + 50 * station)
        )

    errors = _at_once(work)
    assert [type(error) for error in errors] == [ConflictError] * 3
    photo = captures.get_capture(services, capture_id)
    assert list(services.photos.names()) == [photo.photo_name]


def test_equal_copies_of_two_photos_at_once(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """One id, two files that differ in their metadata only: who loses must not take the copy."""
    capture_id = new_id()
    together = threading.Barrier(2)

    def meet() -> None:
        together.wait(timeout=5)

    predictor.before = meet

    def work(station: int) -> None:
        photo = jpeg(location=bool(station))
        captures.take_photo(services, sort_id=sort.id, capture_id=capture_id, data=photo)

    errors = _at_once(work, stations=2)
    assert [type(error) for error in errors] == [ConflictError]
    assert captures.read_photo(services, capture_id)
    assert len(list(services.photos.names())) == 1


def test_two_services_on_one_store(settings: Settings, services: Services, sort: SortInfo) -> None:
    """Another process on the same files: the database's own lock does it."""
    other = build_services(settings, model=LoadedModel(FakePredictor(), model_record(), ""))
    photos = [take(services, sort, shade=shade).id for shade in range(10)]
    said: Counter[str] = Counter()

    def work(station: int) -> None:
        mine = (services, other)[station % 2]
        for photo in photos:
            enter(mine, sort, "food")
            try:
                enter(mine, sort, capture_id=photo)
            except ConflictError:
                said["conflict"] += 1

    assert _at_once(work) == []
    assert counts(services, sort) == {CARDBOARD: 10, "food": 40}
    assert said["conflict"] == 30
    other.close()


def test_the_programme_changes_between_route_and_record(
    services: Services, sort: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first item bears route, version and suggestion of the programme that the sort has."""
    photo = take(services, sort).id
    add = ItemLog.add_item

    def late(log: ItemLog, *given: Any, **named: Any) -> ItemState | None:
        monkeypatch.setattr(ItemLog, "add_item", add)
        correct_details(services, sort, programme_id="port_sable")
        return add(log, *given, **named)

    monkeypatch.setattr(ItemLog, "add_item", late)
    item_id = new_id()
    view = enter(services, sort, "food", capture_id=photo, item_id=item_id)
    port_sable = services.programme("port_sable")
    assert (view.item.route, view.item.programme_version) == ("residual", port_sable.version)
    assert view.route.route == "residual"
    assert enter(services, sort, "food", capture_id=photo, item_id=item_id) == view
    assert counts(services, sort) == {"food": 1}


def test_a_programme_corrected_beside_first_items(services: Services) -> None:
    """Whoever comes first: all routes are those of the programme that the sort is left with."""
    routes = {"alder_valley": "organics", "port_sable": "residual"}
    for _ in range(20):
        made = start(services)

        def work(station: int, made: SortInfo = made) -> None:
            if station:
                enter(services, made, "food")
                return
            with contextlib.suppress(ConflictError):
                correct_details(services, made, programme_id="port_sable")

        assert _at_once(work) == []
        route = routes[services.log.get_sort(made.id).programme_id]
        recorded = [each.first.item.route for each in items.list_items(services, made.id)]
        assert recorded == [route] * (STATIONS - 1)


def test_the_model_is_asked_by_no_more_than_allowed(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """Two at once by default; and no transaction is open while it thinks."""
    lock = threading.Lock()
    inside, most = 0, 0

    def before() -> None:
        nonlocal inside, most
        with lock:
            inside += 1
            most = max(most, inside)
        enter(services, sort)  # would wait for its own lock inside a transaction
        with lock:
            inside -= 1

    predictor.before = before

    def work(station: int) -> None:
        for n in range(5):
            take(services, sort, shade=20 * station + n)

    assert _at_once(work) == []
    assert most <= services.settings.inference_concurrency
