"""The outbox where the phone is full, or two tabs send from it at once: nothing lost or stuck."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import (
    another_pile,
    answered,
    photo_while_away,
    read,
    start_sort,
    total,
    upload,
)
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

BROKEN = """() => {
  IDBDatabase.prototype.transaction = () => { throw new DOMException("I/O", "UnknownError"); };
}"""
UNREADABLE = """() => {
  IDBObjectStore.prototype.getAll = () => { throw new DOMException("I/O", "UnknownError"); };
}"""
UNWRITABLE = """() => {
  IDBObjectStore.prototype.delete = () => { throw new DOMException("I/O", "UnknownError"); };
}"""


def refuse_posts(route: Route) -> None:
    """Let a page read, but send nothing."""
    if route.request.method == "POST":
        route.abort()
    else:
        route.continue_()


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
    another_pile(page, "corrugated")
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


def test_a_box_that_breaks_while_the_page_is_open_loses_nothing(page: Page, server: Server) -> None:
    """Neither what it had kept nor what comes afterwards, and in the order of entry."""
    sort_id = start_sort(page, server)
    server.kill()
    by_hand(page, "steel", 1)
    expect(page.locator("#outage")).to_contain_text("Kept on this device: 1 record")
    page.evaluate(BROKEN)
    by_hand(page, "steel", 2)
    expect(page.locator("#outage")).to_contain_text("leave it open): 2 records")
    server.start()
    total(page, 3)
    by_hand(page, "steel", 3)
    total(page, 6)
    expect(page.locator("#outage")).to_be_hidden()
    assert counts(server, sort_id) == [3, 2, 1]


@pytest.mark.parametrize("fault", [UNWRITABLE, UNREADABLE])
def test_a_box_that_only_takes_sends_each_entry_once(
    page: Page, server: Server, fault: str
) -> None:
    """What was answered is over, even if it can't be taken out of the box, or the box be read."""
    sort_id = start_sort(page, server)
    page.evaluate(fault)
    sent: list[str] = []
    page.on("request", lambda each: sent.append(each.method))
    for number in (1, 2, 3):
        by_hand(page, "steel", number)
        total(page, number * (number + 1) // 2)
    expect(page.locator("#recent .stamp", has_text="waiting")).to_have_count(0)
    assert sent.count("POST") == 3
    assert counts(server, sort_id) == [3, 2, 1]
    other = reopened(page.context, server, sort_id)  # its own box is whole: it sends what is left
    expect(other.locator("#outage")).to_be_hidden()
    assert other.evaluate(WAITING) == []
    assert counts(server, sort_id) == [3, 2, 1]


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
        expect(tab.locator("#recent .stamp", has_text="waiting")).to_have_count(0)
    assert page.evaluate(WAITING) == []
    assert sorted(counts(server, sort_id)) == [1, 2, 3, 4]


def test_what_the_other_tab_sent_first_is_seen_where_the_rest_is_sent(
    context: BrowserContext, page: Page, server: Server
) -> None:
    """Of two entries of this tab the other one sends the first; this one sends the second."""
    sort_id = start_sort(page, server)
    other = reopened(context, server, sort_id)
    sent: list[Route] = []

    def only_one(route: Route) -> None:
        if route.request.method == "POST":
            sent.append(route)
        if len(sent) > 1:
            refuse_posts(route)
        else:
            route.continue_()

    page.route("**/api/**", refuse_posts)
    other.route("**/api/**", only_one)
    for count in (1, 2):
        by_hand(page, "steel", count)
        expect(page.locator("#recent .stamp", has_text="waiting")).to_have_count(count)
    other.evaluate("dispatchEvent(new Event('online'))")
    total(other, 1)
    page.unroute("**/api/**")
    total(page, 3)
    expect(page.locator("#recent .stamp", has_text="waiting")).to_have_count(0)
    assert page.evaluate(WAITING) == []
    assert counts(server, sort_id) == [2, 1]


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
    expect(page.locator("#recent li").first).to_contain_text("waiting")
    by_hand(other, "steel", 5)
    total(other, 7)  # what waited first goes first, whichever tab it is from
    held[0].continue_()
    expect(page.locator("#recent .stamp", has_text="waiting")).to_have_count(0)
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


def test_a_photo_with_its_pile_named_by_hand_is_not_lost_sight_of(
    page: Page, server: Server, tmp_path: Path
) -> None:
    """Its answer comes while it is on the ticket; the next photo sets it aside unconfirmed."""
    start_sort(page, server)
    photo_while_away(page, server, tmp_path)
    another_pile(page, "corrugated")
    expect(page.locator("#confirm")).to_contain_text("orrugated")
    server.start()
    expect(page.locator("#outage")).to_be_hidden()
    expect(page.locator("#confirm")).to_contain_text("orrugated")  # the answer changes nothing
    upload(page, tmp_path, "food_can", seed=1)
    answered(page, "route")
    expect(page.locator("#unanswered li")).to_have_count(1)
    page.locator("#unanswered button").click()
    answered(page, "route")
    page.locator("#confirm").click()
    total(page, 1)


def test_what_is_entered_while_the_page_catches_up_stays_in_sight(
    context: BrowserContext, page: Page, server: Server
) -> None:
    """Another tab has sent what waited; the page asks for that, and cannot send the next entry."""
    sort_id = start_sort(page, server)
    other = reopened(context, server, sort_id)
    page.route("**/items", refuse_posts)
    held: list[Route] = []
    page.route("**/tally", lambda route: held.append(route))
    by_hand(page, "steel", 1)
    expect(page.locator("#outage")).to_be_visible()
    by_hand(other, "steel", 2)
    total(other, 3)
    while not held:
        page.wait_for_timeout(100)
    by_hand(page, "steel", 4)
    expect(page.locator("#recent li")).to_have_count(2)
    page.unroute("**/tally")
    held[0].continue_()
    expect(page.locator("#recent li")).to_have_count(3)
    expect(page.locator("#recent .stamp", has_text="waiting")).to_have_count(1)
    expect(page.locator("#recent li").first).to_contain_text("4 \u00d7")
    page.unroute("**/items")
    total(page, 7)
    assert counts(server, sort_id) == [4, 2, 1]
