"""The JSON interface: one whole sort, and the shape of every refusal."""

from __future__ import annotations

import errno
import os
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier import errors
from classifier.log.records import SortInfo
from service.services import Services
from service.web.errors import STATUS
from tests.fakes import UNKNOWN_ID, FakePredictor, jpeg, new_id

CARDBOARD = "corrugated_cardboard"


def _photo(client: TestClient, sort_id: str, data: bytes | None = None, **form: str) -> Any:
    return client.post(
        f"/api/sorts/{sort_id}/captures",
        data={"capture_id": new_id(), **form},
        files={"photo": ("IMG_1.jpg", jpeg() if data is None else data, "image/jpeg")},
    )


def _error(response: Any, status: int, code: str) -> dict[str, Any]:
    assert response.status_code == status, response.text
    body = response.json()
    assert set(body) == {"error"}
    assert set(body["error"]) == {"code", "message", "details"}
    assert body["error"]["code"] == code
    found: dict[str, Any] = body["error"]
    return found


def _started(client: TestClient) -> Any:
    started = client.post(
        "/api/sorts",
        json={
            "sort_id": new_id(),
            "name": "Kitchen bag",
            "sorted_on": "2026-05-01",
            "days": 7,
            "persons": 2,
            "programme_id": "alder_valley",
            "sorters": ["Ada"],
        },
    )
    assert started.status_code == 201
    return started.json()


def _photographed(client: TestClient, sort_id: str) -> Any:
    taken = _photo(client, sort_id)
    assert taken.status_code == 201
    photo = taken.json()
    assert photo["suggestion"]["decision"] == "route"
    assert photo["suggestion"]["route"]["id"] == "kerbside"
    assert photo["suggestion"]["model"] == {"name": "fake", "version": "1.0.0"}
    assert photo["suggestion"]["programme"]["statement"].endswith("where it differs.")
    assert photo["confirmed_item"] is None
    shown = client.get(photo["photo"])
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.content[:2] == b"\xff\xd8"
    assert [each["id"] for each in client.get(f"/api/sorts/{sort_id}/captures").json()] == [
        photo["id"]
    ]
    return photo


def test_a_whole_sort(client: TestClient, predictor: FakePredictor) -> None:
    """Start, photograph, confirm, correct, undo, weigh, report, close, reopen."""
    sort = _started(client)
    base = f"/api/sorts/{sort['id']}"
    assert client.get(base).json() == sort
    assert client.get("/api/sorts").json() == [sort]

    photo = _photographed(client, sort["id"])
    confirmed = client.post(
        f"{base}/items",
        json={
            "item_id": new_id(),
            "capture_id": photo["id"],
            "category": CARDBOARD,
            "sorter": "Ada",
        },
    )
    assert confirmed.status_code == 201
    item = confirmed.json()["item"]
    assert confirmed.json()["route"]["id"] == item["route"] == "kerbside"
    assert confirmed.json()["tally"]["objects"] == 1
    assert client.get(f"/api/captures/{photo['id']}").json()["confirmed_item"] == item
    assert client.get(f"{base}/captures").json() == []

    corrected = client.post(
        f"/api/items/{item['id']}/corrections",
        json={"change_id": new_id(), "category": "food", "count": 3, "reason": "wet"},
    ).json()
    assert (corrected["item"]["category"], corrected["item"]["corrected"]) == ("food", True)
    history = client.get(f"/api/items/{item['id']}").json()
    assert history["first"]["category"] == CARDBOARD
    assert history["changes"][0]["reason"] == "wet"
    undone = client.post(f"/api/items/{item['id']}/undo", json={"change_id": new_id()}).json()
    assert undone["item"]["voided"]
    assert undone["tally"]["objects"] == 0
    client.post(f"{base}/items", json={"item_id": new_id(), "category": CARDBOARD, "count": 4})
    assert client.get(f"{base}/tally").json()["lines"] == [
        {
            "category": CARDBOARD,
            "name": "Corrugated cardboard",
            "count": 4,
            "routes": ["Kerbside recycling"],
        }
    ]
    assert len(client.get(f"{base}/items").json()) == 2

    _weigh_and_report(client, base)
    closed = client.post(f"{base}/close", json={"event_id": new_id()}).json()
    assert closed["closed"]
    refused = client.post(f"{base}/items", json={"item_id": new_id(), "category": CARDBOARD})
    _error(refused, 409, "closed_sort")
    assert not client.post(f"{base}/reopen", json={"event_id": new_id()}).json()["closed"]
    assert predictor.seen == 1


def _weigh_and_report(client: TestClient, base: str) -> None:
    tare = client.post(
        "/api/tares",
        json={
            "tare_id": new_id(),
            "name": "Tub",
            "weight": "0,25",
            "unit": "kg",
            "resolution": "0.01",
        },
    ).json()
    assert client.get("/api/tares").json() == [tare]
    batch = client.post(
        f"{base}/batches", json={"batch_id": new_id(), "category": CARDBOARD, "label": "bag 2"}
    ).json()
    weighed = client.post(
        f"{base}/weighings",
        json={
            "weighing_id": new_id(),
            "batch_id": batch["id"],
            "method": "container",
            "gross": "1.25",
            "tare": tare["weight"],
            "unit": "kg",
            "resolution": "0.01",
        },
    )
    assert weighed.status_code == 201
    assert weighed.json()["weighing"]["net"] == {
        "value_g": "1000.00",
        "low_g": "990.00",
        "high_g": "1010.00",
    }
    assert weighed.json()["weighing"]["load"] == 1
    piles = client.get(f"{base}/piles").json()
    assert piles == weighed.json()["piles"]
    mass = next(each for each in piles["piles"] if each["category"] == CARDBOARD)["mass"]
    assert mass["value_g"] == "1000.00"
    report = client.get(f"{base}/report").json()
    assert report["total"]["net_g"]["value"] == 1000.0
    assert client.get(f"{base}/report.json").json() == report
    csv = client.get(f"{base}/report.csv")
    assert csv.headers["content-type"].startswith("text/csv")
    assert csv.text.startswith("sort_id,")
    assert client.get("/api/data-dictionary.csv").text.startswith("kind,name")
    void = client.post(
        f"/api/weighings/{weighed.json()['weighing']['id']}/void",
        json={"void_id": new_id(), "reason": "wrong bag"},
    )
    assert void.status_code == 200
    after = client.get(f"{base}/report").json()
    assert after["total"]["net_g"]["value"] == 0


def test_loads_are_sent_by_number(client: TestClient, sort: SortInfo) -> None:
    def send(**load: object) -> Any:
        reading = {"method": "container", "gross": "1", "unit": "kg", "resolution": "0.01"}
        sent = {"weighing_id": new_id(), "category": CARDBOARD, **reading, **load}
        return client.post(f"/api/sorts/{sort.id}/weighings", json=sent)

    assert send().json()["weighing"]["load"] == 1
    added = send(load=2).json()
    assert added["weighing"]["load"] == 2
    (pile,) = added["piles"]["piles"]
    assert pile["mass"] == {"value_g": "2000", "low_g": "1990.00", "high_g": "2010.00"}
    assert send(load=4).status_code == 409
    assert "before load 3" in send(load=4).text
    for wrong in (0, 100, "further", None, True):
        assert send(load=wrong).status_code == 422
    assert len(client.get(f"/api/sorts/{sort.id}/piles").json()["piles"][0]["batches"]) == 1


def test_a_question_and_its_answer(
    client: TestClient, sort: SortInfo, predictor: FakePredictor
) -> None:
    """An answer gives a new suggestion; one that the fact has not is refused."""
    predictor.forms = (("plastic_tub_tray", 0.95), ("food", 0.05))
    photo = _photo(client, sort.id).json()
    question = photo["suggestion"]["question"]
    assert photo["suggestion"]["decision"] == "ask"
    url = f"/api/captures/{photo['id']}/facts"
    answer = {"fact": question["fact"], "answer": question["answers"][0]["id"]}
    after = client.post(url, json=answer).json()
    assert after["suggestion"]["facts"] == {answer["fact"]: answer["answer"]}
    asked = after["suggestion"]["question"]
    assert asked is None or asked["fact"] != question["fact"]
    _error(client.post(url, json={**answer, "answer": "perhaps"}), 404, "unknown_id")


def test_a_hazard_comes_first(client: TestClient, sort: SortInfo, predictor: FakePredictor) -> None:
    """Its caution and its collection, whatever else the photo may show."""
    predictor.forms = (("corrugated_cardboard", 0.1), ("battery_electronics", 0.9))
    photo = _photo(client, sort.id).json()
    assert photo["suggestion"]["decision"] == "stop"
    assert photo["suggestion"]["cautions"]
    item = client.post(
        f"/api/sorts/{sort.id}/items",
        json={"item_id": new_id(), "capture_id": photo["id"], "category": "batteries"},
    ).json()["item"]
    assert item["suggested"] == "batteries"


def test_a_likely_hazard_is_asked_about_where_a_harmless_pile_leads(
    client: TestClient, sort: SortInfo, predictor: FakePredictor
) -> None:
    predictor.forms = (("corrugated_cardboard", 0.5), ("battery_electronics", 0.5))

    def answered(answer: str) -> Any:
        photo = _photo(client, sort.id).json()
        assert photo["suggestion"]["decision"] == "ask"
        assert photo["suggestion"]["question"]["fact"] == "single_battery"
        assert [each["id"] for each in photo["suggestion"]["cautions"]] == ["batteries"]
        url = f"/api/captures/{photo['id']}/facts"
        said = client.post(url, json={"fact": "single_battery", "answer": answer}).json()
        return said["suggestion"]

    assert answered("yes")["decision"] == answered("not_sure")["decision"] == "stop"
    cleared = answered("no")
    assert cleared["decision"] != "stop"
    assert cleared["categories"][0]["id"] == CARDBOARD
    assert "batteries" not in {each["id"] for each in cleared["categories"]}


def test_something_left_in_it_is_one_fact_with_a_route_of_its_own(
    client: TestClient, sort: SortInfo
) -> None:
    entered = {"category": "pet_bottles", "facts": {"empty": "no"}, "count": 2}
    preview = client.get(
        f"/api/sorts/{sort.id}/preview", params={"category": "pet_bottles", "empty": "no"}
    ).json()
    assert (preview["decision"], preview["route"]["id"]) == ("route", "with_contents")
    answer = client.post(f"/api/sorts/{sort.id}/items", json={"item_id": new_id(), **entered})
    item = answer.json()["item"]
    assert (item["route"], item["facts"]) == ("with_contents", {"empty": "no"})
    report = client.get(f"/api/sorts/{sort.id}/report").json()
    (line,) = [each for each in report["routes"] if each["count"]]
    assert (line["id"], line["count"]) == ("with_contents", 2)


def test_a_category_chosen_by_hand(client: TestClient, sort: SortInfo) -> None:
    """Its route before it is confirmed, and every category with all its routes."""
    preview = client.get(f"/api/sorts/{sort.id}/preview", params={"category": CARDBOARD}).json()
    assert preview["decision"] == "route"
    assert preview["model"] is None
    reply = client.get(
        f"/api/sorts/{sort.id}/preview", params={"category": "rigid_plastics", "resin": "5"}
    ).json()
    assert reply["facts"] == {"resin": "5"}
    _error(client.get(f"/api/sorts/{sort.id}/preview?category=no_such"), 404, "unknown_id")
    _error(client.get(f"/api/sorts/{sort.id}/preview"), 422, "invalid_request")
    guide = client.get("/api/categories", params={"programme": "port_sable"}).json()
    assert guide["programme"]["id"] == "port_sable"
    assert all(each["routes"] for each in guide["categories"])
    plain = client.get("/api/categories").json()
    assert plain["programme"] is None
    assert len(plain["categories"]) == len(guide["categories"])
    found = client.get("/api/categories", params={"q": "batery", "programme": "port_sable"}).json()
    assert found["categories"][0]["id"] == "batteries"
    assert found["categories"][0]["routes"][0]["id"] == "special_collection"
    assert {key: found[key] for key in ("version", "groups", "facts")} == {
        key: plain[key] for key in ("version", "groups", "facts")
    }
    assert client.get("/api/categories?q=%20").json() == plain
    assert client.get("/api/categories?q=qqqq").json()["categories"] == []
    _error(client.get("/api/categories", params={"q": "x" * 201}), 422, "invalid_request")
    _error(client.get("/api/categories?programme=nowhere"), 404, "unknown_id")
    assert [each["id"] for each in client.get("/api/programmes").json()] == [
        "alder_valley",
        "port_sable",
    ]


@pytest.mark.sqlite_only
def test_health(client: TestClient, services: Services) -> None:
    """Well, and then without its store."""
    assert client.get("/api/health").json() == {
        "ok": True,
        "store": True,
        "model": "fake 1.0.0",
        "problems": [],
    }
    services.close()
    for path in services.settings.data_dir.glob("tallytare.sqlite3*"):
        path.unlink()
    services.settings.data_dir.joinpath("tallytare.sqlite3").mkdir()
    broken = client.get("/api/health")
    assert broken.status_code == 503
    assert not broken.json()["store"]
    _error(client.get("/api/sorts"), 503, "storage")


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "code"),
    [
        ("GET", "/api/nothing", None, 404, "not_found"),
        ("DELETE", "/api/sorts", None, 405, "method_not_allowed"),
        ("GET", f"/api/sorts/{UNKNOWN_ID}", None, 404, "unknown_id"),
        ("GET", "/api/sorts/..%2f..%2fetc%2fpasswd", None, 404, "not_found"),
        ("GET", "/api/sorts/1/tally", None, 404, "unknown_id"),
        ("GET", "/api/captures/x", None, 404, "unknown_id"),
        ("GET", f"/photos/{UNKNOWN_ID}.jpg", None, 404, "unknown_id"),
        ("GET", "/photos/..%2f..%2fdata%2ftallytare.sqlite3.jpg", None, 404, "not_found"),
        ("POST", "/api/sorts", {}, 422, "invalid_request"),
        ("POST", "/api/sorts", [], 422, "invalid_request"),
        ("POST", "/api/tares", {"tare_id": "1"}, 422, "invalid_request"),
        (
            "POST",
            "/api/tares",
            {"tare_id": "1", "name": "a", "weight": "1", "unit": "kg", "resolution": "1"},
            422,
            "invalid_entry",
        ),
        (
            "POST",
            "/api/tares",
            {"tare_id": new_id(), "name": "a", "weight": "1,250", "unit": "kg", "resolution": "1"},
            422,
            "invalid_quantity",
        ),
        ("POST", f"/api/items/{UNKNOWN_ID}/undo", {"change_id": new_id()}, 404, "unknown_id"),
    ],
)
def test_every_refusal_has_one_shape(
    client: TestClient, method: str, path: str, body: Any, status: int, code: str
) -> None:
    """Also those that no use case ever sees."""
    _error(client.request(method, path, json=body), status, code)


@pytest.mark.parametrize("body", [b"{", b"\xff\xfe", b"", b"null", b'{"sort_id": NaN}'])
def test_a_body_that_is_no_json(client: TestClient, body: bytes) -> None:
    """Told, not a crash."""
    response = client.post("/api/sorts", content=body, headers={"content-type": "application/json"})
    _error(response, 422, "invalid_request")


def test_an_unknown_field_is_told(client: TestClient, sort: SortInfo) -> None:
    """A typo in a field's name must not be dropped in silence."""
    found = _error(
        client.post(
            f"/api/sorts/{sort.id}/items",
            json={"item_id": new_id(), "category": CARDBOARD, "cuont": 5},
        ),
        422,
        "invalid_request",
    )
    assert found["details"]["fields"][0]["where"] == "cuont"


def test_two_tabs(client: TestClient, sort: SortInfo) -> None:
    """The second reads what the first recorded."""
    photo = _photo(client, sort.id).json()
    sent = {"capture_id": photo["id"], "category": CARDBOARD}
    url = f"/api/sorts/{sort.id}/items"
    first = client.post(url, json={**sent, "item_id": new_id()}).json()
    found = _error(client.post(url, json={**sent, "item_id": new_id()}), 409, "conflict")
    assert found["details"]["item"] == first["item"]["id"]
    assert found["details"]["category"] == CARDBOARD


def test_every_known_error_has_a_status() -> None:
    """A new exception class must be put into the table."""
    kinds = [
        each
        for each in vars(errors).values()
        if isinstance(each, type)
        and issubclass(each, errors.TallytareError)
        and each is not errors.TallytareError
    ]
    assert set(kinds) <= set(STATUS)


def test_a_mistake_of_ours_reveals_nothing(
    client: TestClient, sort: SortInfo, predictor: FakePredictor
) -> None:
    """No stack trace, the one shape, and the security headers."""

    def fail() -> None:
        raise RuntimeError("secret detail")

    predictor.before = fail
    response = _photo(client, sort.id)
    _error(response, 500, "internal")
    assert "secret" not in response.text
    assert "content-security-policy" in response.headers
    predictor.before = None
    assert _photo(client, sort.id).status_code == 201


def test_the_description_is_whole_and_loads_nothing(client: TestClient) -> None:
    """OpenAPI as JSON only: the usual pages around it load scripts from elsewhere."""
    described = client.get("/api/openapi.json").json()
    assert "/api/sorts/{sort_id}/captures" in described["paths"]
    form = described["paths"]["/api/sorts/{sort_id}/captures"]["post"]["requestBody"]
    assert "multipart/form-data" in form["content"]
    for path in ("/docs", "/redoc"):
        assert client.get(path, headers={"accept": "application/json"}).status_code == 404


def test_a_person_gets_a_page(client: TestClient) -> None:
    """Where a browser asks for one; programs get JSON."""
    page = client.get("/sorts/nothing", headers={"accept": "text/html"})
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    assert client.get("/api/nothing", headers={"accept": "text/html"}).json()["error"]


def test_a_disk_that_is_full(
    client: TestClient, sort: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """503 with what to do; the same request goes through afterwards."""

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    capture_id = new_id()
    with monkeypatch.context() as patched:
        patched.setattr(os, "write", full)
        found = _error(_photo(client, sort.id, capture_id=capture_id), 503, "storage")
    assert "free some space" in found["message"]
    assert _photo(client, sort.id, capture_id=capture_id).status_code == 201


def test_an_error_names_the_field_that_it_is_about(client: TestClient, sort: SortInfo) -> None:
    sent = {
        "weighing_id": new_id(),
        "category": "food",
        "method": "container",
        "gross": "1.2.3",
        "unit": "kg",
        "resolution": "0.01",
    }
    error = client.post(f"/api/sorts/{sort.id}/weighings", json=sent).json()["error"]
    assert (error["code"], error["details"]["field"]) == ("invalid_quantity", "gross")
