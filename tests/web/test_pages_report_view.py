"""Charts of many piles: the large ones stay, the small ones are summed and nothing is dropped."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.reports import usecases as reports
from service.reports.view import count_and_weight_rows, outcome_rows, weight_rows
from service.services import Services
from service.web.charts import MOST_ROWS, fold, percent
from tests.fakes import new_id


def _record(client: TestClient, sort: SortInfo, category: str, count: int, grams: int) -> None:
    item: dict[str, Any] = {"item_id": new_id(), "category": category, "count": count}
    assert client.post(f"/api/sorts/{sort.id}/items", json=item).status_code == 201
    if grams:
        reading = {
            "weighing_id": new_id(),
            "category": category,
            "method": "container",
            "gross": str(grams),
            "unit": "g",
            "resolution": "1",
        }
        assert client.post(f"/api/sorts/{sort.id}/weighings", json=reading).status_code == 201


def test_small_piles_are_summed(client: TestClient, services: Services, sort: SortInfo) -> None:
    for n, category in enumerate(services.categories.categories, start=1):
        _record(client, sort, category.id, count=n, grams=0 if n == 3 else 100 * n)
    report = reports.report(services, sort.id)
    weights, pairs = weight_rows(report), count_and_weight_rows(report)
    assert len(pairs) == len(services.categories.categories) == len(weights) + 1
    for rows in (weights, pairs):
        shown, rest = fold(rows)
        assert len(shown) == MOST_ROWS - 1
        assert rest is not None
        assert rest.label == f"{len(rows) - len(shown)} smaller piles together"
        for place, bar in enumerate(rest.bars):
            rows_sum = sum(row.bars[place].share for row in shown)
            assert bar.words == percent(1 - rows_sum)
    shares = [row.bars[0].share for row in fold(weights)[0]]
    assert shares == sorted(shares, reverse=True)


def test_outcomes_are_of_the_weight_and_hatched_by_route(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    _record(client, sort, "steel_cans", count=9, grams=600)
    _record(client, sort, "food", count=1, grams=300)
    _record(client, sort, "coated_paper", count=2, grams=100)
    recovered, discarded = outcome_rows(reports.report(services, sort.id))
    assert (recovered.label, discarded.label) == ("Can be recovered", "Discarded")
    assert {part.fill: part.share for part in recovered.bars[0].parts} == pytest.approx(
        {"kerbside": 0.6, "organics": 0.3}
    )
    assert recovered.bars[0].words == "90.0\u00a0% · 900\u00a0g"
    assert discarded.bars[0].words == "10.0\u00a0% · 100\u00a0g"
    page = client.get(f"/sorts/{sort.id}/report", headers={"accept": "text/html"}).text
    assert "How much of it need not be thrown away, by weight" in page


def test_outcomes_without_a_scale_are_of_the_count(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    _record(client, sort, "steel_cans", count=3, grams=0)
    _record(client, sort, "coated_paper", count=1, grams=0)
    recovered, discarded = outcome_rows(reports.report(services, sort.id))
    assert recovered.bars[0].share == pytest.approx(0.75)
    assert recovered.bars[0].words == "75.0\u00a0% · 3 objects"
    assert discarded.bars[0].words == "25.0\u00a0% · 1 object"
    page = client.get(f"/sorts/{sort.id}/report", headers={"accept": "text/html"}).text
    assert "0\u00a0g to 0\u00a0g" not in page
    assert "nothing weighed" in page
    assert "How much of it need not be thrown away, by count" in page


def test_empty_sort_has_no_outcomes(client: TestClient, services: Services, sort: SortInfo) -> None:
    assert outcome_rows(reports.report(services, sort.id)) == []
    page = client.get(f"/sorts/{sort.id}/report", headers={"accept": "text/html"}).text
    assert "How much of it" not in page


def test_route_of_which_nothing_was_weighed_is_not_told_as_0_g(
    client: TestClient, sort: SortInfo
) -> None:
    _record(client, sort, "steel_cans", count=3, grams=600)
    _record(client, sort, "aerosols", count=1, grams=0)
    page = client.get(f"/sorts/{sort.id}/report", headers={"accept": "text/html"}).text
    table = page.split('id="route-title"')[1].split("</table>")[0]
    assert table.count("not weighed") == 2  # the route and the sum of its kind
    assert ">0\u00a0g<" not in table


def test_light_piles_that_are_many_stay_in_sight(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    for n, category in enumerate(services.categories.categories[:30], start=1):
        _record(client, sort, category.id, count=1, grams=100 * n)
    _record(client, sort, "foam_polystyrene", count=500, grams=0)
    pairs, _ = fold(count_and_weight_rows(reports.report(services, sort.id)))
    assert len(pairs) == MOST_ROWS - 1
    foam = services.categories.get("foam_polystyrene").name
    assert pairs[0].label == foam


def test_pile_weighed_and_never_counted_goes_where_its_rules_allow(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    for category in ("steel_cans", "rigid_plastics"):
        reading = {
            "weighing_id": new_id(),
            "category": category,
            "method": "container",
            "gross": "100",
            "unit": "g",
            "resolution": "1",
        }
        client.post(f"/api/sorts/{sort.id}/weighings", json=reading)
    report = reports.report(services, sort.id)
    ways = {line.category: [way.route for way in line.routes] for line in report.categories}
    assert ways == {"steel_cans": ["kerbside"], "rigid_plastics": ["undecided"]}


def test_a_sort_without_anything_names_no_share(client: TestClient, sort: SortInfo) -> None:
    empty = client.get(f"/sorts/{sort.id}/report").text
    assert "nothing weighed" in empty
    assert "nothing counted" in empty
    assert "0.0 %" not in empty
    assert "Every counted pile was weighed." not in empty


def test_headline_says_how_many_objects_no_weight_holds(client: TestClient, sort: SortInfo) -> None:
    _record(client, sort, "steel_cans", count=3, grams=150)
    assert "in no weight here" not in client.get(f"/sorts/{sort.id}/report").text
    _record(client, sort, "foam_polystyrene", count=7, grams=0)
    assert "7 of 10 objects are in no weight here" in client.get(f"/sorts/{sort.id}/report").text


def test_weights_alone_are_compared_with_no_count(client: TestClient, sort: SortInfo) -> None:
    reading = {
        "weighing_id": new_id(),
        "category": "steel_cans",
        "method": "container",
        "gross": "100",
        "unit": "g",
        "resolution": "1",
    }
    assert client.post(f"/api/sorts/{sort.id}/weighings", json=reading).status_code == 201
    shown = client.get(f"/sorts/{sort.id}/report").text
    assert 'id="chart-weight"' in shown
    assert 'id="chart-pairs"' not in shown


def test_a_category_that_left_the_list_is_shown_by_its_id(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    _record(client, sort, "steel_cans", count=2, grams=100)
    listed = services.categories
    kept = tuple(each for each in listed.categories if each.id != "steel_cans")
    app: Any = client.app
    app.state.services = replace(services, categories=replace(listed, categories=kept))
    page = client.get(f"/sorts/{sort.id}/report", headers={"accept": "text/html"})
    assert page.status_code == 200
    assert "steel_cans" in page.text
