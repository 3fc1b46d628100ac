"""Characters that one engine or the other can't store: refused alike, wherever they come in."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient

from classifier.domain.errors import InvalidEntryError
from classifier.domain.records import SortInfo
from service.store.storable import is_storable
from service.usecases.services import Services
from service.web.roles import RULES
from tests.fakes import new_id

BAD = ("\0", "a\0b", "7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11\0")
HALF_PAIRS = ("\ud800", "x\udfffy")
_PARAMETER = re.compile(r"\{[^}]+\}")


def _refused(response: Any, where: object) -> None:
    assert 400 <= response.status_code < 500, (where, response.status_code, response.text[:300])


@pytest.mark.parametrize("bad", BAD)
def test_in_a_path(client: TestClient, bad: str) -> None:
    """Each address that takes an id, and each of its methods."""
    tried = 0
    for _, methods, path in RULES:
        for parameter in _PARAMETER.findall(path):
            address = _PARAMETER.sub(new_id(), path.replace(parameter, quote(bad)))
            for method in methods:
                _refused(client.request(method, address, json={}), (method, path))
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


@pytest.mark.parametrize("bad", BAD)
def test_in_a_query(client: TestClient, sort: SortInfo, bad: str) -> None:
    addresses = list(_parameters(client))
    assert len(addresses) > 15
    for address in addresses:
        path = address.replace("{sort_id}", sort.id)
        _refused(client.get(_PARAMETER.sub(new_id(), path) + quote(bad)), address)


def _texts(schema: dict[str, Any], parts: dict[str, Any]) -> dict[str, Any]:
    """Return a request as the description has it, every text in it filled in."""
    found = {}
    while "$ref" in schema:
        schema = parts[schema["$ref"].rpartition("/")[2]]
    for name, each in schema["properties"].items():
        kind = next((one for one in each.get("anyOf", ()) if one.get("type") != "null"), each)
        texts: dict[str, Any] = {
            "string": "2026-05-01" if kind.get("format") == "date" else new_id(),
            "integer": 1,
            "boolean": False,
            "array": ["Ada"],
            "object": {"empty": "yes"},
        }
        found[name] = kind["enum"][0] if "enum" in kind else texts[kind["type"]]
    return found


def _places(sent: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Give copies of a request with "BAD" in one place each: every text, list, key and value."""
    for name, value in sent.items():
        if isinstance(value, list):
            yield {**sent, name: ["BAD"]}
        elif isinstance(value, dict):
            yield {**sent, name: {"BAD": "yes"}}
            yield {**sent, name: {"empty": "BAD"}}
        elif isinstance(value, str):
            yield {**sent, name: "BAD"}


@pytest.mark.parametrize("bad", [*BAD, *HALF_PAIRS])
def test_in_a_request(client: TestClient, sort: SortInfo, bad: str) -> None:
    """Each text of each JSON request, all others being good or left out."""
    described = client.get("/api/openapi.json").json()
    known = {"programme_id": "alder_valley", "category": "food", "unit": "kg", "resolution": "0.1"}
    optional = ("capture_id", "batch_id", "study_id", "from_scope", "head", "tare_unit")
    tried = 0
    for path, operations in described["paths"].items():
        body = operations.get("post", {}).get("requestBody", {}).get("content", {})
        if "application/json" not in body:
            continue
        whole = _texts(body["application/json"]["schema"], described["components"]["schemas"])
        whole |= {name: value for name, value in known.items() if name in whole}
        for changed in _places(whole):
            sent = {
                name: value
                for name, value in changed.items()
                if name not in optional or value == "BAD"
            }
            text = json.dumps(sent).replace('"BAD"', json.dumps(bad))
            address = _PARAMETER.sub(new_id(), path.replace("{sort_id}", sort.id))
            headers = {"content-type": "application/json"}
            _refused(client.post(address, content=text, headers=headers), (path, changed))
            tried += 1
    assert tried > 60


@pytest.mark.parametrize("field", ["study", "name", "place", "who", "capture", "batch_id"])
@pytest.mark.parametrize("path", ["/sorts", "/studies", "/examples/review", "/studies/{}/sorts"])
def test_in_a_form(client: TestClient, path: str, field: str) -> None:
    """Typed in the page's own way, and in a way of writing that makes half pairs."""
    page = {"accept": "text/html"}
    for bad in BAD:
        answer = client.post(path.format(new_id()), data={field: bad}, headers=page)
        _refused(answer, (path, field))
    for charset in ("unicode_escape", '"utf-7"'):
        head = {"content-type": f"multipart/form-data; boundary=b; charset={charset}"}
        part = f'--b\r\nContent-Disposition: form-data; name="{field}"\r\n\r\n\\ud800\r\n--b--\r\n'
        answer = client.post(path.format(new_id()), content=part, headers=page | head)
        assert answer.status_code == 415
        assert "send it in UTF-8" in answer.text


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
