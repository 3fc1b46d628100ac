"""On a phone of 360 px: nothing sticks out, everything can be hit with a thumb, all by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, FloatRect, Locator, Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import ANSWERED, answered, photo_while_away, start_sort, total, upload
from tests.fakes import new_id
from tests.web.markup import read_markup

pytestmark = pytest.mark.e2e

# WCAG 2.2 asks for 24 px (2.5.8), and for 44 px at its highest level (2.5.5): gloves need those.
LEAST_PX = 44
TOO_SMALL = f"""
() => [...document.querySelectorAll("button, .button, input, select, summary, nav a, .tick")]
  .filter((each) => each.checkVisibility() && !each.closest(".unseen, .tick") )
  .filter((each) => each.getBoundingClientRect().height < {LEAST_PX}
    && !each.matches(".unseen, [type=file]"))
  .map((each) => each.outerHTML.slice(0, 120))
"""
STICKS_OUT = """
() => document.documentElement.scrollWidth - document.documentElement.clientWidth
"""


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    made = browser.new_context(
        viewport={"width": 360, "height": 740}, is_mobile=True, has_touch=True
    )
    made.set_default_timeout(20_000)
    yield made.new_page()
    made.close()


def _fits(page: Page) -> None:
    markup = read_markup(page.content())
    assert markup.unlabelled() == [], page.url
    assert markup.nameless() == [], page.url
    assert len(set(markup.ids)) == len(markup.ids), page.url
    assert page.evaluate(STICKS_OUT) <= 0, page.url
    assert page.evaluate(TOO_SMALL) == [], page.url


def test_every_page_fits_a_phone(phone: Page, server: Server, tmp_path: Path) -> None:
    phone.goto(server.address + "/")
    _fits(phone)
    phone.goto(server.address + "/sorts/new")
    _fits(phone)
    sort_id = start_sort(phone, server)
    _fits(phone)
    for form, decision in (("plastic_tub_tray", "ask"), ("battery_electronics", "stop")):
        upload(phone, tmp_path, form)
        answered(phone, decision)
        _fits(phone)
        expect(phone.locator("#confirm")).to_be_in_viewport()
        phone.locator("#confirm").click()
        expect(phone.locator("#shutter")).to_be_in_viewport()
    total(phone, 2)
    phone.locator("#by-hand").click()
    _fits(phone)
    phone.keyboard.press("Escape")
    own = [f"/sorts/{sort_id}/{page}" for page in ("piles", "report", "details")]
    for path in (*own, "/categories"):
        phone.goto(server.address + path)
        _fits(phone)
    for width in (641, 720, 900):  # a laptop at 200 % zoom, and small tablets
        phone.set_viewport_size({"width": width, "height": 450})
        for path in (f"/sorts/{sort_id}/piles", f"/sorts/{sort_id}/report"):
            phone.goto(server.address + path)
            assert phone.evaluate(STICKS_OUT) <= 0, (width, path)


def test_letters_of_twice_the_size_fit_a_phone(phone: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(phone, server)
    for form in ("plastic_tub_tray", "food_can"):
        upload(phone, tmp_path, form)
        phone.wait_for_selector(ANSWERED)
        phone.locator("#confirm").click()
    total(phone, 2)
    weighing = {"category": "steel_cans", "method": "container", "gross": "1.5", "unit": "kg"}
    phone.request.post(
        f"{server.address}/api/sorts/{sort_id}/weighings",
        data={**weighing, "weighing_id": new_id(), "resolution": "0.01"},
    )
    paths = ("", "/piles", "/report", "/sheet", "/learning")
    for path in ("/", "/sorts/new", "/categories", *(f"/sorts/{sort_id}{each}" for each in paths)):
        phone.goto(server.address + path)
        phone.evaluate("document.documentElement.style.fontSize = '200%'")
        assert phone.evaluate(STICKS_OUT) <= 0, path


def _box(found: Locator) -> FloatRect:
    """Return where something is shown."""
    box = found.bounding_box()
    assert box is not None
    return box


@pytest.mark.parametrize("path", ["/", "/studies", "/categories", "/examples", "/bundles"])
def test_every_link_of_the_navigation_shares_one_line(
    phone: Page, server: Server, path: str
) -> None:
    """The page that one is on stands in bold, which takes more room."""
    phone.goto(server.address + path)
    links = phone.locator(".masthead nav a")
    assert links.count() == 6
    tops = {round(_box(links.nth(n))["y"]) for n in range(6)}
    assert len(tops) == 1


def test_what_is_scrolled_to_is_not_under_the_bar(
    phone: Page, server: Server, tmp_path: Path
) -> None:
    start_sort(phone, server)
    photo_while_away(phone, server, tmp_path)
    bar = _box(phone.locator("#outage"))
    heading = phone.locator("#ticket [data-body] h2")
    expect(heading).to_be_in_viewport()
    phone.wait_for_function(
        "(under) => document.querySelector('#ticket [data-body] h2').getBoundingClientRect().top"
        " >= under",
        arg=bar["height"],
    )


def test_an_item_by_keyboard_alone(page: Page, server: Server) -> None:
    start_sort(page, server)
    page.keyboard.press("w")
    page.keyboard.type("textile")
    page.keyboard.press("Enter")
    expect(page.locator("#ticket .ask")).to_be_visible()
    page.keyboard.press("x")  # not sure
    expect(page.locator("#ticket [data-part=route]")).to_be_visible()
    page.keyboard.press("y")
    total(page, 1)
    page.keyboard.press("r")
    total(page, 2)
    page.keyboard.press("u")
    total(page, 1)


def test_letters_can_be_switched_off(page: Page, server: Server) -> None:
    start_sort(page, server)
    page.locator("#letters").uncheck()
    page.locator("h1").click()
    page.keyboard.press("w")
    expect(page.locator("#picker")).to_be_hidden()
    page.reload()
    expect(page.locator("#letters")).not_to_be_checked()
