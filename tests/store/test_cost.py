"""What a request costs grows with its sort, not with the store."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import event

from classifier.log.quantities import sum_masses
from classifier.log.records import SortInfo
from service.piles import usecases as piles
from service.reports import usecases as reports
from service.services import Services
from service.sorting import captures, items
from service.sorts import usecases as sorts
from tests.fakes import jpeg, new_id
from tests.store.entries import CARDBOARD, counts, enter, start, take, weigh

Work = Callable[[Services, SortInfo], object]

REQUESTS: dict[str, Work] = {
    "photo": lambda services, sort: take(services, sort),
    "confirm": lambda services, sort: enter(services, sort, capture_id=take(services, sort).id),
    "fact": lambda services, sort: captures.answer_fact(
        services, capture_id=take(services, sort).id, fact="empty", answer="yes"
    ),
    "correct": lambda services, sort: items.correct(
        services,
        item_id=enter(services, sort).item.id,
        change_id=new_id(),
        category="food",
        count=1,
    ),
    "undo": lambda services, sort: items.undo(
        services, item_id=enter(services, sort).item.id, change_id=new_id()
    ),
    "weigh and void": lambda services, sort: piles.void_weighing(
        services, weighing_id=weigh(services, sort).weighing.id, void_id=new_id(), reason="x"
    ),
    "tally": lambda services, sort: items.tally(services, sort.id),
    "history": lambda services, sort: items.list_items(services, sort.id),
    "open photos": lambda services, sort: captures.open_captures(services, sort.id),
    "piles": lambda services, sort: piles.piles(services, sort.id),
    "report": lambda services, sort: reports.report(services, sort.id),
    "close": lambda services, sort: sorts.close_sort(services, sort.id, event_id=new_id()),
    "counts of a few sorts": lambda services, sort: services.log.objects_counted([sort]),
    "masses of a few sorts": lambda services, sort: sorts.masses_weighed(services, [sort]),
    "which bundle": lambda services, _sort: services.log.promoted_bundle(),
}


@pytest.mark.sqlite_only
@pytest.mark.parametrize("request_name", REQUESTS)
def test_no_query_reads_a_whole_table(
    services: Services, sort: SortInfo, request_name: str
) -> None:
    """SQLite's plan of every statement: it searches by an index, it scans nothing that grows."""
    seen: list[tuple[str, Any]] = []
    engine = services.log._database.engine

    def note(_c: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        if statement.startswith("SELECT"):
            seen.append((statement, parameters))

    event.listen(engine, "before_cursor_execute", note)
    REQUESTS[request_name](services, sort)
    event.remove(engine, "before_cursor_execute", note)
    assert seen
    raw = engine.raw_connection()
    try:
        for statement, parameters in seen:
            plan = raw.cursor().execute(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()
            scans = [line[3] for line in plan if re.match(r"SCAN (?!tares|CONSTANT)", line[3])]
            assert scans == [], statement
    finally:
        raw.close()


def test_the_counts_of_a_list_are_those_of_the_fold(services: Services, sort: SortInfo) -> None:
    """Corrected twice, undone, untouched; and a sort without anything."""
    empty = start(services)
    first = enter(services, sort, count=2).item
    second = enter(services, sort, count=3).item
    enter(services, sort, "food", count=4)
    for count in (7, 5):
        items.correct(
            services, item_id=first.id, change_id=new_id(), category=CARDBOARD, count=count
        )
    items.undo(services, item_id=second.id, change_id=new_id())
    found = services.log.objects_counted([sort, empty])
    assert found == {sort.id: sum(counts(services, sort).values()), empty.id: 0}
    assert found[sort.id] == 9
    assert services.log.objects_counted([]) == {}


def test_the_masses_of_a_list_are_those_of_the_piles(services: Services, sort: SortInfo) -> None:
    """Weighed twice, taken back, in two categories; and a sort that nothing was weighed in."""
    empty = start(services)
    enter(services, sort)
    weigh(services, sort)
    weigh(services, sort, gross="1.35")
    weigh(services, sort, "food")
    taken_back = weigh(services, sort, "textiles").weighing
    piles.void_weighing(services, weighing_id=taken_back.id, void_id=new_id(), reason="x")
    found = sorts.masses_weighed(services, [empty, sort])
    shown = [each.mass for each in piles.piles(services, sort.id).piles if each.mass is not None]
    assert len(shown) == 2
    assert found == {empty.id: None, sort.id: sum_masses(shown)}
    assert sorts.masses_weighed(services, []) == {}


def test_a_photo_takes_little_room(services: Services, sort: SortInfo) -> None:
    """The copy in the log is small, however large the photo was; a sort may keep a larger one."""
    from_phone = jpeg(size=(3000, 2000))
    small = captures.read_photo(services, take(services, sort, data=from_phone).id)
    keeping = start(services, keeps_photos=True)
    larger = captures.read_photo(services, take(services, keeping, data=from_phone).id)
    assert len(small) < len(larger) < 50_000
