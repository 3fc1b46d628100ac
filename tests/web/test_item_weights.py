"""Mean item weights on the pages: pooled over the study, and far piles pointed out."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.piles import item_weights as pooling
from service.services import Services
from service.sorts.studies import create_study, place_sort
from service.sorts.usecases import create_sort
from tests.fakes import new_id

HTML = {"accept": "text/html"}


def another_sort(services: Services, name: str) -> SortInfo:
    return create_sort(
        services, sort_id=new_id(), name=name, sorted_on=date(2026, 5, 2), days=7, persons=2,
        programme_id="alder_valley",
    )  # fmt: skip


def pile(
    client: TestClient, sort: SortInfo, *, count: int = 0, grams: str = "",
    category: str = "steel_cans", note: str = "", **more: Any,
) -> str:  # fmt: skip
    """Record a pile in a batch of its own; without count or grams it lacks one."""
    batch = {"batch_id": new_id(), "category": category, "label": note}
    client.post(f"/api/sorts/{sort.id}/batches", json=batch)
    if count:
        item = {"item_id": new_id(), "category": category, "count": count}
        item["batch_id"] = batch["batch_id"]
        assert client.post(f"/api/sorts/{sort.id}/items", json=item).status_code == 201
    if grams:
        reading = {
            "weighing_id": new_id(), "batch_id": batch["batch_id"], "method": "container",
            "gross": grams, "unit": "g", "resolution": "1", **more,
        }  # fmt: skip
        assert client.post(f"/api/sorts/{sort.id}/weighings", json=reading).status_code == 201
    return batch["batch_id"]


@pytest.fixture
def study(services: Services, client: TestClient, sort: SortInfo) -> list[SortInfo]:
    """Return three sorts of a study; the last has a counted and a weighed pile."""
    made = create_study(services, study_id=new_id(), name="Flats")
    sorts = [another_sort(services, "One"), another_sort(services, "Two"), sort]
    for each in sorts:
        place_sort(services, change_id=new_id(), sort_id=each.id, study_id=made.id)
    for each, grams in zip(sorts, ("520", "1100", "480"), strict=True):
        pile(client, each, count=10 if grams != "1100" else 20, grams=grams)
    pile(client, sort, count=30)
    return sorts


def report(client: TestClient, sort: SortInfo, weights: str = "") -> dict[str, Any]:
    asked = f"?weights={weights}" if weights else ""
    found: dict[str, Any] = client.get(f"/api/sorts/{sort.id}/report.json{asked}").json()
    return found


def test_weights_are_pooled_over_the_study(client: TestClient, study: list[SortInfo]) -> None:
    found = report(client, study[-1])
    weights = found["item_weights"]
    assert (weights["scope"], weights["words"]) == ("study", "the 3 sorts of the study 'Flats'")
    (line,) = weights["categories"]
    assert (line["batches"], line["objects"], line["sorts"]) == (3, 40, 3)
    assert line["item_g"]["value"] == 52.5
    assert line["item_g"]["low"] < 52.5 < line["item_g"]["high"]
    (estimate,) = found["estimates"]
    assert estimate["net_g"]["value"] == 1575.0
    assert estimate["net_g"]["low"] < 1575 < estimate["net_g"]["high"]
    assert found["total"]["net_g"]["value"] == 480.0
    page = client.get(f"/sorts/{study[-1].id}/report", headers=HTML).text
    assert "the 3 sorts of the study &#39;Flats&#39;" in page
    assert "90 % prediction interval, t between 3 piles" in page


def test_what_is_recorded_meanwhile_counts_in_the_next_report(
    client: TestClient, study: list[SortInfo]
) -> None:
    report(client, study[-1])
    pile(client, study[0], count=10, grams="800")
    (line,) = report(client, study[-1])["item_weights"]["categories"]
    assert (line["batches"], line["item_g"]["value"]) == (4, 58.0)


def test_weights_of_the_sort_alone_or_of_the_store(
    client: TestClient, services: Services, study: list[SortInfo]
) -> None:
    outside = another_sort(services, "Outside")
    pile(client, outside, count=10, grams="900")
    alone = report(client, study[-1], "sort")["item_weights"]
    assert (alone["words"], alone["categories"][0]["batches"]) == ("this sort", 1)
    assert alone["categories"][0]["level"] is None
    everything = report(client, study[-1], "store")["item_weights"]
    assert (everything["words"], everything["categories"][0]["batches"]) == (
        "all 4 sorts of the store", 4,
    )  # fmt: skip
    assert report(client, outside, "study")["item_weights"]["scope"] == "sort"
    assert client.get(f"/api/sorts/{outside.id}/report.json?weights=town").status_code == 422


def test_a_large_study_pools_its_newest_sorts(
    client: TestClient, study: list[SortInfo], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pooling, "MOST_SORTS", 2)
    found = report(client, study[0])["item_weights"]
    assert found["words"] == "the newest 2 of 3 sorts of the study 'Flats'"
    assert report(client, study[0], "store")["item_weights"]["words"] == (
        "the newest 2 of 3 sorts of the store"
    )


def test_a_study_may_be_called_as_one_likes(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    """Braces too, which mean something to Python, and words of our own sentence."""
    made = create_study(services, study_id=new_id(), name="{A} {} all newest")
    place_sort(services, change_id=new_id(), sort_id=sort.id, study_id=made.id)
    words = report(client, sort)["item_weights"]["words"]
    assert words == "the one sort of the study '{A} {} all newest'"


@pytest.mark.usefixtures("study")
def test_a_weighed_pile_gets_an_estimated_count(client: TestClient, services: Services) -> None:
    sort = another_sort(services, "Weighed only")
    pile(client, sort, grams="2100")
    found = report(client, sort, "store")
    (line,) = found["count_estimates"]
    assert line["count"]["value"] == 40.0
    assert found["total"]["count"] == 0
    page = client.get(f"/sorts/{sort.id}/report?weights=store", headers=HTML).text
    assert "Counts calculated from weights" in page
    assert "<b>40 objects</b>" in page
    assert f"/api/sorts/{sort.id}/report.csv?weights=store" in page


def test_a_far_pile_is_pointed_out_on_the_piles_page_and_in_the_report(
    client: TestClient, sort: SortInfo
) -> None:
    for grams in ("500", "510", "480", "530", "490"):
        pile(client, sort, count=10, grams=grams)
    assert "expected" not in client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    far = pile(client, sort, count=10, grams="2600", note="blue tub")
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    assert "<b>260\u00a0g per object</b>" in page
    assert "from 5 other piles of this sort, 99.5 % limits" in page
    batches = client.get(f"/api/sorts/{sort.id}/piles").json()["piles"][0]["batches"]
    assert [each["id"] for each in batches if each["far"]] == [far]
    notes = [note["text"] for note in report(client, sort)["notes"]]
    assert any(text.startswith("Steel cans, 'blue tub': 260.0 g an object") for text in notes)


def test_a_lone_pile_is_held_against_the_published_weight(
    client: TestClient, sort: SortInfo
) -> None:
    pile(client, sort, count=10, grams="1700", category="aluminium_cans")
    page = client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    assert "published weight of Aluminium beverage cans (code B)" in page
    assert len(report(client, sort)["far_item_weights"]) == 1
