"""Characters that one engine or the other can't store: refused alike, wherever they come in."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import chain
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient

from classifier.errors import InvalidEntryError
from classifier.log.records import SortInfo
from service.services import Services
from service.store.engines import is_storable
from service.web.roles import RULES
from tests.fakes import jpeg, new_id

BAD = ("\0", "a\0b", "7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11\0")
HALF_PAIRS = ("\ud800", "x\udfffy")
_PARAMETER = re.compile(r"\{[^}]+\}")
_Sent = tuple[str, dict[str, Any]]


def _refused(response: Any, where: object) -> None:
    assert 400 <= response.status_code < 500, (where, response.status_code, response.text[:300])


def _unreadable(response: Any, where: object) -> None:
    assert response.status_code == 400, (where, response.status_code, response.text[:300])
    assert "NUL character" in response.text, where


def test_in_a_path(client: TestClient) -> None:
    """Each address that takes an id, and each of its methods: refused for this, not as unknown."""
    tried = 0
    for _, methods, path in RULES:
        for parameter in _PARAMETER.findall(path):
            address = _PARAMETER.sub(new_id(), path.replace(parameter, quote("a\0b")))
            for method in methods:
                _unreadable(client.request(method, address, json={}), (method, path))
                tried += 1
    assert tried > 50


def _parameters(client: TestClient) -> Iterator[str]:
    for path, operations in client.get("/api/openapi.json").json()["paths"].items():
        for each in operations.get("get", {}).get("parameters", []):
            if each["in"] == "query":
                yield f"{path}?{each['name']}="
    yield "/api/sorts/{sort_id}/preview?category=food&empty="
    for name in ("category", "sorter", "sort", "show", "state", "below", "since", "who", "page"):
        yield f"/examples?{name}="
    for rest in ("sorts/new?study", "sheet?programme", "examples/withdraw?sorter", "?q"):
        yield f"/{rest}="


def test_in_a_query(client: TestClient, sort: SortInfo) -> None:
    addresses = list(_parameters(client))
    assert len(addresses) > 15
    for address in addresses:
        path = address.replace("{sort_id}", sort.id)
        _unreadable(client.get(_PARAMETER.sub(new_id(), path) + quote("a\0b")), address)


class _Made:
    """What the requests speak of: each of these exists."""

    def __init__(self, client: TestClient, sort: SortInfo) -> None:
        self._client = client
        self.sort = sort.id
        self.study, self.batch, self.weighing, self.item = (new_id() for _ in range(4))
        of = f"/api/sorts/{sort.id}"
        for path, sent in (
            ("/api/studies", {"study_id": self.study, "name": "Spring"}),
            (f"{of}/batches", _batch() | {"batch_id": self.batch}),
            (f"{of}/weighings", _weighing() | {"weighing_id": self.weighing}),
            (f"{of}/items", {"item_id": self.item, "category": "food"}),
        ):
            client.post(path, json=sent).raise_for_status()

    def capture(self) -> str:
        """Take a photo."""
        answer = self._client.post(
            f"/api/sorts/{self.sort}/captures",
            data={"capture_id": new_id()},
            files={"photo": ("p.jpg", jpeg(), "image/jpeg")},
        )
        return str(answer.raise_for_status().json()["id"])


def _batch() -> dict[str, Any]:
    return {"batch_id": new_id(), "category": "food", "label": "bag 2"}


def _weighing(**given: Any) -> dict[str, Any]:
    weighed = {"weighing_id": new_id(), "method": "container", "gross": "2.5", "unit": "kg"}
    said = {"resolution": "0.1", "capacity": "30", "note": "wet", "sorter": "Ada"}
    return weighed | said | (given or {"category": "food"})


def _new_sort() -> dict[str, Any]:
    details = {"name": "Bag", "place": "Flat 3", "stratum": "household", "sorted_on": "2026-05-01"}
    return {"sort_id": new_id(), "programme_id": "alder_valley"} | details


def _requests(made: _Made) -> Iterator[_Sent]:
    """Give good JSON requests, every text in them filled in, in an order in which all succeed."""
    of, item = f"/api/sorts/{made.sort}", f"/api/items/{made.item}"
    why = {"reason": "slip", "sorter": "Ada"}
    counted = {"category": "food", "count": 2, "facts": {"empty": "yes"}, "sorter": "Ada"}
    asked = {"days": 7, "persons": 2, "sorters": ["Ada"], "study_id": made.study}
    yield "/api/sorts", _new_sort() | asked
    yield "/api/studies", {"study_id": new_id(), "name": "Autumn"}
    yield f"{of}/study", {"change_id": new_id(), "study_id": made.study}
    yield f"{of}/items", counted | {"item_id": new_id(), "batch_id": made.batch, "note": "wet"}
    yield f"{of}/items", counted | {"item_id": new_id(), "capture_id": made.capture()}
    yield f"/api/captures/{made.capture()}/facts", {"fact": "empty", "answer": "yes"}
    yield f"{item}/corrections", counted | {"change_id": new_id(), "reason": "slip"}
    yield f"{item}/undo", {"change_id": new_id()} | why
    yield f"{of}/batches", _batch()
    yield f"{of}/weighings", _weighing()
    yield f"{of}/weighings", _weighing(batch_id=made.batch, tare="0.5", tare_unit="kg")
    yield f"/api/weighings/{made.weighing}/void", {"void_id": new_id()} | why
    tare = {"name": "bucket", "weight": "0.5", "unit": "kg", "resolution": "0.1"}
    yield "/api/tares", {"tare_id": new_id()} | tare
    learns = {"change_id": new_id(), "learns": True, "audit_percent": 5, "sorter": "Ada"}
    yield f"/api/learning/{made.study}/settings", learns
    yield f"{of}/close", {"event_id": new_id()}
    yield f"{of}/reopen", {"event_id": new_id()}


def _forms(made: _Made) -> Iterator[_Sent]:
    """Give good forms in the same way."""
    of = f"/sorts/{made.sort}"
    yield "/sorts", _new_sort() | {"days": "7", "persons": "2", "sorters": "Ada", "study": ""}
    yield "/studies", {"study_id": new_id(), "name": "Winter"}
    yield f"/studies/{made.study}/sorts", {"sort_id": made.sort, "change_id": new_id()}
    yield f"{of}/batches", _batch()
    yield f"/learning/{made.study}/settings", {"change_id": new_id(), "audit_percent": "6"}
    yield f"{of}/close", {"event_id": new_id()}


def _places(sent: dict[str, Any], bad: str) -> Iterator[dict[str, Any]]:
    """Give copies of a request with a bad text in one place each: text, list, key or value."""
    for name, value in sent.items():
        if isinstance(value, list):
            yield {**sent, name: [bad]}
        elif isinstance(value, dict):
            yield {**sent, name: {bad: "yes"}}
            yield {**sent, name: {"empty": bad}}
        elif isinstance(value, str):
            yield {**sent, name: bad}


def test_in_a_request(client: TestClient, sort: SortInfo) -> None:
    """Each text of a JSON request in turn; then the same request, all texts good, is taken."""
    head = {"content-type": "application/json"}
    for path, sent in _requests(_Made(client, sort)):
        for changed in chain.from_iterable(_places(sent, bad) for bad in (*BAD, *HALF_PAIRS)):
            _refused(client.post(path, content=json.dumps(changed), headers=head), (path, changed))
        good = client.post(path, json=sent)
        assert good.is_success, (path, good.text)


def test_in_a_form(client: TestClient, sort: SortInfo) -> None:
    """Typed in the page's own way: each text in turn, then the same form as it should be."""
    page = {"accept": "text/html"}
    for path, sent in _forms(_Made(client, sort)):
        for changed in chain.from_iterable(_places(sent, bad) for bad in BAD):
            _refused(client.post(path, data=changed, headers=page), (path, changed))
        good = client.post(path, data=sent, headers=page, follow_redirects=False)
        assert good.status_code == 303, (path, good.text)


@pytest.mark.parametrize("charset", ["unicode_escape", '"utf-7"'])
def test_a_form_in_a_way_of_writing_that_makes_half_pairs(client: TestClient, charset: str) -> None:
    """Refused for the charset, whatever is in it: in UTF-8 the same form is taken."""
    part = '--b\r\nContent-Disposition: form-data; name="{}"\r\n\r\n{}\r\n'
    sent = part.format("study_id", new_id()) + part.format("name", "\\ud800") + "--b--\r\n"
    for said, status in ((charset, 415), ("utf-8", 303)):
        head = {"content-type": f"multipart/form-data; boundary=b; charset={said}"}
        answer = client.post(
            "/studies",
            content=sent,
            headers={"accept": "text/html", **head},
            follow_redirects=False,
        )
        assert answer.status_code == status, answer.text
        assert ("send it in UTF-8" in answer.text) == (status == 415)


@pytest.mark.parametrize("kind", ["application/json; charset=UTF-8", "application/json"])
def test_utf_8_may_be_said(client: TestClient, kind: str) -> None:
    body = json.dumps({"study_id": new_id(), "name": "Ünïcode 🥫"})
    assert client.post("/api/studies", content=body, headers={"content-type": kind}).is_success


@pytest.mark.parametrize("bad", [*BAD, *HALF_PAIRS])
def test_none_reaches_the_store(services: Services, bad: str) -> None:
    """Whatever forgets to look: both engines refuse, in the same words, in reading and writing."""
    at = services.clock()
    with pytest.raises(InvalidEntryError, match="can't be kept"):
        services.log.get_sort(bad)
    with pytest.raises(InvalidEntryError, match="can't be kept"):
        services.log.add_join_code(new_id(), code_digest=bad, role="sorter", expires_at=at, at=at)


def test_what_can_be_stored() -> None:
    for text in ("", "plain", "Ünïcode 🥫", "\ufffd", "\n\t\x01"):
        assert is_storable(text)
    for text in (*BAD, *HALF_PAIRS, "Ü\0"):
        assert not is_storable(text)
