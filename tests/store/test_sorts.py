"""Starting a sort and correcting its details: what they need and what they refuse."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from classifier.errors import (
    ClosedSortError,
    ConflictError,
    InvalidEntryError,
    InvalidQuantityError,
    UnknownIdError,
)
from classifier.log.records import DetailChange, SortInfo
from service.reports import usecases as reports
from service.services import Services
from service.sorting import items
from service.sorts import studies
from service.sorts.usecases import close_sort
from service.store.example_rows import Wanted
from tests.fakes import new_id
from tests.store.entries import correct_details, enter, start, take, weigh


def test_a_sort_is_read_back_as_it_was_started(services: Services) -> None:
    """Texts without the spaces around them, numbers as numbers."""
    made = start(services, name="  Bag é ", days="14", persons="3", keeps_photos=True)
    assert (made.name, made.days, made.persons, made.keeps_photos) == ("Bag é", 14, 3, True)
    assert services.log.get_sort(made.id) == made
    assert services.log.get_sort(made.id.upper()) == made
    assert made.created_at.utcoffset() is not None


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"name": " "}, InvalidEntryError, "name is empty"),
        ({"name": "n" * 121}, InvalidEntryError, "shorten it to 120"),
        ({"days": 0}, InvalidQuantityError, "days"),
        ({"days": "a week"}, InvalidQuantityError, "days"),
        ({"persons": 0}, InvalidQuantityError, "persons"),
        ({"programme_id": "nowhere"}, UnknownIdError, "alder_valley, port_sable"),
        ({"sort_id": "my-sort"}, InvalidEntryError, "no UUID"),
        ({"sorters": [f"s{n}" for n in range(51)]}, InvalidEntryError, "at most 50"),
    ],
)
def test_a_bad_sort_is_refused(
    services: Services, given: dict[str, Any], error: type[Exception], said: str
) -> None:
    """With what is allowed."""
    with pytest.raises(error, match=said):
        start(services, **given)


CORRECTED = {
    "name": "Hall bag",
    "place": "Flat 9",
    "stratum": "flats",
    "sorted_on": date(2026, 4, 30),
    "days": 14,
    "persons": 5,
    "programme_id": "port_sable",
}


def test_corrected_details_count_wherever_a_sort_is_read(services: Services) -> None:
    """One sort, the list, a study and its totals; all else of the sort stays as it was."""
    made = start(services, sorters=("Ada",), keeps_photos=True)
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    studies.place_sort(services, sort_id=made.id, study_id=study.id, change_id=new_id())
    wanted = replace(made, **CORRECTED)  # type: ignore[arg-type]
    assert correct_details(services, made, **CORRECTED) == wanted
    assert services.log.get_sort(made.id) == wanted
    assert services.log.list_sorts() == (wanted,)
    assert studies.get_study(services, study.id).sorts == (wanted,)
    assert services.log.sort_totals([made.id]).sorts == (wanted,)
    assert services.log.sort_rows(made.id).sort == wanted


def test_the_last_correction_counts_and_leaves_the_rest(services: Services) -> None:
    """Two devices that correct different details do not undo one another."""
    made = start(services)
    correct_details(services, made, days=14)
    correct_details(services, made, persons=5)
    assert correct_details(services, made, days=21) == replace(made, days=21, persons=5)
    assert correct_details(services, made, place=" Flat 9 ").place == "Flat 9"
    assert correct_details(services, made, place="").place == ""
    other = start(services, name="Other")
    assert services.log.get_sort(other.id) == other


def test_the_report_is_worked_out_anew_and_tells_what_was_corrected(
    services: Services, sort: SortInfo
) -> None:
    """From what to what, when and why, in order; the rate per person is that of the new days."""
    weigh(services, sort)
    before = reports.report(services, sort.id).rate.kg.value
    correct_details(services, sort, days=sort.days * 2, reason="two weeks")
    correct_details(services, sort, days=sort.days * 2, name="Hall bag")
    report = reports.report(services, sort.id)
    assert report.rate.kg.value * 2 == before
    first, second = report.corrections.sort_details
    assert first.changes == (DetailChange("days", sort.days, sort.days * 2),)
    assert second.changes == (DetailChange("name", sort.name, "Hall bag"),)
    assert (first.reason, first.at <= second.at) == ("two weeks", True)


def test_examples_bear_the_corrected_name_of_their_sort(services: Services) -> None:
    """In the list of sorts and at each photo."""
    made = start(services, keeps_photos=True)
    enter(services, made, capture_id=take(services, made).id)
    correct_details(services, made, name="Hall bag")
    log = services.log
    assert log.example_sorts() == log.photo_sorts() == ((made.id, "Hall bag"),)
    (example,) = log.examples(Wanted())
    assert example.sort_name == "Hall bag"


def test_the_programme_stays_once_its_routes_are_recorded(services: Services) -> None:
    """An undone item holds a route too; before the first one the programme can change."""
    made = start(services)
    assert not services.log.has_items(made.id)
    correct_details(services, made, programme_id="port_sable")
    item = enter(services, made, "food").item
    items.undo(services, item_id=item.id, change_id=new_id())
    assert services.log.has_items(made.id)
    with pytest.raises(ConflictError, match="routes of port_sable"):
        correct_details(services, made, programme_id="alder_valley", days=9)
    assert services.log.get_sort(made.id).days == made.days
    assert correct_details(services, made, programme_id="port_sable", days=9).days == 9


def test_a_closed_sort_is_not_corrected(services: Services, sort: SortInfo) -> None:
    """It has to be reopened; a resend of what was recorded before is answered."""
    sent = {"correction_id": new_id(), "days": 14}
    correct_details(services, sort, **sent)
    close_sort(services, sort.id, event_id=new_id())
    assert correct_details(services, sort, **sent).days == 14
    with pytest.raises(ClosedSortError, match="reopen it"):
        correct_details(services, sort, days=21)


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"name": " "}, InvalidEntryError, "name is empty"),
        ({"place": "n" * 121}, InvalidEntryError, "shorten it to 120"),
        ({"days": 0}, InvalidQuantityError, "days"),
        ({"persons": "many"}, InvalidQuantityError, "persons"),
        ({"programme_id": "nowhere"}, UnknownIdError, "alder_valley, port_sable"),
        ({"correction_id": "mine"}, InvalidEntryError, "no UUID"),
        ({"reason": "n" * 1001}, InvalidEntryError, "shorten it to 1000"),
    ],
)
def test_a_bad_correction_is_refused(
    services: Services, sort: SortInfo, given: dict[str, Any], error: type[Exception], said: str
) -> None:
    """As at the start, and nothing changes."""
    with pytest.raises(error, match=said):
        correct_details(services, sort, **given)
    assert services.log.get_sort(sort.id) == sort


def test_a_sort_that_is_not_there_is_not_corrected(services: Services, sort: SortInfo) -> None:
    with pytest.raises(UnknownIdError, match="there is no sort"):
        correct_details(services, replace(sort, id=new_id()), days=14)
