"""What the log allows, what it refuses, and what it remembers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest

from classifier.errors import (
    ClosedSortError,
    ConflictError,
    InvalidEntryError,
    InvalidQuantityError,
    UnknownIdError,
)
from classifier.log.records import SortInfo
from classifier.report.as_json import report_json
from service.guide import usecases as guide
from service.keeping import usecases as keeping
from service.piles import usecases as piles
from service.reports import usecases as reports
from service.services import Services
from service.sorting import captures, items
from service.sorts import usecases as sorts
from tests.fakes import FakeClock, FakePredictor, jpeg, new_id
from tests.store.entries import CARDBOARD, confirmed_item, counts, enter, start, take, weigh


def test_two_tabs_confirm_one_photo(services: Services, sort: SortInfo) -> None:
    """The second hears what the first recorded, and counts nothing."""
    photo = take(services, sort)
    first = enter(services, sort, capture_id=photo.id, count=2, sorter="Ada").item
    with pytest.raises(
        ConflictError, match="confirmed by Ada as corrugated_cardboard, count 2"
    ) as e:
        enter(services, sort, "food", capture_id=photo.id, sorter="Ben")
    assert e.value.details["item"] == first.id
    assert counts(services, sort) == {CARDBOARD: 2}
    assert confirmed_item(services, photo.id) == first


def test_the_second_tab_hears_of_a_correction_too(services: Services, sort: SortInfo) -> None:
    """It names the label that stands, not the one that was corrected."""
    photo = take(services, sort)
    item = enter(services, sort, capture_id=photo.id).item
    items.correct(services, item_id=item.id, change_id=new_id(), category="food", count=4)
    with pytest.raises(ConflictError, match="as food, count 4"):
        enter(services, sort, capture_id=photo.id)


def test_an_undone_photo_can_be_confirmed_anew(services: Services, sort: SortInfo) -> None:
    """Undo, choose again: one item counts, both stay in the history."""
    photo = take(services, sort)
    first = enter(services, sort, capture_id=photo.id).item
    undone = items.undo(services, item_id=first.id, change_id=new_id(), reason="slip")
    assert undone.current.voided
    assert captures.get_capture(services, photo.id).confirmed is None
    second = enter(services, sort, "food", capture_id=photo.id).item
    assert counts(services, sort) == {"food": 1}
    found = confirmed_item(services, photo.id)
    assert found == second
    history = items.list_items(services, sort.id)
    assert [(each.first.item.category, each.current.voided) for each in history] == [
        ("food", False),
        (CARDBOARD, True),
    ]
    with pytest.raises(ConflictError):
        enter(services, sort, capture_id=photo.id)


def test_a_correction_keeps_the_first_label(services: Services, sort: SortInfo) -> None:
    """Both are seen in the history; the route follows the new label."""
    item = enter(services, sort, count=2).item
    view = items.correct(
        services,
        item_id=item.id,
        change_id=new_id(),
        category="food",
        count=5,
        reason="looked closer",
        sorter="Ben",
    )
    assert (view.item.category, view.item.count) == ("food", 5)
    assert view.item.route != item.route
    assert view.tally.objects == 5
    history = items.history_of(services, services.log.get_item(item.id))
    assert (history.first.item.category, history.first.item.count) == (CARDBOARD, 2)
    assert [(each.category, each.reason) for each in history.changes] == [("food", "looked closer")]
    assert history.current.corrected
    assert not history.first.corrected


def test_an_undone_item_shows_its_last_label(services: Services, sort: SortInfo) -> None:
    """Struck out, not rewritten."""
    item = enter(services, sort).item
    items.correct(services, item_id=item.id, change_id=new_id(), category="food", count=3)
    current = items.undo(services, item_id=item.id, change_id=new_id()).current
    assert (current.item.category, current.item.count) == ("food", 3)
    assert current.voided
    assert current.corrected


def test_an_undone_item_is_left_alone(services: Services, sort: SortInfo) -> None:
    """It can be neither corrected nor undone again."""
    item = enter(services, sort).item
    items.undo(services, item_id=item.id, change_id=new_id())
    with pytest.raises(ConflictError, match="undone already"):
        items.undo(services, item_id=item.id, change_id=new_id())
    with pytest.raises(ConflictError, match="undone already"):
        items.correct(services, item_id=item.id, change_id=new_id(), category="food", count=1)


def test_a_closed_sort_takes_nothing(services: Services, sort: SortInfo) -> None:
    """Everything is refused with what to do, until it is reopened; photos leave no file."""
    photo = take(services, sort)
    item = enter(services, sort).item
    weighing = weigh(services, sort).weighing
    sorts.close_sort(services, sort.id, event_id=new_id())
    files = sorted(services.photos.names())
    attempts: list[Callable[[], object]] = [
        lambda: take(services, sort),
        lambda: enter(services, sort),
        lambda: captures.answer_fact(services, capture_id=photo.id, fact="empty", answer="yes"),
        lambda: items.undo(services, item_id=item.id, change_id=new_id()),
        lambda: items.correct(
            services, item_id=item.id, change_id=new_id(), category="food", count=1
        ),
        lambda: piles.start_batch(services, sort_id=sort.id, batch_id=new_id(), category=CARDBOARD),
        lambda: weigh(services, sort),
        lambda: piles.void_weighing(
            services, weighing_id=weighing.id, void_id=new_id(), reason="wrong"
        ),
    ]
    for attempt in attempts:
        with pytest.raises(ClosedSortError, match="reopen it"):
            attempt()
    assert sorted(services.photos.names()) == files
    with pytest.raises(ConflictError, match="closed already"):
        sorts.close_sort(services, sort.id, event_id=new_id())
    sorts.reopen_sort(services, sort.id, event_id=new_id())
    del attempts[4]  # the item is undone by the one before
    for attempt in attempts:
        attempt()
    with pytest.raises(ConflictError, match="open already"):
        sorts.reopen_sort(services, sort.id, event_id=new_id())


def test_a_sort_closed_while_the_model_looks_keeps_no_photo(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """The photo's file is taken away again: nothing names it."""

    def close_meanwhile() -> None:
        sorts.close_sort(services, sort.id, event_id=new_id())

    predictor.before = close_meanwhile
    with pytest.raises(ClosedSortError):
        take(services, sort)
    assert list(services.photos.names()) == []


def test_a_clock_that_stands_still_changes_no_order(
    services: Services, sort: SortInfo, clock: FakeClock
) -> None:
    """Nor do ids decide, which sort the other way round here."""
    clock.step = timedelta(0)
    item = enter(services, sort).item
    for count, digit in ((2, "f"), (3, "0")):
        items.correct(
            services, item_id=item.id, change_id=digit + new_id()[1:], category="food", count=count
        )
    assert items.history_of(services, services.log.get_item(item.id)).current.item.count == 3
    assert counts(services, sort) == {"food": 3}


def test_a_clock_that_steps_back_changes_no_order(
    services: Services, sort: SortInfo, clock: FakeClock
) -> None:
    """The last correction counts, though its clock says that it was the first."""
    item = enter(services, sort).item
    for category in ("food", "garden"):
        clock.now -= timedelta(days=1)
        items.correct(services, item_id=item.id, change_id=new_id(), category=category, count=1)
    clock.now -= timedelta(days=1)
    enter(services, sort, "tissue")
    assert counts(services, sort) == {"garden": 1, "tissue": 1}
    newest_first = [each.current.item.category for each in items.list_items(services, sort.id)]
    assert newest_first == ["tissue", "garden"]


def test_items_go_into_the_newest_batch(services: Services, sort: SortInfo) -> None:
    """Those counted into the first bag stay there when a second is started."""
    enter(services, sort, count=3)
    piles.start_batch(
        services, sort_id=sort.id, batch_id=new_id(), category=CARDBOARD, label="bag 2"
    )
    enter(services, sort, count=4)
    weigh(services, sort)
    (pile,) = piles.piles(services, sort.id).piles
    assert [(line.total.batch.label, line.total.count) for line in pile.batches] == [
        ("", 3),
        ("bag 2", 4),
    ]
    assert [len(line.weighings) for line in pile.batches] == [0, 1]
    assert pile.mass is not None
    assert pile.mass.value_g == Decimal(1000)


def test_a_corrected_item_leaves_its_pile(services: Services, sort: SortInfo) -> None:
    """It stands in a batch of its new category; an emptied one is no line of the report."""
    item = enter(services, sort).item
    items.correct(services, item_id=item.id, change_id=new_id(), category="food", count=1)
    by_category = {pile.category: pile for pile in piles.piles(services, sort.id).piles}
    assert by_category["food"].batches[0].total.count == 1
    assert by_category[CARDBOARD].batches[0].total.count == 0
    made = reports.report(services, sort.id)
    assert [line.category for line in made.categories] == ["food"]


def test_a_batch_holds_one_category_of_one_sort(services: Services, sort: SortInfo) -> None:
    """Neither an item nor a weighing of another may name it."""
    batch = piles.start_batch(services, sort_id=sort.id, batch_id=new_id(), category=CARDBOARD)
    with pytest.raises(ConflictError, match="holds corrugated_cardboard, not food"):
        enter(services, sort, "food", batch_id=batch.id)
    with pytest.raises(ConflictError, match="holds corrugated_cardboard, not food"):
        weigh(services, sort, "food", batch_id=batch.id)
    other = start(services)
    for act in (enter, weigh):
        with pytest.raises(ConflictError, match="not corrugated_cardboard of this sort"):
            act(services, other, CARDBOARD, batch_id=batch.id)
    assert enter(services, sort, batch_id=batch.id).item.batch_id == batch.id
    assert weigh(services, sort, None, batch_id=batch.id).weighing.batch_id == batch.id


def test_a_voided_weighing_stays_in_sight(services: Services, sort: SortInfo) -> None:
    """Out of the mean, in the list with its reason; a second void is refused."""
    wrong = weigh(services, sort, gross="9.25").weighing
    weigh(services, sort)
    piles.void_weighing(services, weighing_id=wrong.id, void_id=new_id(), reason="wrong bag")
    (pile,) = piles.piles(services, sort.id).piles
    lines = pile.batches[0].weighings
    assert [line.void.reason if line.void else None for line in lines] == ["wrong bag", None]
    assert pile.mass is not None
    assert pile.mass.value_g == Decimal(1000)
    with pytest.raises(ConflictError, match="taken back already"):
        piles.void_weighing(services, weighing_id=wrong.id, void_id=new_id(), reason="again")
    with pytest.raises(InvalidEntryError, match="reason is empty"):
        piles.void_weighing(services, weighing_id=wrong.id, void_id=new_id(), reason=" ")


def test_loads_of_a_pile_are_added(services: Services, sort: SortInfo) -> None:
    """By their number, or as the next one; one taken back is weighed again under its number."""

    def net() -> Decimal:
        (pile,) = piles.piles(services, sort.id).piles
        assert pile.mass is not None
        return pile.mass.value_g

    weigh(services, sort, gross="2.25", load="only")
    second = weigh(services, sort, load="further").weighing
    assert (second.load, net()) == (2, Decimal(3000))
    assert weigh(services, sort, gross="1.27", load=2).weighing.load == 2
    assert net() == Decimal(3010)
    assert weigh(services, sort, gross="0.75", load=3).weighing.load == 3
    assert net() == Decimal(3510)
    grams = keeping.sort_totals(services.log, sort.id).grams
    assert grams == Decimal(3510)
    piles.void_weighing(services, weighing_id=second.id, void_id=new_id(), reason="wrong bag")
    assert net() == Decimal(3520)
    report = report_json(reports.report(services, sort.id))
    assert report["corrections"]["voided_weighings"][0]["load"] == 2


def test_a_load_that_can_not_be_is_refused(services: Services, sort: SortInfo) -> None:
    """Nothing is recorded: no gap, none without a word where one stands, no more than 99."""
    with pytest.raises(ConflictError, match="load 2 of this pile can't be weighed before load 1"):
        weigh(services, sort, load=2)
    for load in (0, 100):
        with pytest.raises(InvalidQuantityError, match=f"load {load} is out of range"):
            weigh(services, sort, load=load)
    first = weigh(services, sort).weighing
    with pytest.raises(ConflictError, match="this pile is weighed already: say whether"):
        weigh(services, sort, load="only")
    with pytest.raises(ConflictError, match="before load 2: send that one"):
        weigh(services, sort, load=3)
    piles.void_weighing(services, weighing_id=first.id, void_id=new_id(), reason="wrong bag")
    assert weigh(services, sort, load="further").weighing.load == 1
    for number in range(2, 100):
        assert weigh(services, sort, load="further").weighing.load == number
    with pytest.raises(ConflictError, match="has 99 loads, the most"):
        weigh(services, sort, load="further")
    (pile,) = piles.piles(services, sort.id).piles
    assert len(pile.batches[0].weighings) == 100


def test_readings_are_kept_as_read(services: Services, sort: SortInfo) -> None:
    """1.20 stays 1.20, and a comma is a decimal mark."""
    line = weigh(services, sort, gross="1,20", tare="0.250", tare_resolution="0.005")
    assert str(line.weighing.gross) == "1.20"
    assert str(line.weighing.tare) == "0.250"
    tare = piles.add_tare(
        services, tare_id=new_id(), name="Tub", weight="80", unit="g", resolution="5"
    )
    assert services.log.list_tares() == (tare,)


def test_facts_told_about_a_photo_reach_its_item(services: Services, sort: SortInfo) -> None:
    """ "Not sure" is no fact; what the confirmation says wins."""
    photo = take(services, sort)
    for fact, answer in (("empty", "yes"), ("clean", "not_sure"), ("magnetic", "no")):
        captures.answer_fact(services, capture_id=photo.id, fact=fact, answer=answer)
    item = enter(services, sort, capture_id=photo.id, facts={"magnetic": "yes"}).item
    assert item.facts == {"empty": "yes", "magnetic": "yes"}
    assert item.suggested == CARDBOARD
    assert item.model_version == "fake 1.0.0"
    with pytest.raises(ConflictError, match="already confirmed as corrugated_cardboard"):
        captures.answer_fact(services, capture_id=photo.id, fact="empty", answer="no")


def test_an_old_photo_reads_the_same_under_a_new_model(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """The forms and the bundle's own map of that time are in the log."""
    photo = take(services, sort)
    predictor.forms = (("new_form", 1.0),)
    assert captures.get_capture(services, photo.id) == photo


def test_unconfirmed_photos_are_found_again(services: Services, sort: SortInfo) -> None:
    """After a reload the page shows what still waits, the newest first."""
    first, second, third = (take(services, sort, shade=shade) for shade in (10, 20, 30))
    enter(services, sort, capture_id=second.id)
    waiting = captures.open_captures(services, sort.id)
    assert [each.id for each in waiting] == [third.id, first.id]


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"category": "no_such"}, UnknownIdError, "no category"),
        ({"facts": {"no_such": "yes"}}, UnknownIdError, "no fact"),
        ({"facts": {"empty": "perhaps"}}, UnknownIdError, "no answer"),
        ({"count": 0}, InvalidQuantityError, "count 0"),
        ({"count": 1_000_000}, InvalidQuantityError, "count"),
        ({"count": "two"}, InvalidQuantityError, "whole number"),
        ({"item_id": "1"}, InvalidEntryError, "item_id '1' is no UUID"),
        ({"item_id": "{7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11}"}, InvalidEntryError, "no UUID"),
        ({"capture_id": "../../etc/passwd"}, InvalidEntryError, "no UUID"),
        ({"capture_id": new_id()}, UnknownIdError, "no photo"),
        ({"batch_id": new_id()}, UnknownIdError, "no batch"),
        ({"note": "n" * 1001}, InvalidEntryError, "shorten it to 1000"),
        ({"note": "a\x00b"}, InvalidEntryError, "can't be shown"),
        ({"note": "\ud800"}, InvalidEntryError, "can't be shown"),
        ({"sorter": "s" * 81}, InvalidEntryError, "shorten it to 80"),
    ],
)
def test_a_bad_item_is_refused(
    services: Services,
    sort: SortInfo,
    given: dict[str, object],
    error: type[Exception],
    said: str,
) -> None:
    """Nothing of it is recorded."""
    with pytest.raises(error, match=said):
        enter(services, sort, **{"category": CARDBOARD, **given})  # type: ignore[arg-type]
    assert items.list_items(services, sort.id) == ()


def test_unknown_ids_are_told(services: Services, sort: SortInfo) -> None:
    """Each says of what kind it is."""
    missing = new_id()
    with pytest.raises(UnknownIdError, match="no sort"):
        services.log.get_sort(missing)
    with pytest.raises(UnknownIdError, match="no photo"):
        captures.get_capture(services, missing)
    with pytest.raises(UnknownIdError, match="no item"):
        items.undo(services, item_id=missing, change_id=new_id())
    with pytest.raises(UnknownIdError, match="no weighing"):
        piles.void_weighing(services, weighing_id=missing, void_id=new_id(), reason="x")
    with pytest.raises(UnknownIdError, match="no batch"):
        weigh(services, sort, None, batch_id=missing)
    with pytest.raises(InvalidEntryError, match="neither a batch nor a category"):
        weigh(services, sort, None)
    with pytest.raises(InvalidEntryError, match="method 'guess'"):
        weigh(services, sort, method="guess")
    with pytest.raises(UnknownIdError, match="no sort"):
        captures.take_photo(services, sort_id=missing, capture_id=new_id(), data=jpeg())


def test_a_photo_of_another_sort_is_refused(services: Services, sort: SortInfo) -> None:
    """An item and its photo belong together."""
    photo = take(services, sort)
    other = sorts.create_sort(
        services,
        sort_id=new_id(),
        name="Other",
        sorted_on=sort.sorted_on,
        days=1,
        persons=1,
        programme_id="port_sable",
    )
    with pytest.raises(ConflictError, match="another sort"):
        enter(services, other, capture_id=photo.id)


def test_sorts_are_listed_newest_first(services: Services, sort: SortInfo) -> None:
    """With their state, and no more than asked for."""
    newer = sorts.create_sort(
        services,
        sort_id=new_id(),
        name="Newer",
        sorted_on=sort.sorted_on,
        days=1,
        persons=1,
        programme_id="port_sable",
        sorters=("Ada", " Ada ", ""),
    )
    assert newer.sorters == ("Ada",)
    sorts.close_sort(services, sort.id, event_id=new_id())
    assert [(each.name, each.closed) for each in services.log.list_sorts()] == [
        ("Newer", False),
        ("Kitchen bag", True),
    ]
    assert services.log.list_sorts(limit=1) == (newer,)
    assert [each.id for each in guide.list_programmes(services)] == ["alder_valley", "port_sable"]


def test_a_past_report_can_be_made_again(services: Services, sort: SortInfo) -> None:
    """The same rows give the same report, also through a closing and a reopening."""
    enter(services, sort, count=3)
    weigh(services, sort)
    before = report_json(reports.report(services, sort.id))
    sorts.close_sort(services, sort.id, event_id=new_id())
    sorts.reopen_sort(services, sort.id, event_id=new_id())
    assert report_json(reports.report(services, sort.id)) == before
