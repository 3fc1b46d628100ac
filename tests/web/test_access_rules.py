"""Each address has a rule, and the rule holds for everyone who asks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import fastapi.routing
import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.services import Services
from service.settings import Settings
from service.web import access
from service.web.roles import PERMISSIONS, RULES, AccessLevel, Permission, need_of
from service.web.visitors import COOKIE
from tests.fakes import new_id

LAN = "192.168.1.5"
PHONE = "192.168.1.77"


def routes(services: Services, settings: Settings) -> Iterator[tuple[str, str]]:
    """Give method and path of every route that the app has."""
    app = create_app(settings, services=services)
    walk: Callable[[Any], Iterator[Any]] = getattr(fastapi.routing, "iter_route_contexts", iter)
    for route in walk(app.routes):
        path = str(getattr(route, "path", None) or getattr(route.original_route, "path", ""))
        methods: set[str] | None = getattr(route, "methods", None)
        if methods is None:  # a folder of files
            yield "GET", f"{path}/{{path:path}}"
        for method in methods or ():
            yield method, path


def ruled() -> set[tuple[str, str]]:
    return {(method, path) for _, methods, path in RULES for method in methods}


def test_every_route_has_a_rule_and_every_rule_a_route(
    services: Services, settings: Settings
) -> None:
    """A route without one would be closed to all devices; nobody would notice at the laptop."""
    found = {(method, path) for method, path in routes(services, settings) if method != "HEAD"}
    assert len(found) > 50
    assert found - ruled() == set(), "add them to RULES in service/web/roles.py"
    assert ruled() - found == set(), "these rows of RULES fit no route"


def test_what_the_roles_add_up_to() -> None:
    """Each role may all that the one before may; only the laptop lets others in."""
    order = list(AccessLevel)
    for less, more in pairwise(order):
        assert PERMISSIONS[less] < PERMISSIONS[more]
    assert PERMISSIONS[AccessLevel.NOBODY] == {Permission.ENTER}
    assert {each for each in AccessLevel if Permission.ADMIT in PERMISSIONS[each]} == {
        AccessLevel.LAPTOP
    }
    assert {Permission(role) for role in Permission} == PERMISSIONS[AccessLevel.LAPTOP]


def test_open_to_nobody_is_only_what_joining_takes() -> None:
    """Written out again on purpose: whoever opens another address to all must do so here too."""
    assert {path for act, _, path in RULES if act is Permission.ENTER} == {
        "/join",
        "/join/{code}",
        "/leave",
        "/away",
        "/sw.js",
        "/static/{path:path}",
    }


def test_where_two_rows_fit_both_must_be_met() -> None:
    assert need_of("GET", "/sorts/new").permissions == {Permission.RECORD, Permission.READ}
    assert need_of("GET", "/sorts/other").permissions == {Permission.READ}
    assert need_of("GET", "/nowhere").permissions == frozenset()
    assert need_of("GET", "/static/js/sorting.js").permissions == {Permission.ENTER}
    assert need_of("GET", "/api/sorts/").permissions == frozenset()


@pytest.fixture
def app(services: Services, settings: Settings) -> Iterator[TestClient]:
    """Return a client that comes over the network."""
    reachable = settings.model_copy(update={"host": LAN})
    made = create_app(reachable, services=services)
    with TestClient(made, base_url=f"http://{LAN}:8017", client=(PHONE, 40_000)) as client:
        yield client


def _session(services: Services, level: AccessLevel) -> dict[str, str]:
    if level is AccessLevel.NOBODY:
        return {}
    code = access.make_join_code(services, role=level.value)
    token = access.join(services, code=code.code, name="phone").token
    return {"cookie": f"{COOKIE}={token}"}


@pytest.mark.parametrize("level", [each for each in AccessLevel if each is not AccessLevel.LAPTOP])
def test_every_rule_holds(app: TestClient, services: Services, level: AccessLevel) -> None:
    """Asked of the whole app, for each address and method; ids that nothing has do."""
    refusal = {AccessLevel.NOBODY: (401, "not_let_in")}.get(level, (403, "role_too_small"))
    session = _session(services, level)
    for method, template in sorted(ruled()):
        path = template.replace("{path:path}", "base.css")
        for name in ("sort_id", "capture_id", "item_id", "weighing_id", "device_id"):
            path = path.replace(f"{{{name}}}", new_id())
        path = path.replace("{", "").replace("}", "")
        app.cookies.clear()
        answer = app.request(method, path, headers=session, follow_redirects=False)
        kind = answer.headers.get("content-type", "")
        code = answer.json()["error"]["code"] if "json" in kind and answer.is_error else ""
        if need_of(method, path).permissions <= PERMISSIONS[level]:
            assert code not in ("not_let_in", "role_too_small"), (method, path)
            assert answer.status_code not in (401, 405), (method, path)
        else:
            assert (answer.status_code, code) == refusal, (method, path)
        if path == "/leave":
            session = _session(services, level)


@pytest.mark.parametrize("path", ["/nowhere", "/api/nowhere", "/docs", "/devices/x/y", "/sorts//"])
def test_an_address_without_a_rule_is_nothing_to_a_device(
    app: TestClient, services: Services, path: str
) -> None:
    owner = _session(services, AccessLevel.OWNER)
    assert app.get(path, headers=owner).status_code == 404
    assert app.get(path).status_code == 401


@pytest.mark.parametrize(
    ("peer", "headers"),
    [
        (PHONE, {"host": "localhost:8017"}),
        (PHONE, {"host": "127.0.0.1"}),
        ("testclient", {"host": "localhost"}),
        ("127.0.0.1", {"host": f"{LAN}:8017"}),
        ("127.0.0.1", {"host": "sorting.example"}),
        ("127.0.0.1", {"host": "localhost", "x-forwarded-for": PHONE}),
        ("127.0.0.1", {"host": "localhost", "x-forwarded-for": "127.0.0.1"}),
        ("127.0.0.1", {"host": "localhost", "forwarded": "for=127.0.0.1"}),
        ("127.0.0.1", {"host": "localhost", "via": "1.1 proxy"}),
    ],
)
def test_who_is_not_the_laptop(
    services: Services, settings: Settings, peer: str, headers: dict[str, str]
) -> None:
    """A phone that says "localhost", a proxy or tunnel on the laptop."""
    update = {"host": LAN, "allowed_hosts": ("sorting.example",)}
    app = create_app(settings.model_copy(update=update), services=services)
    client = TestClient(app, client=(peer, 40_000))
    assert client.get("/devices", headers=headers).status_code == 401
    assert client.get("/api/sorts", headers=headers).status_code == 401


@pytest.mark.parametrize("peer", ["127.0.0.1", "127.0.0.2", "::1"])
@pytest.mark.parametrize("host", ["localhost:8017", "127.0.0.1:8017", "[::1]:8017"])
def test_who_is_the_laptop(services: Services, settings: Settings, peer: str, host: str) -> None:
    app = create_app(settings.model_copy(update={"host": LAN}), services=services)
    client = TestClient(app, client=(peer, 40_000))
    assert client.get("/devices", headers={"host": host}).status_code == 200


def test_a_role_shows_only_what_it_may(app: TestClient, services: Services) -> None:
    for level in (AccessLevel.SORTER, AccessLevel.OWNER):
        text = app.get("/", headers=_session(services, level)).text
        assert 'href="/devices"' not in text
        assert f"phone</b>, {level}" in text
    refused = app.get(
        "/devices", headers=_session(services, AccessLevel.OWNER) | {"accept": "text/html"}
    )
    assert refused.status_code == 403
    assert "the laptop itself" in refused.text
    nobody = app.get("/", headers={"accept": "text/html"})
    assert "Join the sort" in nobody.text
    assert 'href="/categories"' not in nobody.text
