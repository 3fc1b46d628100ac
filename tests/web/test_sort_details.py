"""The form that corrects a sort's details, and the same through the JSON interface."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.web.render import NOTHING
from tests.fakes import new_id

HTML = {"accept": "text/html"}


def _form(client: TestClient, sort: SortInfo) -> dict[str, str]:
    """Return what a browser would send of the form as it is shown."""
    html = client.get(f"/sorts/{sort.id}/details", headers=HTML).text
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", html):
        kept = dict(re.findall(r'([a-z]+)="([^"]*)"', tag))
        if "name" in kept and (kept.get("type") != "radio" or " checked" in tag):
            found[kept["name"]] = unescape(kept.get("value", ""))
    return found


def _send(client: TestClient, sort: SortInfo, form: dict[str, str]) -> Any:
    path = f"/sorts/{sort.id}/details"
    return client.post(path, data=form, headers=HTML, follow_redirects=False)


def _sort(client: TestClient, sort: SortInfo) -> Any:
    return client.get(f"/api/sorts/{sort.id}").json()


def _report(client: TestClient, sort: SortInfo) -> str:
    return client.get(f"/sorts/{sort.id}/report", headers=HTML).text


def test_the_form_is_filled_and_corrects_what_is_changed(
    client: TestClient, sort: SortInfo
) -> None:
    """Saved with a message; the report says from what to what, and why."""
    before = _sort(client, sort)
    form = _form(client, sort)
    assert {name: form[name] for name in ("name", "days", "sorted_on")} == {
        "name": sort.name,
        "days": str(sort.days),
        "sorted_on": sort.sorted_on.isoformat(),
    }
    changed = {"days": "14", "sorted_on": "2026-04-30", "place": "", "reason": "<misread>"}
    answer = _send(client, sort, {**form, **changed})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"], headers=HTML).text
    assert "The details are corrected" in page
    after = {**before, "days": 14, "sorted_on": "2026-04-30", "place": ""}
    assert _sort(client, sort) == after
    shown = re.sub(r"<[^>]+>", "", _report(client, sort))
    assert f"days of discards {sort.days} → 14" in shown
    assert "→ 30 Apr 2026" in shown
    assert f"place {sort.place} → {NOTHING}" in shown
    assert "reason: &lt;misread&gt;" in shown


def test_sent_twice_corrects_once(client: TestClient, sort: SortInfo) -> None:
    form = {**_form(client, sort), "persons": "9"}
    assert _send(client, sort, form).headers == _send(client, sort, form).headers
    assert _report(client, sort).count("Details of the sort corrected") == 1
    answer = _send(client, sort, {**form, "persons": "8"})
    assert answer.status_code == 409
    assert "already recorded with other content" in answer.text


def test_a_form_opened_before_another_correction_leaves_that(
    client: TestClient, sort: SortInfo
) -> None:
    """Only what was changed in it is sent on."""
    first, second = _form(client, sort), _form(client, sort)
    _send(client, sort, {**first, "days": "14"})
    _send(client, sort, {**second, "persons": "9"})
    found = _sort(client, sort)
    assert (found["days"], found["persons"]) == (14, 9)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("days", "900", "Days of discards 900 is out of range"),
        ("persons", "many", "is not a whole number"),
        ("sorted_on", "1.5.2026", "is no date"),
        ("name", " ", "Name is empty"),
    ],
)
def test_a_refusal_keeps_what_was_typed(
    client: TestClient, sort: SortInfo, field: str, value: str, message: str
) -> None:
    before = _sort(client, sort)
    form = {**_form(client, sort), "stratum": "typed again", field: value}
    answer = _send(client, sort, form)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="typed again"' in answer.text
    assert form["correction_id"] in answer.text
    assert re.search(rf'data-wrong>\s*<label for="f-{field}"', answer.text)
    assert _sort(client, sort) == before


def test_a_form_without_a_change_says_so(client: TestClient, sort: SortInfo) -> None:
    answer = _send(client, sort, _form(client, sort))
    assert answer.status_code == 422
    assert "Nothing was changed" in answer.text
    assert "Details of the sort corrected" not in _report(client, sort)


def test_the_programme_is_offered_until_an_item_is_recorded(
    client: TestClient, sort: SortInfo
) -> None:
    """Then the form says why it stays, and one opened before is refused."""
    opened = _form(client, sort)
    assert opened["programme_id"] == sort.programme_id
    assert _send(client, sort, {**opened, "programme_id": "port_sable"}).status_code == 303
    assert "local rules Alder Valley → Port Sable" in re.sub(r"<[^>]+>", "", _report(client, sort))
    opened = _form(client, sort)
    sent = {"item_id": new_id(), "category": "food", "count": 1}
    assert client.post(f"/api/sorts/{sort.id}/items", json=sent).status_code == 201
    assert "programme_id" not in _form(client, sort)
    page = client.get(f"/sorts/{sort.id}/details", headers=HTML).text
    assert "because items are recorded with their routes" in page
    answer = _send(client, sort, {**opened, "programme_id": "alder_valley"})
    assert answer.status_code == 409
    assert "Local rules can&#39;t be changed" in answer.text


def test_the_link_is_there_while_the_sort_is_open(client: TestClient, sort: SortInfo) -> None:
    """On each page of the sort; a closed one has to be reopened, and says so."""
    link = f'href="/sorts/{sort.id}/details"'
    pages = [f"/sorts/{sort.id}{each}" for each in ("", "/piles", "/report", "/learning")]
    assert all(link in client.get(path, headers=HTML).text for path in pages)
    form = {**_form(client, sort), "days": "14"}
    client.post(f"/api/sorts/{sort.id}/close", json={"event_id": new_id()})
    assert not any(link in client.get(path, headers=HTML).text for path in pages)
    page = client.get(f"/sorts/{sort.id}/details", headers=HTML).text
    assert "Reopen this sort" in page
    assert "Save the correction" not in page
    answer = _send(client, sort, form)
    assert answer.status_code == 409
    assert 'value="14"' in answer.text


def test_the_json_interface_corrects_what_is_given(client: TestClient, sort: SortInfo) -> None:
    """The sort as it stands afterwards; null and what is left out stay."""
    before = _sort(client, sort)
    body = {"correction_id": new_id(), "persons": 9, "place": None, "reason": "miscounted"}
    path = f"/api/sorts/{sort.id}/corrections"
    answer = client.post(path, json=body)
    assert answer.status_code == 200
    assert answer.json() == _sort(client, sort) == {**before, "persons": 9}
    assert client.post(path, json=body).json() == answer.json()
    (reply,) = client.get(f"/api/sorts/{sort.id}/report").json()["corrections"]["sort_details"]
    assert reply["changes"] == [{"field": "persons", "before": sort.persons, "after": 9}]
    assert reply["reason"] == "miscounted"
    assert client.post(path, json={**body, "persons": 8}).status_code == 409
    assert client.post(path, json={**body, "persons": 0}).status_code == 422
