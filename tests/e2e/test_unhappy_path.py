"""The server dies in mid-use, an answer gets lost, files are no photographs: nothing is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

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

pytestmark = pytest.mark.e2e


def test_what_was_read_off_a_scale_outlives_a_dead_server(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    page.goto(f"{server.address}/sorts/{sort_id}/piles")
    page.locator("#f-pile").select_option("category:food")
    page.locator("#f-gross").fill("2.36")
    page.locator("#f-resolution").fill("0.02")
    server.kill()
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.get_by_role("alert")).to_contain_text("can't be reached, so nothing was recorded")
    expect(page.locator("#f-gross")).to_have_value("2.36")
    server.start()
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.get_by_role("status").first).to_contain_text("Food, 2.360\u00a0kg net")
    (pile,) = read(server, f"/api/sorts/{sort_id}/piles")["piles"]
    assert len(pile["batches"][0]["weighings"]) == 1


def test_corrected_details_outlive_a_dead_server(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    page.get_by_role("link", name="Correct the details").click()
    page.locator("#f-days").fill("14")
    server.kill()
    page.get_by_role("button", name="Save the correction").click()
    expect(page.get_by_role("alert")).to_contain_text("can't be reached, so nothing was recorded")
    expect(page.locator("#f-days")).to_have_value("14")
    server.start()
    page.get_by_role("button", name="Save the correction").click()
    expect(page.get_by_role("status")).to_contain_text("The details are corrected")
    assert read(server, f"/api/sorts/{sort_id}")["days"] == 14


def test_two_taps_on_a_form_record_once(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    page.goto(f"{server.address}/sorts/{sort_id}/piles")
    page.locator("#f-pile").select_option("category:food")
    page.locator("#f-gross").fill("2.36")
    page.locator("#f-resolution").fill("0.02")
    page.get_by_role("button", name="Record this weighing").dblclick()
    expect(page.get_by_role("status").first).to_contain_text("Food, 2.360\u00a0kg net")
    (pile,) = read(server, f"/api/sorts/{sort_id}/piles")["piles"]
    assert len(pile["batches"][0]["weighings"]) == 1


def test_server_dies_and_comes_back(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    sort_id = start_sort(page, server)
    upload(page, tmp_path, "food_can")
    answered(page, "route")
    page.locator("#confirm").click()
    total(page, 1)
    server.kill()

    upload(page, tmp_path, "corrugated_cardboard", seed=1)  # named by hand while away
    answered(page, "away")
    expect(page.locator("#outage")).to_contain_text("can't be reached")
    expect(page.locator("#outage")).to_contain_text("1 photo")
    another_pile(page, "corrugated")
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Kerbside recycling")
    page.locator("#count").fill("4")
    page.locator("#confirm").click()
    expect(page.locator("#outage")).to_contain_text("1 photo and 1 record")
    expect(page.locator("#recent li").first).to_contain_text("waiting")
    upload(page, tmp_path, "food_can", seed=2)  # left without an answer
    answered(page, "away")
    expect(page.locator("#outage")).to_contain_text("2 photos and 1 record")
    page.close()  # what waits is kept on the device, not in the page

    server.start()
    again = context.new_page()
    again.goto(f"{server.address}/sorts/{sort_id}")
    again.wait_for_selector("body[data-ready]")
    total(again, 5)
    expect(again.locator("#outage")).to_be_hidden()
    expect(again.locator("#unanswered li")).to_have_count(1)
    again.locator("#unanswered button").click()
    answered(again, "route")
    again.locator("#confirm").click()
    total(again, 6)
    items = read(server, f"/api/sorts/{sort_id}/items")
    assert [entry["current"]["count"] for entry in items] == [1, 4, 1]
    assert len({entry["current"]["capture_id"] for entry in items}) == 3


def test_server_comes_back_while_the_page_is_open(
    page: Page, server: Server, tmp_path: Path
) -> None:
    start_sort(page, server)
    photo_while_away(page, server, tmp_path)
    server.start()
    answered(page, "route")  # the same photo is answered without another touch
    expect(page.locator("#outage")).to_be_hidden()
    page.locator("#confirm").click()
    total(page, 1)


def test_undo_while_the_server_is_away(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    server.kill()
    page.locator("#by-hand").click()
    page.locator("#picker-filter").fill("steel")
    page.keyboard.press("Enter")
    page.locator("#confirm").click()
    expect(page.locator("#recent li")).to_contain_text("waiting")
    page.locator("[data-undo]").click()
    expect(page.locator("#outage")).to_contain_text("2 records")
    server.start()
    expect(page.locator("#recent li")).to_contain_text("undone")
    total(page, 0)
    (entry,) = read(server, f"/api/sorts/{sort_id}/items")
    assert entry["current"]["voided"] is True


def test_lost_answer_counts_once(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    lost: list[str] = []

    def lose_first_answer(route: Route) -> None:
        if route.request.url in lost:
            route.continue_()
            return
        lost.append(route.request.url)
        route.fetch()  # the server records it, and then the line breaks
        route.abort()

    page.route("**/captures", lose_first_answer)
    page.route("**/items", lose_first_answer)
    upload(page, tmp_path, "food_can")
    answered(page, "away")
    answered(page, "route")
    page.locator("#confirm").click()
    total(page, 1)
    assert len(lost) == 2
    assert len(read(server, f"/api/sorts/{sort_id}/items")) == 1


def test_file_that_is_no_photograph(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    for name, content in (("notes.jpg", b"not a picture at all"), ("empty.jpg", b"")):
        path = tmp_path / name
        path.write_bytes(content)
        page.set_input_files("#file", path)
        expect(page.locator("#problem")).to_be_visible()
        expect(page.locator("#problem p")).not_to_be_empty()
        expect(page.locator("#ticket")).to_have_attribute("data-state", "empty")
    expect(page.locator("#outage")).to_be_hidden()
    total(page, 0)
    assert read(server, f"/api/sorts/{sort_id}/items") == []


def test_two_tabs_confirm_the_same_photo(
    context: BrowserContext, page: Page, server: Server, tmp_path: Path
) -> None:
    sort_id = start_sort(page, server)
    upload(page, tmp_path, "food_can")
    answered(page, "route")
    other = context.new_page()
    other.goto(page.url)
    other.wait_for_selector("body[data-ready]")
    other.locator("#unanswered button").click()
    answered(other, "route")
    other.locator("#confirm").click()
    total(other, 1)
    page.locator("#confirm").click()
    expect(page.locator("#problem")).to_contain_text("Not recorded: 1 \u00d7 Steel cans")
    assert len(read(server, f"/api/sorts/{sort_id}/items")) == 1


def test_a_photo_skipped_on_another_device_is_to_be_skipped_here_too(
    browser: Browser, page: Page, server: Server, tmp_path: Path
) -> None:
    """Each device remembers its own skips; the list says what to do about those of others."""
    start_sort(page, server)
    upload(page, tmp_path, "food_can")
    answered(page, "route")
    page.locator("#skip-photo").click()
    page.reload()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#unanswered")).to_be_hidden()
    other = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    other.goto(page.url)
    expect(other.locator("#unanswered")).to_contain_text("skipped on another device")
    other.locator("#unanswered button").click()
    answered(other, "route")
    other.locator("#skip-photo").click()
    expect(other.locator("#unanswered")).to_be_hidden()
    total(other, 0)
    other.context.close()


def test_sort_closed_elsewhere(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    other = page.context.new_page()
    other.goto(server.address + "/")
    other.get_by_role("button", name="Close").click()
    expect(other.locator("tbody tr")).to_contain_text("closed")
    upload(page, tmp_path, "food_can")
    expect(page.locator("#problem")).to_contain_text("closed")
    assert read(server, f"/api/sorts/{sort_id}/items") == []
