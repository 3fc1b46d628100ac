"""The server is away: the page opens from this device, keeps what is entered, sends it in order."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import another_pile, answered, read, start_sort, total, upload

pytestmark = pytest.mark.e2e
WAITING = """async () => {
  const box = await new Promise((resolve) => {
    const asked = indexedDB.open("tallytare-outbox", 1);
    asked.onsuccess = () => resolve(asked.result);
  });
  const all = await new Promise((resolve) => {
    const asked = box.transaction("unsent").objectStore("unsent").getAll();
    asked.onsuccess = () => resolve(asked.result);
  });
  box.close();
  return all.map((each) => each.captureId ?? each.json.item_id);
}"""
KEPT = """async () => {
  const found = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) found.push([name, new URL(request.url).pathname]);
  }
  return found;
}"""


def opens_away(page: Page) -> None:
    """Wait until the browser has kept the page."""
    page.wait_for_selector("body[data-opens-away]")


def reopened(context: BrowserContext, server: Server, sort_id: str) -> Page:
    """Open the sorting page afresh."""
    again = context.new_page()
    again.goto(f"{server.address}/sorts/{sort_id}")
    again.wait_for_selector("body[data-ready]")
    return again


def by_hand(page: Page, text: str, count: int = 1) -> None:
    """Enter items without a photo."""
    page.locator("#by-hand").click()
    page.locator("#picker-filter").fill(text)
    page.keyboard.press("Enter")
    page.locator("#count").fill(str(count))
    page.locator("#confirm").click()


def test_three_photos_survive_the_tab_and_the_server(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    """Server killed, three photos, tab closed, server started, tab opened: three, same ids."""
    sort_id = start_sort(page, server)
    opens_away(page)
    server.kill()
    for number, form in enumerate(("food_can", "corrugated_cardboard", "food_can")):
        upload(page, tmp_path, form, seed=number)
        answered(page, "away")
        expect(page.locator("#outage")).to_contain_text(f"{number + 1} photo")
    ids = page.evaluate(WAITING)
    assert len(set(ids)) == 3
    page.close()

    server.start()
    sent: list[str] = []
    again = context.new_page()
    again.on("request", lambda each: sent.append(f"{each.method} {each.url}"))
    again.goto(f"{server.address}/sorts/{sort_id}")
    again.wait_for_selector("body[data-ready]")
    expect(again.locator("#unanswered li")).to_have_count(3)
    expect(again.locator("#outage")).to_be_hidden()
    captures = read(server, f"/api/sorts/{sort_id}/captures")
    assert [each["id"] for each in reversed(captures)] == ids  # in the order they were taken
    assert sent.count(f"POST {server.address}/api/sorts/{sort_id}/captures") == 3
    assert again.evaluate(WAITING) == []


def test_opens_afresh_while_the_server_is_away(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    """Photos and presses of "confirm", made in a tab that was opened without the server."""
    sort_id = start_sort(page, server)
    opens_away(page)
    by_hand(page, "steel", 2)
    total(page, 2)
    page.close()
    server.kill()

    away = reopened(context, server, sort_id)
    expect(away.locator("#outage")).to_contain_text("as it was at")
    total(away, 0)  # as it stood when it was kept
    upload(away, tmp_path, "food_can")
    answered(away, "away")
    another_pile(away, "corrugated")
    away.locator("#confirm").click()
    by_hand(away, "steel", 4)
    expect(away.locator("#outage")).to_contain_text("1 photo and 2 records")
    ids = away.evaluate(WAITING)
    away.close()

    once_more = reopened(context, server, sort_id)  # and still away
    expect(once_more.locator("#outage")).to_contain_text("1 photo and 2 records")
    expect(once_more.locator("#recent li .stamp")).to_have_text(["waiting", "waiting"])
    server.start()
    total(once_more, 7)
    expect(once_more.locator("#outage")).to_be_hidden()
    expect(once_more.locator("#recent li")).to_have_count(3)
    items = read(server, f"/api/sorts/{sort_id}/items")
    assert [entry["current"]["count"] for entry in items] == [4, 1, 2]
    assert [items[1]["current"]["capture_id"], items[1]["current"]["id"]] == ids[:2]
    assert items[0]["current"]["id"] == ids[2]


def test_a_page_that_was_kept_learns_what_happened_meanwhile(
    context: BrowserContext, page: Page, server: Server
) -> None:
    """Nothing waits on this device, but another one has counted."""
    sort_id = start_sort(page, server)
    opens_away(page)
    by_hand(page, "steel", 3)
    total(page, 3)
    page.close()
    server.kill()
    away = reopened(context, server, sort_id)
    total(away, 0)
    expect(away.locator("#outage")).to_contain_text("Nothing is waiting")
    server.start()
    total(away, 3)
    expect(away.locator("#outage")).to_be_hidden()
    expect(away.locator("#recent li")).to_have_count(1)


def test_what_is_kept_and_what_is_not(page: Page, server: Server) -> None:
    """The page and its files; no answer of the JSON interface, no photo, no other page."""
    sort_id = start_sort(page, server)
    opens_away(page)
    by_hand(page, "steel")
    total(page, 1)
    page.goto(server.address + "/categories")
    page.goto(f"{server.address}/sorts/{sort_id}/report")
    kept = page.evaluate(KEPT)
    paths = {path for _, path in kept}
    assert {path for path in paths if not path.startswith("/static/")} == {
        "/away",
        f"/sorts/{sort_id}",
    }
    assert "/static/js/sorting.js" in paths
    server.kill()
    page.goto(server.address + "/")
    expect(page.locator("h1")).to_have_text("The laptop can\u2019t be reached")
    page.get_by_role("link", name="Block C, week 47").click()
    page.wait_for_selector("body[data-ready]")
    assert page.url.endswith(sort_id)


def test_a_new_version_leaves_nothing_of_the_old(
    context: BrowserContext, page: Page, server: Server
) -> None:
    """The server goes first in any case; what was kept of another version is thrown away."""
    sort_id = start_sort(page, server)
    opens_away(page)
    old = {name for name, _ in page.evaluate(KEPT)}
    assert len(old) == 2
    page.evaluate(
        """async () => {
          const stale = await caches.open("tallytare-shell-0000000000000000");
          await stale.put("/static/js/sorting.js", new Response("throw new Error('stale')"));
          await (await navigator.serviceWorker.ready).unregister();
        }"""
    )
    page.close()
    again = reopened(context, server, sort_id)
    opens_away(again)
    # The new worker throws it away while it starts to work, not before the page is kept.
    again.wait_for_function("async () => !(await caches.has('tallytare-shell-0000000000000000'))")
    assert {name for name, _ in again.evaluate(KEPT)} == old


def test_a_device_that_is_shut_out_keeps_what_it_entered(page: Page, server: Server) -> None:
    """Its session ends in mid-sort: entries wait until it has joined again."""
    sort_id = start_sort(page, server)
    refused: dict[str, Any] = {"error": {"code": "not_let_in", "message": "ask for a join code"}}
    page.route("**/items", lambda route: route.fulfill(status=401, body=json.dumps(refused)))
    by_hand(page, "steel", 2)
    expect(page.locator("#outage")).to_contain_text("ask for a join code")
    expect(page.locator("#outage")).to_contain_text("1 record")
    page.unroute("**/items")
    total(page, 2)
    assert len(read(server, f"/api/sorts/{sort_id}/items")) == 1
