"""The search, the question before a stop, cautions once a sort, and "something left in it"."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from classifier.rules.categories import load_categories
from classifier.rules.search import search
from tests.e2e.conftest import Server
from tests.e2e.sorting import answered, read, start_sort, total, upload
from tests.e2e.test_away import by_hand, opens_away
from tests.tiny_bundle import manifest_content, write_manifest
from tests.unit.rules.test_search import words_of

pytestmark = pytest.mark.e2e
CARE = "#ticket [data-part=caution]"
FOUND = """async (words) => {
  const { Search } = await import("/static/js/search.js");
  const page = JSON.parse(document.querySelector("script[type='application/json']").textContent);
  const search = new Search(page.groups.flatMap((group) => group.categories));
  return words.map((word) => search.find(word));
}"""


@pytest.fixture
def doubting(server: Server) -> Server:
    """Return a server whose model can't tell a drink can from a spray can."""
    content = manifest_content()
    for form in content["forms"]:
        if form["id"] == "drink_can":
            form["categories"] = {"aluminium_cans": 0.6, "aerosols": 0.4}
    server.kill()
    write_manifest(server.bundle, content)
    server.start()
    return server


def test_the_page_finds_what_the_server_finds(page: Page, server: Server) -> None:
    start_sort(page, server)
    given = [word for name in ("words.csv", "words_afterwards.csv") for word, _ in words_of(name)]
    slips = [word[: len(word) // 2] + word[len(word) // 2 + 1 :] for word in given[::4]]
    begun = [word[: max(1, len(word) - 2)] for word in given[::4]]
    words = [*given, *slips, *begun, "", "  ", "Crème", "baby's nappies", "the", "a b c"]
    lists = load_categories()
    expected = [[each.category.id for each in search(word, lists)] for word in words]
    assert page.evaluate(FOUND, words) == expected


def test_a_misspelt_hazard_is_found_first_and_nothing_asks(page: Page, server: Server) -> None:
    start_sort(page, server)
    page.locator("#by-hand").click()
    page.locator("#picker-filter").fill("battry")
    shown = page.locator("#picker li:visible")
    expect(shown.first).to_contain_text("Batteries and power packs set aside")
    page.locator("#picker-filter").fill("qqqq")
    expect(shown).to_have_count(0)
    expect(page.locator("#picker [data-none]")).to_contain_text("could it be sharp, hot")
    page.locator("#picker-filter").fill("")
    expect(shown).to_have_count(40)
    expect(page.locator("#picker h3:visible").first).to_have_text("Paper and board")
    page.locator("#picker-filter").fill("pil")
    page.keyboard.press("Enter")
    expect(page.locator("#ticket [data-body] h2")).to_have_text("Medicines")


def test_a_can_that_may_be_a_spray_can_is_asked_about(
    page: Page, doubting: Server, tmp_path: Path
) -> None:
    start_sort(page, doubting)
    upload(page, tmp_path, "drink_can")
    answered(page, "ask")
    question = page.locator("#ticket [data-part=question]")
    expect(question).to_contain_text("Is there a spray head or a valve?")
    expect(page.locator(CARE)).to_contain_text("This may be under pressure")
    expect(page.locator("#confirm")).to_be_hidden()  # nothing goes on a pile before the answer
    question.get_by_role("button", name="Yes").click()
    answered(page, "stop")
    page.keyboard.press("q")
    upload(page, tmp_path, "drink_can", seed=1)
    answered(page, "ask")
    page.locator("[data-part=question] [data-answer=no]").click()
    expect(page.locator("#ticket [data-body] h2")).to_have_text("Aluminium cans")
    expect(page.locator(CARE)).not_to_contain_text("pressure")


def test_handling_is_said_once_a_sort(page: Page, server: Server, tmp_path: Path) -> None:
    start_sort(page, server)
    for seed, times in enumerate((1, 0)):
        upload(page, tmp_path, "food_can", seed=seed)
        answered(page, "route")
        expect(page.locator(CARE)).to_have_count(times)
        page.locator("#confirm").click()
        total(page, seed + 1)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    upload(page, tmp_path, "food_can", seed=2)
    answered(page, "route")
    expect(page.locator(CARE)).to_have_count(0)


def test_something_left_in_it_is_one_tap(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    upload(page, tmp_path, "food_can")
    answered(page, "route")
    left = page.locator("#left")
    route = page.locator("#ticket [data-part=route]")
    expect(left).to_have_attribute("aria-pressed", "false")
    left.click()
    expect(left).to_have_attribute("aria-pressed", "true")
    expect(route).to_contain_text("Set apart with its contents")
    expect(page.locator("#confirm")).to_have_text(re.compile("^Set apart: Steel cans"))
    left.click()
    expect(route).to_contain_text("Kerbside recycling")
    page.keyboard.press("l")
    expect(route).to_contain_text("Set apart with its contents")
    page.locator("#confirm").click()
    total(page, 1)
    report = read(server, f"/api/sorts/{sort_id}/report.json")
    assert [(each["id"], each["count"]) for each in report["routes"] if each["count"]] == [
        ("with_contents", 1)
    ]
    upload(page, tmp_path, "food", seed=1)  # no pack: the button is not there
    answered(page, "route")
    expect(left).to_be_hidden()


def test_something_left_in_it_without_the_server(page: Page, server: Server) -> None:
    sort_id = start_sort(page, server)
    opens_away(page)
    server.kill()
    page.locator("#by-hand").click()
    page.locator("#picker-filter").fill("wine bottle")
    page.keyboard.press("Enter")
    page.locator("#left").click()
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Set apart")
    expect(page.locator("#left")).to_have_attribute("aria-pressed", "true")
    page.locator("#confirm").click()
    by_hand(page, "wine bottle", 2)
    server.start()
    total(page, 3)
    items = read(server, f"/api/sorts/{sort_id}/items")
    assert sorted((each["current"]["route"], each["current"]["count"]) for each in items) == [
        ("kerbside", 2),
        ("with_contents", 1),
    ]


@pytest.mark.parametrize(("width", "height"), [(360, 640), (1440, 900)])
def test_the_ticket_fits(
    browser: Browser, doubting: Server, tmp_path: Path, width: int, height: int
) -> None:
    made = browser.new_context(viewport={"width": width, "height": height}, has_touch=width < 500)
    page = made.new_page()
    start_sort(page, doubting)
    for form, decision, reached in (
        ("drink_can", "ask", "#ticket [data-answer=not_sure]"),
        ("food_can", "route", "#left, #confirm"),
    ):
        upload(page, tmp_path, form)
        answered(page, decision)
        page.screenshot(path=tmp_path / f"{form}-{width}.png")
        for each in page.locator(reached).all():
            expect(each).to_be_in_viewport()
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert page.evaluate(wide) <= 0
    made.close()
