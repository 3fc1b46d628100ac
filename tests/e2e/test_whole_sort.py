"""One whole sort, from the first photograph to the printed report."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import answered, camera_on, read, start_sort, total, upload

pytestmark = pytest.mark.e2e


def photograph(page: Page, tmp_path: Path) -> None:
    """Take, answer, correct and undo by camera, file, keyboard and hand."""
    camera_on(page)
    page.keyboard.press("p")  # live camera, then one key to confirm two of them
    answered(page, "route")
    expect(page.locator("#ticket h2").last).to_have_text("Steel cans")
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Kerbside recycling")
    expect(page.locator("#ticket")).to_contain_text("Follow your local authority where it differs")
    page.keyboard.press("+")
    page.keyboard.press("y")
    total(page, 2)
    expect(page.locator("#stage")).to_have_attribute("data-picture", "live")

    upload(page, tmp_path, "plastic_tub_tray")  # a question that decides the route
    answered(page, "ask")
    page.get_by_role("button", name="5 (PP)").click()
    answered(page, "route")
    expect(page.locator("#ticket [data-part=why]")).to_contain_text("5 (PP)")
    page.locator("#confirm").click()
    total(page, 3)

    upload(page, tmp_path, "drink_can")  # correct: an alternative, then confirm
    page.wait_for_selector("[data-alternative=steel_cans]")
    page.locator("[data-alternative=steel_cans]").click()
    expect(page.locator("#ticket .over").first).to_have_text("You chose")
    page.locator("#confirm").click()
    total(page, 4)

    upload(page, tmp_path, "corrugated_cardboard")  # correct: the whole list, by keyboard
    answered(page, "route")
    page.keyboard.press("c")
    page.keyboard.type("mugs")
    page.keyboard.press("Enter")
    expect(page.locator("#ticket h2").last).to_have_text("Other glass and ceramics")
    page.keyboard.press("n")
    page.keyboard.type("chipped")
    page.locator("#confirm").click()
    total(page, 5)
    expect(page.locator("#recent li").first).to_contain_text("chipped")


def tidy_up(page: Page) -> None:
    """Undo, the same again with a count, correct what was recorded, enter without a photo."""
    page.keyboard.press("u")
    total(page, 4)
    expect(page.locator("#recent li").first).to_contain_text("undone")
    page.locator("#again-count").fill("3")
    page.locator("[data-again]").click()
    total(page, 7)
    page.locator("#recent [data-correct]").first.click()
    page.get_by_label("It belongs on the pile").select_option("aluminium_cans")
    page.locator("#correct-count").fill("2")
    page.get_by_role("button", name="Record the correction").click()
    total(page, 6)
    expect(page.locator("#recent li").first).to_contain_text("corrected")
    page.keyboard.press("w")
    page.locator("#picker-filter").fill("news")
    page.locator("[data-category=mixed_printed_paper]").click()
    page.locator("#count").fill("12")
    page.locator("#confirm").click()
    total(page, 18)


def weigh(page: Page, server: Server, sort_id: str) -> None:
    """Weigh piles each way; an impossible reading is refused and stays in the form."""
    page.get_by_role("link", name="Piles").click()
    page.get_by_label("Container", exact=True).fill("Blue tub")
    page.get_by_label("Empty weight").fill("0.80")
    page.locator("#t-resolution").fill("0.02")
    page.get_by_role("button", name="Add to the list").click()
    expect(page.get_by_role("status").first).to_contain_text("The container is in the list")

    page.locator("#f-pile").select_option("category:mixed_printed_paper")
    page.get_by_label("Gross", exact=True).fill("0,5")
    page.get_by_label("Tare", exact=True).fill("0.8")
    page.locator("#f-resolution").fill("0.02")
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.get_by_role("alert")).to_contain_text("tare is above the gross")
    expect(page.locator("#f-gross")).to_have_value("0,5")
    page.locator("#f-gross").fill("4.92")
    page.locator("#f-tare").fill("")
    page.locator("#f-tare_from").select_option(label="Blue tub: 0.80 kg")
    expect(page.locator("[data-net]")).to_have_text("Net 4.120 kg")
    page.get_by_role("button", name="Record this weighing").click()
    recorded = page.get_by_role("status").first
    expect(recorded).to_contain_text("Mixed printed paper, 4.120\u00a0kg net")

    page.locator("#f-pile").select_option("category:aluminium_cans")
    page.get_by_label("Too light for this scale").check()
    page.get_by_role("button", name="Record this weighing").click()
    expect(recorded).to_contain_text("Aluminium cans, too light")

    page.locator("#f-pile").select_option("category:steel_cans")
    page.get_by_label("Difference").check()
    page.get_by_label("Person with the bag", exact=True).fill("70.10")
    page.get_by_label("Person alone", exact=True).fill("70.00")
    page.get_by_role("button", name="Record this weighing").click()
    expect(page.locator("#sheet")).to_contain_text("difference")
    page.locator("#sheet tr", has_text="difference").locator("summary").click()
    page.locator("#sheet tr", has_text="difference").get_by_label("Reason").fill("moved")
    page.get_by_role("button", name="Cross it out").click()
    expect(page.locator("#sheet tr.void")).to_contain_text("moved")

    paper = next(
        pile
        for pile in read(server, f"/api/sorts/{sort_id}/piles")["piles"]
        if pile["category"] == "mixed_printed_paper"
    )
    assert float(paper["mass"]["value_g"]) == 4120


def report(page: Page, server: Server, sort_id: str) -> None:
    """Read the report; page and JSON say the same."""
    page.get_by_role("link", name="Report").click()
    figures = read(server, f"/api/sorts/{sort_id}/report.json")
    assert figures["total"]["count"] == 18
    assert float(figures["total"]["net_g"]["value"]) == 4120
    expect(page.locator(".headline")).to_contain_text("4.120 kg")
    expect(page.locator(".headline")).to_contain_text("18")
    expect(page.locator("#chart-weight .bar").first).to_be_visible()
    expect(page.locator("#chart-pairs .bar").first).to_be_visible()
    expect(page.get_by_role("heading", name="Too light for the scale")).to_be_visible()
    expect(page.locator("main")).to_contain_text("Beside the national figures")
    expect(page.locator("main")).to_contain_text("Follow your local authority where it differs")
    sheets = page.pdf(format="A4").count(b"/Type /Page\n")
    assert 1 <= sheets <= 2


def test_whole_sort(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    photograph(page, tmp_path)
    tidy_up(page)

    upload(page, tmp_path, "battery_electronics")  # a stop category: the caution comes first
    answered(page, "stop")
    first = page.locator("#ticket [data-body] > *").first
    expect(first).to_contain_text("Stop. Set it aside; do not sort it by hand.")
    expect(page.locator("#confirm")).to_have_text(re.compile("^Set aside: Batteries"))
    page.keyboard.press("q")
    total(page, 18)

    weigh(page, server, sort_id)
    report(page, server, sort_id)

    page.goto(server.address + "/")
    page.get_by_role("button", name="Close").click()
    expect(page.locator("tbody tr")).to_contain_text("closed")
    page.goto(f"{server.address}/sorts/{sort_id}")
    expect(page.get_by_role("heading", name="This sort is closed")).to_be_visible()
    page.get_by_role("button", name="Reopen this sort").click()
    page.wait_for_selector("body[data-ready]")
    total(page, 18)
