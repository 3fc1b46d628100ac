"""An answer was lost and the page sends again: nothing is counted twice, nothing is overwritten."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from classifier.errors import ConflictError
from classifier.log.records import SortInfo
from service.piles import usecases as piles
from service.services import Services
from service.sorting import captures, items
from service.sorts import usecases as sorts
from service.store.append import fingerprint
from tests.fakes import FakePredictor, jpeg, new_id
from tests.store.entries import CARDBOARD, correct_details, counts, enter, start, take, weigh

Send = Callable[..., Any]


def _rows(services: Services) -> dict[str, int]:
    return {table.name: len(list(table.rows)) for table in services.log.tables()}


def _senders(services: Services, sort: SortInfo) -> dict[str, tuple[Send, dict[str, Any]]]:
    """Return, for each kind of entry, how to send it and a change that makes it another entry."""
    item = enter(services, sort).item
    other = enter(services, sort, "food").item
    weighing = weigh(services, sort).weighing
    ids = {name: new_id() for name in "abcdefghij"}

    def send_sort(**given: Any) -> object:
        return start(services, **{"sort_id": ids["a"], "name": "Second", **given})

    def send_photo(**given: Any) -> object:
        sent = {"capture_id": ids["b"], "data": jpeg(90), **given}
        return captures.take_photo(services, sort_id=sort.id, **sent)

    def send_item(**given: Any) -> object:
        sent = {"item_id": ids["c"], "category": CARDBOARD, "count": 2, **given}
        return items.confirm(services, sort_id=sort.id, **sent).item

    def send_correction(**given: Any) -> object:
        sent = {"change_id": ids["d"], "category": "food", "count": 3, **given}
        return items.correct(services, item_id=item.id, **sent).item

    def send_undo(**given: Any) -> object:
        sent = {"change_id": ids["e"], "reason": "dropped", **given}
        return items.undo(services, item_id=other.id, **sent).item

    def send_batch(**given: Any) -> object:
        sent = {"batch_id": ids["f"], "category": CARDBOARD, "label": "bag 2", **given}
        return piles.start_batch(services, sort_id=sort.id, **sent)

    def send_weighing(**given: Any) -> object:
        return weigh(services, sort, **{"weighing_id": ids["g"], **given}).weighing

    def send_void(**given: Any) -> object:
        sent = {"void_id": ids["h"], "reason": "wrong bucket", **given}
        return piles.void_weighing(services, weighing_id=weighing.id, **sent)

    def send_tare(**given: Any) -> object:
        sent = {"name": "Bucket", "weight": "0.80", "unit": "kg", "resolution": "0.01", **given}
        return piles.add_tare(services, tare_id=ids["i"], **sent)

    def send_details(**given: Any) -> object:
        return correct_details(services, sort, **{"correction_id": ids["j"], "days": 14, **given})

    return {
        "details": (send_details, {"days": 15}),
        "sort": (send_sort, {"name": "Third"}),
        "photo": (send_photo, {"data": jpeg(200)}),
        "item": (send_item, {"count": 3}),
        "correction": (send_correction, {"count": 4}),
        "undo": (send_undo, {"reason": "another"}),
        "batch": (send_batch, {"label": "bag 3"}),
        "weighing": (send_weighing, {"gross": "1.26"}),
        "void": (send_void, {"reason": "another"}),
        "tare": (send_tare, {"weight": "0.81"}),
    }


KINDS = (
    "details",
    "sort",
    "photo",
    "item",
    "correction",
    "undo",
    "batch",
    "weighing",
    "void",
    "tare",
)
SAY_THE_STATE = ("sort", "details", "tare")
"""Those whose answer tells of the closing, or that are of no sort."""


@pytest.mark.parametrize("kind", KINDS)
def test_a_resend_returns_the_first_answer(services: Services, sort: SortInfo, kind: str) -> None:
    """Same id, same content: same answer, no row more."""
    send, _ = _senders(services, sort)[kind]
    first = send()
    before = _rows(services)
    assert send() == first
    assert _rows(services) == before


@pytest.mark.parametrize("kind", KINDS)
def test_another_entry_under_the_same_id_is_refused(
    services: Services, sort: SortInfo, kind: str
) -> None:
    """Same id, other content: said, and nothing changes."""
    send, change = _senders(services, sort)[kind]
    _refused(services, send, change)


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        *(("sort", {name: "x"}) for name in ("place", "stratum")),
        *(("sort", {name: 9}) for name in ("days", "persons")),
        *(("item", {name: "x"}) for name in ("note", "sorter")),
        *(("details", {name: "x"}) for name in ("name", "place", "stratum", "reason")),
        *(("details", {name: value}) for name, value in (("persons", 3), ("days", 15))),
        ("details", {"sorted_on": date(2026, 5, 2)}),
        ("item", {"category": "food"}),
        ("item", {"facts": {"empty": "yes"}}),
        ("correction", {"category": "garden"}),
        ("correction", {"facts": {"empty": "yes"}}),
        *(("weighing", {name: "x"}) for name in ("note", "sorter")),
        ("weighing", {"category": "food"}),
        ("weighing", {"contents_left": True}),
        ("weighing", {"tare": "0.26"}),
        ("weighing", {"resolution": "0.05"}),
        ("weighing", {"load": "further"}),
        ("batch", {"category": "food"}),
    ],
)
def test_whatever_differs_makes_another_entry(
    services: Services, sort: SortInfo, kind: str, change: dict[str, Any]
) -> None:
    send, _ = _senders(services, sort)[kind]
    _refused(services, send, change)


def test_a_further_load_sent_twice_is_one(services: Services, sort: SortInfo) -> None:
    """Though it would be the third by then, and the first is no longer the only one."""
    first, further = ({"weighing_id": new_id(), "load": load} for load in ("only", "further"))
    for _ in range(2):
        assert weigh(services, sort, **first).weighing.load == 1
        assert weigh(services, sort, **further).weighing.load == 2


def test_a_weighing_sent_before_there_were_loads_is_known(
    services: Services, sort: SortInfo
) -> None:
    """Its digest is that of what was sent then."""
    weighing = weigh(services, sort).weighing
    sent = {
        "id": weighing.id, "batch_id": None, "method": "container", "gross": "1.25",
        "tare": "0.25", "unit": "kg", "resolution": "0.01", "tare_resolution": "None",
        "capacity": "None", "contents_left": "False", "note": "", "sorter": "",
        "tare_unit": "None", "sort_id": sort.id, "category": CARDBOARD,
    }  # fmt: skip
    (table,) = (each for each in services.log.tables() if each.name == "weighings")
    (row,) = table.rows
    assert row[table.columns.index("fingerprint")] == fingerprint(sent)


def _refused(services: Services, send: Send, change: dict[str, Any]) -> None:
    first = send()
    before = _rows(services)
    with pytest.raises(ConflictError, match="already recorded with other content"):
        send(**change)
    assert _rows(services) == before
    assert send() == first


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in SAY_THE_STATE])
def test_a_closed_sort_still_answers_a_resend(
    services: Services, sort: SortInfo, kind: str
) -> None:
    """The entry got in before the closing; only its answer was lost."""
    send, _ = _senders(services, sort)[kind]
    first = send()
    sorts.close_sort(services, sort.id, event_id=new_id())
    assert send() == first


def test_closing_twice_with_one_id_is_one_closing(services: Services, sort: SortInfo) -> None:
    """And the id of a closing can't reopen."""
    event = new_id()
    assert sorts.close_sort(services, sort.id, event_id=event).closed
    assert sorts.close_sort(services, sort.id, event_id=event).closed
    with pytest.raises(ConflictError, match="already recorded"):
        sorts.reopen_sort(services, sort.id, event_id=event)
    assert not sorts.reopen_sort(services, sort.id, event_id=new_id()).closed
    # The first closing's resend arrives late: the sort stays open.
    assert not sorts.close_sort(services, sort.id, event_id=event).closed


def test_an_id_in_capitals_is_the_same_id(services: Services, sort: SortInfo) -> None:
    """UUIDs are written both ways."""
    first = enter(services, sort).item
    assert enter(services, sort, item_id=first.id.upper()).item == first


def test_an_item_id_is_not_free_in_another_sort(services: Services, sort: SortInfo) -> None:
    """An id names one thing in the whole log."""
    other = sorts.create_sort(
        services,
        sort_id=new_id(),
        name="Other",
        sorted_on=date(2026, 5, 2),
        days=1,
        persons=1,
        programme_id="alder_valley",
    )
    first = enter(services, sort).item
    with pytest.raises(ConflictError):
        enter(services, other, item_id=first.id)
    assert counts(services, other) == {}


def test_a_resent_photo_does_not_bother_the_model(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """The first answer is read back, also after the model was replaced."""
    taken = captures.take_photo(services, sort_id=sort.id, capture_id=new_id(), data=jpeg())
    predictor.forms = (("food", 1.0),)
    again = captures.take_photo(services, sort_id=sort.id, capture_id=taken.id, data=jpeg())
    assert again == taken
    assert predictor.seen == 1


def test_a_fact_told_twice_is_one_answer(services: Services, sort: SortInfo) -> None:
    """It needs no id: the same answer says nothing new."""
    photo = take(services, sort)
    first = captures.answer_fact(services, capture_id=photo.id, fact="empty", answer="yes")
    before = _rows(services)
    assert captures.answer_fact(services, capture_id=photo.id, fact="empty", answer="yes") == first
    assert _rows(services) == before
