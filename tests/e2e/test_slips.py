"""Slips of a hand in a glove: taps that come twice, counts that can't be, photos of nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import another_pile, answered, read, start_sort, total, upload
from tests.tiny_bundle import photo_of, unsure_photo

pytestmark = pytest.mark.e2e

TWICE = "(button) => { button.click(); button.click(); }"


def _by_hand(page: Page, text: str) -> None:
    page.locator("#by-hand").click()
    page.locator("#picker-filter").fill(text)
    page.keyboard.press("Enter")


def test_taps_that_come_twice_count_once(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    _by_hand(page, "steel")
    page.evaluate("() => { const c = document.querySelector('#confirm'); c.click(); c.click(); }")
    total(page, 1)
    page.evaluate(
        "() => { const u = document.querySelector('[data-undo]'); u.click(); u.click(); }"
    )
    total(page, 0)
    expect(page.locator("#problem")).to_be_hidden()
    assert len(read(server, f"/api/sorts/{sort_id}/items")) == 1


@pytest.mark.parametrize("typed", ["-5", "1.5", "0", "1000"])
def test_counts_that_cant_be_are_refused_in_the_field(
    page: Page, server: Server, typed: str
) -> None:
    start_sort(page, server)
    _by_hand(page, "steel")
    page.locator("#count").fill(typed)
    page.locator("#confirm").click()
    expect(page.locator("#count:invalid")).to_be_focused()
    page.locator("#count").fill("2")
    page.locator("#confirm").click()
    total(page, 2)
    page.locator("#again-count").fill(typed)
    page.locator("[data-again]").click()
    expect(page.locator("#again-count:invalid")).to_be_focused()
    page.locator("#again-count").fill("3")
    page.locator("[data-again]").click()
    total(page, 5)
    expect(page.locator("#again-count")).to_have_value("1")


def test_photo_of_nothing_makes_room_for_a_better_one(
    page: Page, server: Server, tmp_path: Path
) -> None:
    page.add_init_script("Object.defineProperty(navigator, 'mediaDevices', { value: undefined })")
    start_sort(page, server)
    upload(page, tmp_path, "non_item")
    answered(page, "not_an_item")
    better = tmp_path / "better.jpg"
    better.write_bytes(photo_of("food_can"))
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Take it again").click()
    chooser.value.set_files(better)
    answered(page, "route")
    expect(page.locator("#unanswered")).to_be_hidden()
    expect(page.locator("#retake")).to_be_hidden()
    page.locator("#confirm").click()
    total(page, 1)


def test_what_has_no_pile_yet_is_given_one(page: Page, server: Server, tmp_path: Path) -> None:
    start_sort(page, server)
    path = tmp_path / "unsure.jpg"
    path.write_bytes(unsure_photo())
    page.set_input_files("#file", path)
    answered(page, "unsure")
    expect(page.locator("#other")).to_contain_text("Choose its pile")
    expect(page.locator("#retake")).to_be_visible()
    another_pile(page, "steel")
    expect(page.locator("#other")).to_contain_text("Another pile")
    expect(page.locator("#retake")).to_be_hidden()


def test_somebody_who_came_later_sorts_under_their_own_name(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    page.once("dialog", lambda dialog: dialog.dismiss())
    page.locator("#sorter").select_option(label="Somebody else …")
    expect(page.locator("#sorter")).to_have_value("Ana")
    page.once("dialog", lambda dialog: dialog.accept(" Çem "))
    page.locator("#sorter").select_option(label="Somebody else …")
    expect(page.locator("#sorter")).to_have_value("Çem")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#sorter")).to_have_value("Çem")
    _by_hand(page, "steel")
    page.locator("#confirm").click()
    total(page, 1)
    (item,) = read(server, f"/api/sorts/{sort_id}/items")
    assert item["current"]["sorter"] == "Çem"
    page.get_by_role("link", name="Piles").click()
    expect(page.locator("#f-sorter")).to_have_value("Çem")
    page.locator("#f-pile").select_option("category:steel_cans")
    page.locator("#f-gross").fill("0.2")
    page.locator("#f-resolution").fill("0.01")
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.locator("#sheet")).to_contain_text("container, Çem")


def test_further_bucketful_is_not_taken_for_a_second_weighing(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    _by_hand(page, "steel")
    page.locator("#confirm").click()
    total(page, 1)
    page.get_by_role("link", name="Piles").click()
    choice = page.get_by_role("group", name="What is on the scale now?")
    for gross in ("2.0", "1.0"):
        page.locator("#f-pile").select_option("category:steel_cans")
        expect(choice).to_be_visible(visible=gross == "1.0")
        page.locator("#f-gross").fill(gross)
        page.locator("#f-resolution").fill("0.1")
        page.get_by_role("button", name="Record this weighing").click()
        if gross == "2.0":
            expect(page.get_by_role("status").first).to_contain_text("2.000\u00a0kg net")
    expect(page.locator("input[name=load]:invalid")).to_have_count(2)  # what is on the scale?
    figures = read(server, f"/api/sorts/{sort_id}/report.json")
    assert figures["total"]["net_g"]["value"] == 2000
    page.get_by_label("Another bucketful").check()
    page.locator("#f-pile").select_option("category:food")
    expect(choice).to_be_hidden()
    page.locator("#f-pile").select_option("category:steel_cans")
    expect(page.get_by_label("Another bucketful")).not_to_be_checked()
    page.get_by_label("Another bucketful").check()
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.get_by_role("status").first).to_contain_text("2 bucketfuls of this pile are added")
    page.locator("#f-pile").select_option("category:steel_cans")
    page.get_by_label("Bucketful 2 again, as a check").check()
    page.locator("#f-gross").fill("1.2")
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.get_by_role("status").first).to_contain_text("Bucketful 2 is weighed 2 times")
    figures = read(server, f"/api/sorts/{sort_id}/report.json")
    assert figures["total"]["net_g"]["value"] == 3100


def test_without_a_script_the_choice_comes_with_the_refusal(
    browser: Browser, page: Page, server: Server
) -> None:
    sort_id = start_sort(page, server)
    plain = browser.new_context(java_script_enabled=False).new_page()
    choice = plain.get_by_role("group", name="What is on the scale now?")
    for gross in ("2.0", "1.0"):
        plain.goto(f"{server.address}/sorts/{sort_id}/piles")
        expect(choice).to_be_hidden()
        plain.locator("#f-pile").select_option("category:food")
        plain.locator("#f-gross").fill(gross)
        plain.locator("#f-resolution").fill("0.1")
        plain.get_by_role("button", name="Record this weighing").click()
    expect(plain.get_by_role("alert")).to_contain_text("say whether the same is on the scale")
    plain.get_by_label("Another bucketful").check()
    plain.get_by_role("button", name="Record this weighing").click()
    expect(plain.get_by_role("status").first).to_contain_text("3.000\u00a0kg together")
    plain.context.close()
