"""Studies, learning in place and audits over HTTP."""

from __future__ import annotations

import base64
from typing import Any

from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.services import Services
from tests.fakes import FakePredictor, jpeg, new_id

FOAM = "foam_polystyrene"


def start_study(client: TestClient, name: str = "Spring") -> dict[str, Any]:
    answer = client.post("/api/studies", json={"study_id": new_id(), "name": name})
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


def put(client: TestClient, sort_id: str, study_id: str | None) -> Any:
    sent = {"change_id": new_id(), "study_id": study_id}
    answer = client.post(f"/api/sorts/{sort_id}/study", json=sent)
    assert answer.status_code == 200, answer.text
    return answer.json()


def change(client: TestClient, scope_id: str, **given: Any) -> dict[str, Any]:
    sent = {"change_id": new_id(), "learns": True, "audit_percent": 0, **given}
    answer = client.post(f"/api/learning/{scope_id}/settings", json=sent)
    assert answer.status_code == 200, answer.text
    made: dict[str, Any] = answer.json()
    return made


def photograph(client: TestClient, sort_id: str) -> dict[str, Any]:
    answer = client.post(
        f"/api/sorts/{sort_id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("p.jpg", jpeg(), "image/jpeg")},
    )
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()
    return made


def confirm(client: TestClient, capture: dict[str, Any], category: str) -> dict[str, Any]:
    sent = {"item_id": new_id(), "capture_id": capture["id"], "category": category}
    answer = client.post(f"/api/sorts/{capture['sort_id']}/items", json=sent)
    assert answer.status_code == 201, answer.text
    made: dict[str, Any] = answer.json()["item"]
    return made


def test_a_sort_is_started_in_a_study(client: TestClient) -> None:
    study = start_study(client)
    sent = {
        "sort_id": new_id(),
        "name": "Bag 1",
        "sorted_on": "2026-05-01",
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
        "study_id": study["id"],
    }
    for _ in range(2):  # the second is a resend
        assert client.post("/api/sorts", json=sent).status_code == 201
    found = client.get(f"/api/studies/{study['id']}").json()
    assert [sort["id"] for sort in found["sorts"]] == [sent["sort_id"]]
    assert client.post("/api/sorts", json={**sent, "study_id": None}).status_code == 201
    other = start_study(client, "Autumn")
    assert client.post("/api/sorts", json={**sent, "study_id": other["id"]}).status_code == 409
    lost = {**sent, "sort_id": new_id(), "study_id": new_id()}
    assert client.post("/api/sorts", json=lost).status_code == 404
    assert client.get(f"/api/sorts/{lost['sort_id']}").status_code == 404


def test_a_sort_moves_between_studies(client: TestClient, sort: SortInfo) -> None:
    study = start_study(client)
    assert put(client, sort.id, study["id"])["id"] == study["id"]
    assert put(client, sort.id, None) is None
    assert [each["sorts"] for each in client.get("/api/studies").json()] == [[]]


def test_corrected_once_suggested_right_the_third_time(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    first = photograph(client, sort.id)
    assert first["suggestion"]["categories"][0]["id"] == "corrugated_cardboard"
    assert first["learned_from"] is None
    confirm(client, first, FOAM)
    services.learning.settle()
    confirm(client, photograph(client, sort.id), FOAM)
    services.learning.settle()
    third = photograph(client, sort.id)
    assert third["suggestion"]["categories"][0]["id"] == FOAM
    assert third["learned_from"] == 2
    assert third["suggestion"]["forms"][0]["id"] == "corrugated_cardboard"


def test_settings_are_told_and_checked(client: TestClient, sort: SortInfo) -> None:
    reply = change(client, sort.id, learns=False, audit_percent=25)
    assert (reply["learns"], reply["audit_percent"], reply["is_study"]) == (False, 25, False)
    bad = {"change_id": new_id(), "learns": True, "audit_percent": 101}
    assert client.post(f"/api/learning/{sort.id}/settings", json=bad).status_code == 422
    assert client.get(f"/api/learning/{new_id()}").status_code == 404
    study = start_study(client)
    put(client, sort.id, study["id"])
    assert client.get(f"/api/learning/{sort.id}").status_code == 409
    reply = client.get(f"/api/learning/{study['id']}").json()
    assert (reply["learns"], reply["audit_percent"]) == (True, 10)
    assert reply["accuracy"] == {
        "audits": 0, "agreed": 0, "value": None, "low": None, "high": None, "level": None
    }  # fmt: skip


def test_a_head_is_exported_and_started_from(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    assert client.get(f"/api/learning/{sort.id}/head").status_code == 409
    for _ in range(3):
        confirm(client, photograph(client, sort.id), FOAM)
    services.learning.settle()
    head = client.get(f"/api/learning/{sort.id}/head")
    assert head.headers["content-disposition"].endswith('.npz"')
    study = start_study(client)
    change(client, study["id"])
    url = f"/api/learning/{study['id']}/start"
    sent = {"head": base64.b64encode(head.content).decode(), "name": "north"}
    reply = client.post(url, json={"start_id": new_id(), **sent})
    assert reply.json()["start"] == "north"
    reply = client.post(url, json={"start_id": new_id(), "from_scope": sort.id})
    assert reply.json()["start"] == sort.name
    reply = client.post(url, json={"start_id": new_id()})
    assert reply.json()["start"] is None
    for wrong in ({"head": "%%%", "name": "x"}, {**sent, "from_scope": sort.id}, {"head": "AAAA"}):
        answer = client.post(url, json={"start_id": new_id(), **wrong})
        assert answer.status_code == 422, answer.text


def test_the_losses_of_both_are_told(
    client: TestClient, services: Services, sort: SortInfo
) -> None:
    for _ in range(4):
        confirm(client, photograph(client, sort.id), FOAM)
        services.learning.settle()
    reply = client.get(f"/api/learning/{sort.id}").json()
    assert reply["confirmations"] == 4
    assert reply["trusted"] is True
    shipped, learned = reply["shipped_losses"], reply["learned_losses"]
    assert len(shipped) == len(learned) == 4
    assert shipped[0] == learned[0], "the first is predicted before anything was learned"
    assert learned[3] < shipped[3]


def test_an_audit_reveals_nothing_before_the_choice(client: TestClient, sort: SortInfo) -> None:
    change(client, sort.id, audit_percent=100)
    capture = photograph(client, sort.id)
    again = client.get(f"/api/captures/{capture['id']}").json()
    (listed,) = client.get(f"/api/sorts/{sort.id}/captures").json()
    reply = client.post(
        f"/api/captures/{capture['id']}/facts", json={"fact": "empty", "answer": "yes"}
    ).json()
    for shown in (capture, again, listed, reply):
        assert (shown["audit"], shown["hidden"], shown["learned_from"]) == (True, True, None)
        suggestion = shown["suggestion"]
        assert suggestion["decision"] == "unsure"
        assert suggestion["route"] is suggestion["question"] is None
        for key in ("forms", "categories", "alternatives", "cautions"):
            assert suggestion[key] == [], key
    page = client.get(f"/sorts/{sort.id}").text
    data = page.split('id="sorting-data">')[1]
    assert '"forms": []' in data.split('"open":')[1].split('"groups":')[0]
    confirm(client, capture, FOAM)
    after = client.get(f"/api/captures/{capture['id']}").json()
    assert (after["audit"], after["hidden"]) == (True, False)
    assert after["suggestion"]["categories"][0]["id"] == "corrugated_cardboard"


def test_a_hidden_hazard_is_cautioned_against_without_its_name(
    client: TestClient, sort: SortInfo, predictor: FakePredictor
) -> None:
    change(client, sort.id, audit_percent=100)
    predictor.forms = (("battery_electronics", 0.8), ("food", 0.2))
    shown = photograph(client, sort.id)["suggestion"]
    (caution,) = shown["cautions"]
    assert caution["id"] == "audit_hazard"
    assert shown["decision"] == "unsure"
    assert shown["categories"] == shown["alternatives"] == []


def test_the_first_choice_of_an_audit_counts(client: TestClient, sort: SortInfo) -> None:
    change(client, sort.id, audit_percent=100, learns=False)
    right = confirm(client, photograph(client, sort.id), "corrugated_cardboard")
    wrong = confirm(client, photograph(client, sort.id), FOAM)
    undone = confirm(client, photograph(client, sort.id), FOAM)
    fix = {"change_id": new_id(), "category": "corrugated_cardboard", "count": 1}
    assert client.post(f"/api/items/{wrong['id']}/corrections", json=fix).status_code == 200
    assert (
        client.post(f"/api/items/{undone['id']}/undo", json={"change_id": new_id()}).status_code
        == 200
    )
    change(client, sort.id, audit_percent=0, learns=False)
    confirm(client, photograph(client, sort.id), "corrugated_cardboard")  # seen first: no audit
    reply = client.get(f"/api/learning/{sort.id}").json()["accuracy"]
    assert (reply["audits"], reply["agreed"], reply["value"]) == (2, 1, 0.5)
    assert 0 < reply["low"] < 0.5 < reply["high"] < 1
    assert reply["level"] == 0.95
    reopened = client.get(f"/api/captures/{undone['capture_id']}").json()
    assert reopened["hidden"] is False, "it was seen once"
    assert right["suggested"] == "corrugated_cardboard"


def test_audits_are_drawn_by_the_photo_not_by_chance(client: TestClient, sort: SortInfo) -> None:
    change(client, sort.id, audit_percent=50)
    url = f"/api/sorts/{sort.id}/captures"
    drawn = []
    for _ in range(24):
        sent = {"capture_id": new_id()}
        photo = {"photo": ("p.jpg", jpeg(), "image/jpeg")}
        first = client.post(url, data=sent, files=photo).json()
        assert client.post(url, data=sent, files=photo).json() == first, "a resend is the same"
        drawn.append(first["audit"])
    assert 3 <= sum(drawn) <= 21  # 99.9 % of draws of 24 at a half
