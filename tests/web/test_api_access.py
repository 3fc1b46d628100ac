"""Joining over HTTP: cookies, failures that make wait, shutting out, other methods."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.app import create_app
from service.services import Services
from service.settings import Settings
from service.web import access, attempts
from service.web.attempts import Attempts
from service.web.lan_address import LanAddress, qr_svg, qr_text
from tests.fakes import UNKNOWN_ID, jpeg, new_id

LAN = "192.168.1.5:8017"


@pytest.fixture
def app(services: Services, settings: Settings) -> Any:
    """Return an app that a network reaches."""
    reachable = settings.model_copy(update={"host": "192.168.1.5"})
    return create_app(reachable, services=services, lan_address=LanAddress(f"http://{LAN}"))


def device(app: Any, *, scheme: str = "http", peer: str = "192.168.1.77") -> TestClient:
    return TestClient(app, base_url=f"{scheme}://{LAN}", client=(peer, 40_000))


@pytest.fixture
def phone(app: Any) -> Iterator[TestClient]:
    """Return a phone that has not joined."""
    with device(app) as made:
        yield made


def join(client: TestClient, services: Services, role: str = "sorter", name: str = "Ana") -> Any:
    code = access.make_join_code(services, role=role)
    return client.post("/join", data={"code": code.grouped, "name": name}, follow_redirects=False)


def test_from_the_laptops_page_to_a_photo(app: Any, phone: TestClient, sort: SortInfo) -> None:
    """The link in the QR code, the form behind it, a session, an entry, and out again."""
    laptop = TestClient(app, base_url="http://localhost:8017", client=("127.0.0.1", 50_000))
    shown = laptop.post("/devices/codes", data={"role": "sorter"}).text
    assert "<svg" in shown
    link = re.search(rf'href="http://{LAN}(/join/[0-9A-Z-]{{14}})"', shown)
    assert link is not None
    form = phone.get(link[1])
    assert link[1].rpartition("/")[2] in form.text
    typed = {"code": link[1].rpartition("/")[2], "name": "Ana <b>"}
    joined = phone.post("/join", data=typed, follow_redirects=False)
    assert (joined.status_code, joined.headers["location"]) == (303, "/")
    sent = phone.post(
        f"/api/sorts/{sort.id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("a.jpg", jpeg())},
    )
    assert sent.status_code == 201
    listed = laptop.get("/devices").text
    assert "Ana &lt;b&gt;" in listed
    revoke = re.search(r'action="(/devices/[0-9a-f-]{36}/revoke)"', listed)
    assert revoke is not None
    assert laptop.post(revoke[1]).status_code == 200
    assert phone.get("/api/sorts").json()["error"]["code"] == "not_let_in"
    assert "Devices with access (0)" in laptop.get("/devices").text
    again = laptop.post("/devices/codes", data={"role": "root"})
    assert again.status_code == 422


def test_the_cookie_is_out_of_reach(app: Any, services: Services) -> None:
    """Of scripts, of other sites, and over HTTPS of HTTP."""
    plain = join(device(app), services).headers["set-cookie"].lower()
    secure = join(device(app, scheme="https"), services).headers["set-cookie"]
    for cookie in (plain, secure.lower()):
        assert "; httponly" in cookie
        assert "; samesite=strict" in cookie
        assert "; path=/" in cookie
        assert "domain" not in cookie
    assert "secure" not in plain
    assert secure.startswith("__Host-tallytare=")
    assert "; Secure" in secure


def test_a_cookie_of_http_opens_nothing_over_https(app: Any, services: Services) -> None:
    phone = device(app)
    join(phone, services)
    token = phone.cookies["tallytare"]
    over_https = device(app, scheme="https")
    assert over_https.get("/api/sorts", headers={"cookie": f"tallytare={token}"}).status_code == 401
    named = {"cookie": f"__Host-tallytare={token}"}
    assert over_https.get("/api/sorts", headers=named).status_code == 200


def test_the_same_browser_joins_again(phone: TestClient, services: Services) -> None:
    """Its first session ends, so that the list shows each phone once."""
    join(phone, services, "sorter")
    join(phone, services, "trainer")
    assert [each.role for each in access.list_devices(services) if not each.revoked] == ["trainer"]


def test_a_device_leaves(phone: TestClient, services: Services) -> None:
    join(phone, services)
    token = phone.cookies["tallytare"]
    left = phone.post("/leave", follow_redirects=False)
    assert left.headers["location"] == "/join"
    assert "tallytare" not in phone.cookies
    headers = {"cookie": f"tallytare={token}"}
    assert phone.get("/api/sorts", headers=headers).status_code == 401
    assert phone.post("/leave", follow_redirects=False).status_code == 303  # harmless


@pytest.mark.parametrize(
    "cookie", ["tallytare=", "tallytare=x", "tallytare=" + "x" * 5_000, "=;;=", "a" * 9_000, "\xff"]
)
def test_cookies_that_are_none(phone: TestClient, cookie: str) -> None:
    answer = phone.get("/api/sorts", headers={b"cookie": cookie.encode("latin-1")})
    assert answer.status_code == 401


def test_cookies_of_others_do_not_hide_ours(phone: TestClient, services: Services) -> None:
    """Another program on the laptop may set what it likes: cookies know no ports."""
    join(phone, services)
    token = phone.cookies["tallytare"]
    phone.cookies.clear()
    mixed = {"cookie": f'a="; b=[x]; c d=1; tallytare={token}; e={{}}'}
    assert phone.get("/api/sorts", headers=mixed).status_code == 200


def test_failures_make_wait_and_then_lock_out(
    app: Any, phone: TestClient, services: Services
) -> None:
    now = [1000.0]
    app.state.attempts = Attempts(lambda: now[0])
    wrong = {"code": "AAAA-AAAA-AAAA", "name": "Eve"}
    for _ in range(attempts.FREE):
        refused = phone.post("/join", data=wrong)
        assert refused.status_code == 403
        assert "no such join code" in refused.text
    slowed = phone.post("/join", data=wrong)
    assert (slowed.status_code, slowed.headers["retry-after"]) == (429, "1")
    assert "wait 1 second" in slowed.text
    good = access.make_join_code(services, role="sorter").code
    assert phone.post("/join", data={"code": good, "name": "Eve"}).status_code == 429
    while (status := phone.post("/join", data=wrong)).headers.get("retry-after") != "900":
        now[0] += int(status.headers.get("retry-after", 0))
    assert "wait 15 minutes" in status.text
    assert join(phone, services).status_code == 429
    assert join(device(app, peer="192.168.1.78"), services).status_code == 303
    now[0] += 900
    assert join(phone, services).status_code == 303
    assert phone.post("/join", data=wrong).status_code == 403  # forgiven with the right code


def test_a_wrong_name_is_no_failed_attempt(phone: TestClient) -> None:
    for _ in range(5):
        answer = phone.post("/join", data={"code": "AAAA-AAAA-AAAA", "name": ""})
        assert answer.status_code == 422


def test_memory_of_attempts_is_bounded() -> None:
    now = [0.0]
    memory = Attempts(lambda: now[0])
    for number in range(3 * attempts.MOST_ADDRESSES):
        memory.begin(f"10.{number // 65536}.{number // 256 % 256}.{number % 256}")
        now[0] += 2.0
    assert len(memory._records) == attempts.MOST_ADDRESSES


def test_wrong_codes_from_many_addresses_lock_out_nobody_else() -> None:
    """Also from the same network of IPv6, which is the whole of a house."""
    memory = Attempts(lambda: 0.0)
    for number in range(500):
        memory.begin(f"10.0.{number // 250}.{number % 250}")
        memory.begin(f"2001:db8::{number + 1:x}")
    assert memory.begin("10.9.9.9") == 0
    assert memory.begin("2001:db8::ffff:1") == 0


def test_as_many_addresses_as_one_likes_do_not_help_to_guess() -> None:
    """A hundred services with an open code each, all asked as fast as a machine answers."""
    services = open_codes = 100
    tries = services * 1_000 * access.CODE_LIFE.total_seconds()
    codes = len(access._LETTERS) ** access._CODE_LETTERS
    assert tries * open_codes / codes < 1e-8


def test_an_address_is_counted_however_it_is_written() -> None:
    memory = Attempts(lambda: 0.0)
    for written in ("10.0.0.1", "::ffff:10.0.0.1", "::ffff:a00:1"):
        assert memory.begin(written) == 0
    assert memory.begin("10.0.0.1") == 1
    assert memory.begin("testclient") == 0


def test_old_failures_are_forgotten() -> None:
    now = [0.0]
    memory = Attempts(lambda: now[0])
    for _ in range(attempts.FREE):
        memory.begin("10.0.0.1")
    now[0] = 3 * attempts.LOCK_S
    assert [memory.begin("10.0.0.1") for _ in range(attempts.FREE + 1)] == [0, 0, 0, 1]


def test_attempts_at_the_same_time_are_no_way_around() -> None:
    memory = Attempts(lambda: 0.0)
    assert [memory.begin("10.0.0.1") for _ in range(20)].count(0) == attempts.FREE


def test_another_page_joins_nobody(phone: TestClient, services: Services) -> None:
    """A foreign page could else put its own session on a phone."""
    code = access.make_join_code(services, role="sorter").code
    sent = {"code": code, "name": "Eve"}
    foreign = phone.post("/join", data=sent, headers={"origin": "https://elsewhere.example"})
    assert foreign.status_code == 403
    assert phone.post("/join", data=sent, follow_redirects=False).status_code == 303


def test_nothing_is_read_of_one_who_is_not_let_in(app: Any) -> None:
    """Forty megabytes of a stranger don't reach the form's parser."""
    asked = 0

    async def receive() -> dict[str, Any]:
        nonlocal asked
        asked += 1
        return {"type": "http.request", "body": b"x" * 65_536, "more_body": True}

    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": f"/api/sorts/{new_id()}/captures",
        "raw_path": b"",
        "query_string": b"",
        "headers": [(b"host", LAN.encode()), (b"content-length", b"39000000")],
        "client": ("192.168.1.77", 1),
        "server": ("192.168.1.5", 8017),
    }
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 401
    assert asked == 0


def test_devices_page_without_a_network(client: TestClient) -> None:
    """It says how to let phones in."""
    text = client.get("/devices").text
    assert "tallytare serve --lan" in text
    assert "No other device" in text


def test_devices_page_under_https(services: Services, settings: Settings) -> None:
    lan_address = LanAddress("https://192.168.1.5:8017", ("https://10.0.0.1:8017",), "AB:CD")
    app = create_app(settings, services=services, lan_address=lan_address)
    text = TestClient(app, base_url="http://localhost").get("/devices").text
    for words in ("AB:CD", "https://10.0.0.1:8017", "shows a warning once"):
        assert words in text


def test_qr_codes() -> None:
    """Black on white, whatever the scheme of colours, and nothing inline."""
    svg = str(qr_svg("http://192.168.1.5:8017/join/ABCD-EFGH-JKMN"))
    assert svg.startswith("<svg")
    assert "style=" not in svg
    assert 'class="qr"' in svg
    assert qr_text("http://192.168.1.5:8017/join/ABCD-EFGH-JKMN").count("\n") > 10


@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("/api/sorts", "GET, HEAD, POST"),
        ("/api/tares", "GET, HEAD, POST"),
        ("/sorts", "GET, HEAD, POST"),
        ("/api/health", "GET, HEAD"),
        (f"/api/sorts/{UNKNOWN_ID}/items", "GET, HEAD, POST"),
        (f"/api/sorts/{UNKNOWN_ID}/close", "POST"),
        ("/static/base.css", "GET, HEAD"),
    ],
)
@pytest.mark.parametrize("method", ["DELETE", "PUT", "PATCH", "TRACE", "OPTIONS", "NONSENSE"])
def test_other_methods_are_told_which_there_are(
    client: TestClient, method: str, path: str, allowed: str
) -> None:
    answer = client.request(method, path)
    assert (answer.status_code, answer.headers["allow"]) == (405, allowed)
    assert answer.json()["error"]["details"]["allowed"] == allowed.split(", ")


@pytest.mark.parametrize("path", ["/", "/api/health", "/api/sorts", "/static/base.css", "/nowhere"])
def test_head_says_what_get_would(client: TestClient, path: str) -> None:
    whole, head = client.get(path), client.head(path)
    assert head.status_code == whole.status_code
    assert head.content == b""
    for name in ("content-type", "content-length", "content-security-policy"):
        assert head.headers[name] == whole.headers[name], name
