"""The outbox where the phone is full, or two tabs send from it at once: nothing lost or stuck."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.e2e.bench import answered, read, start_sort, total, upload
from tests.e2e.conftest import Server
from tests.e2e.test_away import WAITING, by_hand, reopened

pytestmark = pytest.mark.e2e
NO_ROOM = """() => {
  IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
}"""
CLOSED = """() => {
  const real = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (...given) {
    IDBDatabase.prototype.transaction = real;
    throw new DOMException("The database connection is closing.", "InvalidStateError");
  };
}"""


def counts(server: Server, sort_id: str) -> list[int]:
    """Return the counts of all items, the newest first."""
    return [each["current"]["count"] for each in read(server, f"/api/sorts/{sort_id}/items")]


def test_a_phone_without_room_says_that_the_page_must_stay_open(
    page: Page, server: Server, tmp_path: Path
) -> None:
    """What it can't keep goes out all the same, after what it had kept before."""
    sort_id = start_sort(page, server)
    server.kill()
    by_hand(page, "steel", 2)
    expect(page.locator("#outage")).to_contain_text("Kept on this device: 1 record")
    page.evaluate(NO_ROOM)
    upload(page, tmp_path, "food_can")
    answered(page, "away")
    expect(page.locator("#outage")).to_contain_text("leave it open): 1 photo and 1 record")
    page.locator("#other").click()
    page.locator("#picker-filter").fill("corrugated")
    page.keyboard.press("Enter")
    page.locator("#count").fill("4")
    page.locator("#confirm").click()
    expect(page.locator("#outage")).to_contain_text("1 photo and 2 records")
    server.start()
    total(page, 6)
    expect(page.locator("#outage")).to_be_hidden()
    expect(page.locator("#refused")).to_be_hidden()
    assert counts(server, sort_id) == [4, 2]


def test_a_box_that_the_system_closed_is_opened_again(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    page.evaluate(CLOSED)
    by_hand(page, "steel", 3)
    total(page, 3)
    server.kill()
    page.evaluate(CLOSED)
    by_hand(page, "steel", 1)
    expect(page.locator("#outage")).to_contain_text("Kept on this device: 1 record")
    server.start()
    total(page, 4)
    assert counts(server, sort_id) == [1, 3]


def test_two_tabs_send_at_once(context: BrowserContext, page: Page, server: Server) -> None:
    """Both enter while the server is away; when it is back each entry counts once."""
    sort_id = start_sort(page, server)
    other = reopened(context, server, sort_id)
    server.kill()
    for number, tab in enumerate((page, other, page, other), 1):
        by_hand(tab, "steel", number)
        expect(tab.locator("#outage")).to_be_visible()
    server.start()
    for tab in (page, other):
        expect(tab.locator("#outage")).to_be_hidden()
        expect(tab.locator("#refused")).to_be_hidden()
    for tab in (page, other):
        assert tab.evaluate(WAITING) == []
        expect(tab.locator("#lately .stamp", has_text="waiting")).to_have_count(0)
    assert sorted(counts(server, sort_id)) == [1, 2, 3, 4]


def test_what_the_other_tab_has_sent_is_not_waited_for(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    """One tab hangs at a photo; the other sends all; the first then hears the answers too."""
    sort_id = start_sort(page, server)
    other = reopened(context, server, sort_id)
    held: list[Route] = []
    page.route("**/captures", lambda route: held.append(route))
    upload(page, tmp_path, "food_can")
    page.wait_for_timeout(300)
    by_hand(page, "steel", 2)
    expect(page.locator("#lately li").first).to_contain_text("waiting")
    by_hand(other, "steel", 5)
    total(other, 7)  # what waited first goes first, whichever tab it is from
    held[0].continue_()
    expect(page.locator("#lately .stamp", has_text="waiting")).to_have_count(0)
    expect(page.locator("#unanswered li")).to_have_count(1)  # it was set aside
    assert page.evaluate(WAITING) == []
    assert counts(server, sort_id) == [5, 2]


def test_a_photo_that_the_other_tab_has_sent_is_answered_here(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    """It was taken while the server was away, and is on this tab's ticket."""
    sort_id = start_sort(page, server)
    other = reopened(context, server, sort_id)
    page.route("**/captures", lambda route: route.abort())
    upload(page, tmp_path, "food_can")
    answered(page, "away")
    by_hand(other, "steel", 1)
    total(other, 1)
    assert len(read(server, f"/api/sorts/{sort_id}/captures")) == 1
    page.unroute("**/captures")
    answered(page, "route")
    expect(page.locator("#outage")).to_be_hidden()
    page.locator("#confirm").click()
    total(page, 2)
