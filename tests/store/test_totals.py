"""Sums that the database works out equal the fold over single rows, on random logs."""

from __future__ import annotations

import uuid
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from sqlalchemy import insert

from classifier.log.ledger import Ledger
from classifier.log.quantities import Unit
from classifier.log.records import SortInfo
from classifier.report.allocation import allocate
from classifier.report.categories import Names, category_lines
from classifier.report.routes import weighed_piles
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.programme_rules import UNDECIDED
from classifier.study.table import StudyTable, study_table
from service.learning.usecases import set_learning
from service.services import Services
from service.sorting.items import correct, undo
from service.store.log import Log as Store
from service.store.rows import SortRows
from service.store.schema import open_database
from service.store.tables import batches, item_changes, items, sorts, weighing_voids, weighings
from tests.fakes import FakePredictor, new_id
from tests.property.logs import Log, logs
from tests.store.entries import CARDBOARD, enter, start, take, weigh
from tests.unit.rows import a_batch, a_change, a_sort, a_void, a_weighing, an_item, too_light

LB, OZ = Unit.LB, Unit.OZ
CATEGORIES = load_categories()
PROGRAMMES = {each.id: each for each in load_shipped_programmes(CATEGORIES)}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = tmp_path_factory.mktemp("totals") / "t.sqlite3"
    database = open_database(f"sqlite:///{path}")
    yield Store(database)
    database.close()


def write(store: Store, log: Log) -> SortInfo:
    """Write a log as rows under fresh ids; equal times get the order of their ids, as in fold."""
    sort = replace(a_sort(), id=str(uuid.uuid4()))
    rows = table_rows(sort, log)

    def work(connection: Any) -> None:
        for table, values in rows:
            for value in values:
                connection.execute(insert(table), value)

    store._database.write(work)
    return sort


def table_rows(sort: SortInfo, log: Log) -> list[tuple[Any, list[dict[str, Any]]]]:
    """Return the values of every row by table."""
    fresh: dict[str, str] = {}

    def new(ident: str | None) -> str | None:
        return None if ident is None else fresh.setdefault(ident, str(uuid.uuid4()))

    def ordered(rows: list[Any]) -> list[Any]:
        return sorted(rows, key=lambda row: (row.at, row.id))

    common = {"fingerprint": "0" * 64}
    rows: list[tuple[Any, list[dict[str, Any]]]] = [
        (
            sorts,
            [
                {
                    "id": sort.id, "name": sort.name, "place": sort.place,
                    "stratum": sort.stratum, "sorted_on": sort.sorted_on, "days": sort.days,
                    "persons": sort.persons, "programme_id": sort.programme_id,
                    "programme_version": "1", "sorters": list(sort.sorters),
                    "keeps_photos": True, "at": sort.created_at, **common,
                }
            ],
        ),
        (
            batches,
            [
                {"id": new(b.id), "sort_id": sort.id, "category": b.category, "label": "",
                 "at": b.at, **common}
                for b in ordered(log.batches)
            ],
        ),
        (
            items,
            [
                {"id": new(i.id), "sort_id": sort.id, "batch_id": new(i.batch_id),
                 "category": i.category, "count": i.count, "facts": {}, "route": i.route,
                 "sorter": "", "note": "", "categories_version": "1", "programme_version": "1",
                 "at": i.at, **common}
                for i in ordered(log.items)
            ],
        ),
        (
            item_changes,
            [
                {"id": new(c.id), "sort_id": sort.id, "item_id": new(c.item_id), "kind": c.kind,
                 "category": c.category, "count": c.count, "route": c.route,
                 "batch_id": new(c.batch_id), "reason": "", "sorter": "",
                 "programme_version": "1", "at": c.at, **common}
                for c in ordered(log.changes)
            ],
        ),
        (
            weighings,
            [
                {"id": new(w.id), "sort_id": sort.id, "batch_id": new(w.batch_id),
                 "load": w.load, "method": w.method,
                 "gross": w.gross, "tare": w.tare, "unit": w.unit.value,
                 "resolution": w.resolution, "tare_unit": w.tare_unit,
                 "tare_resolution": w.tare_resolution, "contents_left": w.contents_left,
                 "note": "", "sorter": "", "at": w.at, **common}
                for w in ordered(log.weighings)
            ],
        ),
        (
            weighing_voids,
            [
                {"id": new(v.id), "sort_id": sort.id, "weighing_id": new(v.weighing_id),
                 "reason": "", "sorter": "", "at": v.at, **common}
                for v in log.voids
            ],
        ),
    ]  # fmt: skip
    return rows


def folded(log: Log) -> Ledger:
    """Fold as reports do: without piles that hold nothing and were never weighed."""
    rows = (log.items, log.changes, log.batches, log.weighings, log.voids)
    return SortRows(a_sort(), *map(tuple, rows)).ledger(keep_empty=False)  # type: ignore[arg-type]


def check(table: StudyTable, row: int, ledger: Ledger) -> None:
    lines = {
        line.category: line
        for line in category_lines(ledger, Names(CATEGORIES), PROGRAMMES["alder_valley"])
    }
    for k, category in enumerate(table.categories):
        line = lines.get(category)
        if line is None:
            assert table.objects[row, k] == 0
            assert table.grams[row, k] == 0
            continue
        mass = line.mass
        below = float(line.below_g or 0)
        assert table.objects[row, k] == line.count
        assert table.grams[row, k] == pytest.approx(float(mass.value_g) if mass else 0)
        assert table.low[row, k] == pytest.approx(float(mass.low_g) if mass else 0)
        assert table.high[row, k] == pytest.approx((float(mass.high_g) if mass else 0) + below)
        total = ledger.category(category)
        open_piles = any(pile.state == "not_weighed" for pile in total.batches)
        weighed = any(pile.state != "not_weighed" for pile in total.batches)
        assert table.unweighed[row, k] == (open_piles or not weighed)
    ways = allocate(weighed_piles(ledger, PROGRAMMES["alder_valley"]))
    counts: Counter[str] = Counter()
    for item in ledger.items:
        counts[item.route or UNDECIDED] += item.count
    for r, route in enumerate(table.routes):
        assert table.objects_by_route[row, :, r].sum() == counts[route]
        own = ways.get(route)
        measured = float(own.measured.value_g) if own else 0.0
        split = float(own.split_g) if own else 0.0
        assert table.by_route[row, :, r].sum() == pytest.approx(measured + split)
        assert table.split[row, :, r].sum() == pytest.approx(split)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(logs())
def test_sums_equal_the_fold_on_random_logs(store: Store, log: Log) -> None:
    sort = write(store, log)
    totals = store.sort_totals([sort.id])
    table = study_table(totals, CATEGORIES, PROGRAMMES)
    check(table, 0, folded(log))


def test_sums_equal_the_fold_for_units_tares_repeats_and_loads(store: Store) -> None:
    log = Log(
        items=[
            an_item("i1", "food", count=3, batch_id="b1"),
            an_item("i2", "food", count=2, route="residual", batch_id="b2"),
            an_item("i3", "glass_bottles_jars", count=4, minute=2),
        ],
        changes=[
            a_change("c1", "i1", category="textiles", minute=20),
            a_change("c2", "i1", count=9, minute=21),
            a_change("c3", "i1", category="food", minute=22),
            a_change("c4", "i3", route="deposit_return", batch_id="b3", minute=23),
        ],
        batches=[
            a_batch("b1", "food"),
            a_batch("b2", "food", minute=6),
            a_batch("b3", "glass_bottles_jars"),
            a_batch("b4", "food", minute=7),
            a_batch("b5", "textiles"),
            a_batch("b6", "garden"),
        ],
        weighings=[
            a_weighing("w1", "b1", gross="2.5", tare="8", tare_unit=OZ, tare_resolution="0.5"),
            replace(a_weighing("w2", "b1", gross="5.1", tare="0", minute=11), unit=LB),
            a_weighing("w3", "b2", gross="900", tare=None, minute=12),
            too_light("w4", "b3"),
            a_weighing("w5", "b3", gross="0.5", tare="0.1", minute=14),
            a_weighing("w6", "b4", minute=15),
            too_light("w7", "b5", resolution="0.2"),
            too_light("w8", "b5", resolution="0.05"),
            too_light("w9", "b5", resolution="0.1"),
            a_weighing("w10", "b6", gross="80", tare="0", resolution="0.5", method="difference"),
            a_weighing("w11", "b1", gross="3", minute=16, load=2),
            too_light("w12", "b1", resolution="0.2", load=3),
            too_light("w13", "b1", resolution="0.1", load=3),
            too_light("w14", "b5", resolution="0.3", load=2),
            a_weighing("w15", "b2", gross="7", minute=16, load=2),
        ],
        voids=[a_void("v1", "w5"), a_void("v2", "w6"), a_void("v3", "w15")],
    )
    sort = write(store, log)
    check(study_table(store.sort_totals([sort.id]), CATEGORIES, PROGRAMMES), 0, folded(log))


def test_several_sorts_come_in_order_of_their_day_and_unknown_ids_are_left_out(
    store: Store,
) -> None:
    empty = Log([], [], [], [], [])
    ids = [write(store, empty).id for _ in range(3)]
    totals = store.sort_totals([*ids, str(uuid.uuid4())])
    assert {sort.id for sort in totals.sorts} == set(ids)
    assert (totals.items.objects, len(totals.piles), totals.photos) == ([], 0, ())


def test_what_use_cases_record_adds_up_on_either_engine(
    services: Services, predictor: FakePredictor
) -> None:
    """The same queries on SQLite and PostgreSQL, photographs judged blind included."""
    sort = start(services)
    set_learning(
        services, scope_id=sort.id, change_id=new_id(), learns=False, audit_percent=100
    )  # fmt: skip
    predictor.forms = (("drink_can", 0.9), ("food", 0.1))
    photo = take(services, sort)
    wrong = enter(services, sort, "steel_cans", capture_id=photo.id, count=2)
    correct(
        services, item_id=wrong.current.item.id, change_id=new_id(), category="aluminium_cans",
        count=3, facts={}, reason="looked again", sorter="Ada",
    )  # fmt: skip
    gone = enter(services, sort, "food", count=7)
    undo(services, item_id=gone.current.item.id, change_id=new_id(), reason="twice", sorter="Ada")
    undone = enter(services, sort, "food", capture_id=take(services, sort).id)
    undo(services, item_id=undone.current.item.id, change_id=new_id())
    enter(services, sort, CARDBOARD, count=4)
    weigh(services, sort)
    weigh(services, sort, "aluminium_cans", gross="2", tare="1.5", unit="lb", resolution="0.1")
    totals = services.log.sort_totals([sort.id])
    table = study_table(totals, services.categories, services.programmes)
    check(table, 0, services.log.sort_rows(sort.id).ledger(keep_empty=False))
    (photos,) = totals.photos
    assert (photos.form, photos.items, photos.blind) == ("drink_can", 1, {"aluminium_cans": 1})
