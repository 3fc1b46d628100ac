"""Who may ask for what: hosts, origins, headers."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.settings import Settings
from service.web.gate import host_rule
from tests.fakes import new_id


def _enter(client: TestClient, sort: SortInfo, **headers: str) -> int:
    return client.post(
        f"/api/sorts/{sort.id}/items",
        json={"item_id": new_id(), "category": "food"},
        headers={name.replace("_", "-"): value for name, value in headers.items()},
    ).status_code


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": "http://localhost.elsewhere.example"},
        {"origin": "http://localhost:8018"},
        {"origin": "null"},
        {"origin": "null", "sec_fetch_site": "none"},
        {"origin": "https://elsewhere.example", "sec_fetch_site": "none"},
        {"sec_fetch_site": "cross-site"},
        {"sec_fetch_site": "same-site"},
        {"origin": "http://localhost", "sec_fetch_site": "cross-site"},
    ],
)
def test_another_page_changes_nothing(
    client: TestClient, sort: SortInfo, headers: dict[str, str]
) -> None:
    """Forms and scripts of other sites are refused; so is another port of this machine."""
    assert _enter(client, sort, **headers) == 403
    assert client.get(f"/api/sorts/{sort.id}/tally").json()["items"] == 0


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://localhost"},
        {"origin": "http://localhost", "sec_fetch_site": "same-origin"},
        {"sec_fetch_site": "none"},
        {"origin": "null", "sec_fetch_site": "same-origin"},
    ],
)
def test_our_own_page_and_programs_may(
    client: TestClient, sort: SortInfo, headers: dict[str, str]
) -> None:
    """A program sends neither header."""
    assert _enter(client, sort, **headers) == 201


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8017", "", "localhost.evil", "8.8.8.8"]
)
def test_a_foreign_name_is_refused(client: TestClient, host: str) -> None:
    """DNS rebinding: a foreign name that points to this machine."""
    response = client.get("/api/sorts", headers={"host": host})
    assert response.status_code == 421
    assert response.json()["error"]["code"] == "host_not_allowed"


def test_names_on_the_loopback_only() -> None:
    """By default neither the LAN nor any other name."""
    allowed = host_rule(Settings())
    for host in ("localhost", "LOCALHOST:8017", "127.0.0.1:8017", "127.0.0.2", "[::1]:8017"):
        assert allowed(host), host
    for host in ("192.168.1.5:8017", "laptop.local", "[fe80::1]", "[", "::1:"):
        assert not allowed(host), host


def test_names_on_the_lan() -> None:
    """Addresses of private networks, and names that were allowed."""
    allowed = host_rule(Settings(host="0.0.0.0", allowed_hosts=("Sorting.Example",)))
    for host in ("192.168.1.5:8017", "10.0.0.2", "[fe80::1]:80", "sorting.example:8017"):
        assert allowed(host), host
    for host in ("8.8.8.8", "evil.example"):
        assert not allowed(host), host
    assert host_rule(Settings(host="laptop.example"))("laptop.example:8017")


@pytest.mark.parametrize(
    "path", ["/api/sorts", "/api/nothing", "/photos/x.jpg", "/static/nothing.css"]
)
def test_every_answer_carries_the_headers(client: TestClient, path: str) -> None:
    """Nothing from elsewhere, no inline script, no frames, no guessing, no referrer for others."""
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert ("no-store" in headers.get("cache-control", "")) == (not path.startswith("/static"))


def test_a_refusal_at_the_gate_carries_them_too(client: TestClient) -> None:
    """Also where no endpoint was reached."""
    response = client.post("/api/sorts", headers={"origin": "https://elsewhere.example"})
    assert response.status_code == 403
    assert "content-security-policy" in response.headers
