"""The pages as forms: what is sent, what is kept when it is refused, what errors look like."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.services import Services
from tests.fakes import FakePredictor, jpeg, new_id

HTML = {"accept": "text/html"}
SORT = {
    "name": "Block C",
    "place": "Flats",
    "stratum": "flats",
    "sorted_on": "2026-05-01",
    "days": "7",
    "persons": "4",
    "sorters": "Ana, Bo\nCy",
    "programme_id": "alder_valley",
}


def _post(client: TestClient, path: str, data: dict[str, str]) -> Any:
    return client.post(path, data=data, headers=HTML, follow_redirects=False)


def _add(client: TestClient, sort: SortInfo, category: str, count: int = 1) -> str:
    sent = {"item_id": new_id(), "category": category, "count": count}
    answer = client.post(f"/api/sorts/{sort.id}/items", json=sent)
    assert answer.status_code == 201
    return str(answer.json()["item"]["id"])


def _sorting_data(html: str) -> Any:
    found = re.search(r'id="sorting-data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    return json.loads(found.group(1))


def test_start_a_sort_and_see_it_in_the_list(client: TestClient) -> None:
    answer = _post(client, "/sorts", {**SORT, "sort_id": new_id(), "keeps_photos": "yes"})
    assert answer.status_code == 303
    made = client.get(f"/api{answer.headers['location']}").json()
    assert made["sorters"] == ["Ana", "Bo", "Cy"]
    assert made["keeps_photos"] is True
    assert "Block C" in client.get("/", headers=HTML).text


def test_sent_twice_starts_one_sort(client: TestClient) -> None:
    form = {**SORT, "sort_id": new_id()}
    assert _post(client, "/sorts", form).headers == _post(client, "/sorts", form).headers
    assert len(client.get("/api/sorts").json()) == 1


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("days", "900", "Days of discards 900 is out of range"),
        ("persons", "many", "is not a whole number"),
        ("sorted_on", "1.5.2026", "is no date"),
        ("name", " ", "Name is empty"),
    ],
)
def test_refused_sort_keeps_what_was_typed(
    client: TestClient, field: str, value: str, message: str
) -> None:
    form = {**SORT, "sort_id": new_id(), field: value}
    answer = _post(client, "/sorts", form)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="Flats"' in answer.text
    assert form["sort_id"] in answer.text
    assert re.search(rf'data-wrong>\s*<label for="f-{field}"', answer.text)
    assert client.get("/api/sorts").json() == []


def test_form_shows_what_differs_between_programmes(client: TestClient) -> None:
    page = client.get("/sorts/new", headers=HTML).text
    assert "What differs between them" in page
    assert "Garden trimmings" in page


def test_close_and_reopen(client: TestClient, sort: SortInfo) -> None:
    assert _post(client, f"/sorts/{sort.id}/close", {"event_id": new_id()}).status_code == 303
    page = client.get(f"/sorts/{sort.id}", headers=HTML).text
    assert "This sort is closed" in page
    assert "sorting-data" not in page
    assert "nothing can be added" in client.get(f"/sorts/{sort.id}/piles", headers=HTML).text
    answer = _post(client, f"/sorts/{sort.id}/reopen", {"event_id": new_id()})
    assert answer.headers["location"] == f"/sorts/{sort.id}"
    assert "sorting-data" in client.get(f"/sorts/{sort.id}", headers=HTML).text


def test_report_closes_the_sort_where_it_is_open(client: TestClient, sort: SortInfo) -> None:
    path = f"/sorts/{sort.id}/report"
    assert "Close this sort" in client.get(path, headers=HTML).text
    _post(client, f"/sorts/{sort.id}/close", {"event_id": new_id()})
    assert "Close this sort" not in client.get(path, headers=HTML).text


def test_every_start_of_a_sort_tells_what_is_not_sorted_by_hand(client: TestClient) -> None:
    page = client.get("/sorts/new", headers=HTML).text
    assert "gloves that resist cuts" in page
    assert "Set aside sharps, batteries, pressurised cans" in page


def test_weighing_a_closed_sort_says_what_to_do(client: TestClient, sort: SortInfo) -> None:
    _post(client, f"/sorts/{sort.id}/close", {"event_id": new_id()})
    answer = _post(client, f"/sorts/{sort.id}/batches", {"batch_id": new_id(), "category": "food"})
    assert answer.status_code == 409
    assert "Reopen the sort" in answer.text
    assert f'href="/sorts/{sort.id}"' in answer.text


@pytest.mark.parametrize("path", ["/sorts/none-such", "/categories/none-such", "/none-such"])
def test_what_is_not_there(client: TestClient, path: str) -> None:
    answer = client.get(path, headers=HTML)
    assert answer.status_code == 404
    assert "Nothing is here" in answer.text
    assert "What to do" in answer.text


def test_short_address_leads_to_the_list(client: TestClient) -> None:
    answer = client.get("/sorts", headers=HTML, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_sorting_page_holds_what_the_page_needs_without_the_server(
    client: TestClient, sort: SortInfo, predictor: FakePredictor
) -> None:
    item = _add(client, sort, "steel_cans", 3)
    predictor.forms = (("drink_can", 0.9), ("food", 0.1))
    sent = client.post(
        f"/api/sorts/{sort.id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("a.jpg", jpeg(), "image/jpeg")},
    )
    data = _sorting_data(client.get(f"/sorts/{sort.id}", headers=HTML).text)
    assert data["tally"]["objects"] == 3
    assert [each["id"] for each in data["recent"]] == [item]
    assert [each["id"] for each in data["open"]] == [sent.json()["id"]]
    assert data["open"][0]["suggestion"] == sent.json()["suggestion"]
    listed = {each["id"]: each for group in data["groups"] for each in group["categories"]}
    assert listed["sharps"]["stop"] is True
    assert listed["sharps"]["cautions"]
    assert all(each["routes"] and each["belongs"] for each in listed.values())
    assert "authority" in data["programme"]["statement"]


def test_name_of_a_sort_can_not_break_out_of_the_page(client: TestClient) -> None:
    name = "</script><script>alert(1)</script>"
    made = _post(client, "/sorts", {**SORT, "name": name, "sort_id": new_id()})
    sort_id = made.headers["location"].rsplit("/", 1)[-1]
    note = {"item_id": new_id(), "category": "food", "note": name}
    client.post(f"/api/sorts/{sort_id}/items", json=note)
    page = client.get(f"/sorts/{sort_id}", headers=HTML).text
    assert "<script>alert" not in page
    assert _sorting_data(page)["recent"][0]["note"] == name


def test_report_shows_the_same_figures_as_json(client: TestClient, sort: SortInfo) -> None:
    _add(client, sort, "steel_cans", 3)
    _add(client, sort, "rigid_plastics", 2)
    _add(client, sort, "foam_polystyrene", 9)
    for category, gross in (("steel_cans", "0.30"), ("rigid_plastics", "0.10")):
        sent = {
            "weighing_id": new_id(),
            "category": category,
            "method": "container",
            "gross": gross,
            "unit": "kg",
            "resolution": "0.02",
        }
        client.post(f"/api/sorts/{sort.id}/weighings", json=sent)
    page = client.get(f"/sorts/{sort.id}/report", headers=HTML).text
    figures = client.get(f"/api/sorts/{sort.id}/report.json").json()
    assert float(figures["total"]["net_g"]["value"]) == 400
    assert "400\u00a0g" in page
    assert f"{float(figures['per_person_week']['kg']['value']):.3f} kg" in page
    assert "75.0\u00a0% · 300\u00a0g · Kerbside recycling" in page
    assert "not weighed" in page
    assert figures["programme"]["statement"] in page
    assert all(note["text"] in page or "'" in note["text"] for note in figures["notes"])
    assert f'href="/api/sorts/{sort.id}/report.csv"' in page


def test_report_of_an_empty_sort(client: TestClient, sort: SortInfo) -> None:
    page = client.get(f"/sorts/{sort.id}/report", headers=HTML).text
    assert "Nothing was recorded yet" in page
    assert "Weigh the piles" in page


def test_no_triangle_beside_the_word_recyclable(client: TestClient, services: Services) -> None:
    # ASTM D7611: the resin code must not stand next to "recyclable".
    for category in services.categories.categories:
        page = client.get(f"/categories/{category.id}", headers=HTML).text
        assert not re.search("[\u2672-\u267f\u267a\u2673]", page)
        assert "recyclable" not in page.lower()


def test_guide_shows_routes_of_the_chosen_programme(client: TestClient) -> None:
    alder = client.get("/categories/garden?programme=alder_valley", headers=HTML).text
    sable = client.get("/categories/garden?programme=port_sable", headers=HTML).text
    assert "Garden organics collection" in alder
    assert "Garden organics collection" not in sable
    assert client.get("/categories?programme=nowhere", headers=HTML).status_code == 404
