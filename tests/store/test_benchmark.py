"""What the benchmark fills a store with is read like any other."""

from __future__ import annotations

from service.piles import usecases as piles
from service.reports import usecases as reports
from service.services import Services
from service.sorting import items
from tests.benchmarks.measure import Figure, core_seconds, p95, table, wall_seconds
from tests.benchmarks.store import ITEMS_A_SORT, add_sorts, fill


def test_a_filled_store_is_whole(services: Services) -> None:
    middle = fill(services, 3 * ITEMS_A_SORT)
    large = add_sorts(services, 1, 40)[0]
    assert len(services.log.list_sorts()) == 4
    assert items.tally(services, middle).objects == ITEMS_A_SORT
    assert items.tally(services, large).objects == 40
    assert len(piles.piles(services, middle).piles) == 10
    assert reports.report(services, middle) is not None
    assert services.log.problems() == ()


def test_figures_make_a_table() -> None:
    shown = table(
        [Figure("a", "1 ms", "under 2 ms", True), Figure("b", "3"), Figure("c", "4", "5", False)]
    )
    assert shown.splitlines()[2:] == [
        "| a | 1 ms | under 2 ms | yes |",
        "| b | 3 |  |  |",
        "| c | 4 | 5 | no |",
    ]
    assert p95([float(n) for n in range(100)]) == 95
    assert len(wall_seconds(lambda: None, 5)) == 5
    assert len(core_seconds(lambda: None, lambda: sum(range(100)), rounds=3)) == 2
