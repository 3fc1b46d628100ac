"""The review page by keyboard alone: move, tick, label, undo."""

from __future__ import annotations

import pytest
from playwright.sync_api import FilePayload, Page, expect

from tests.e2e.conftest import Server
from tests.fakes import new_id
from tests.tiny_bundle import photo_of

pytestmark = pytest.mark.e2e


def _fill(page: Page, server: Server) -> None:
    """Confirm three photos through the interface."""
    start = {
        "sort_id": new_id(),
        "name": "Bag",
        "sorted_on": "2026-05-01",
        "days": 1,
        "persons": 1,
        "programme_id": "alder_valley",
        "keeps_photos": True,
    }
    sort = page.request.post(f"{server.address}/api/sorts", data=start).json()
    for form in ("drink_can", "food", "food_can"):
        photo: FilePayload = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo_of(form)}
        capture = page.request.post(
            f"{server.address}/api/sorts/{sort['id']}/captures",
            multipart={"capture_id": new_id(), "photo": photo},
        ).json()
        item = {"item_id": new_id(), "capture_id": capture["id"], "category": "food", "count": 1}
        made = page.request.post(f"{server.address}/api/sorts/{sort['id']}/items", data=item)
        assert made.status == 201


def test_labelling_by_keyboard(page: Page, server: Server) -> None:
    _fill(page, server)
    page.goto(f"{server.address}/examples")
    expect(page.locator("[data-card]")).to_have_count(3)
    page.locator("body").press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    expect(page.get_by_text("2 of 3 ticked")).to_be_visible()
    page.keyboard.press("u")
    expect(page.get_by_text("2 photos reviewed")).to_be_visible()
    expect(page.locator(".badge", has_text="unclear")).to_have_count(2)
    page.keyboard.press("z")
    expect(page.get_by_text("Undone. The photos")).to_be_visible()
    expect(page.locator(".badge", has_text="unclear")).to_have_count(0)
    page.locator("body").press("ArrowRight")
    page.keyboard.press("r")
    expect(page.get_by_text("1 photo reviewed")).to_be_visible()


def test_a_withdrawn_photo_is_not_seen_again_in_the_browser_that_saw_it(
    page: Page, server: Server
) -> None:
    _fill(page, server)
    page.goto(f"{server.address}/examples")
    picture = page.locator("[data-card] img").first
    address = str(picture.get_attribute("src"))
    expect(picture).to_have_js_property("complete", True)
    width = "path => new Promise(done => { const image = new Image();"
    width += " image.onload = image.onerror = () => done(image.naturalWidth); image.src = path; })"
    assert page.evaluate(width, address) > 0
    page.get_by_role("link", name="More").first.click()
    page.get_by_label("I am sure").check()
    page.get_by_role("button", name="Withdraw this photo").click()
    expect(page.get_by_text("1 photo withdrawn")).to_be_visible()
    assert page.evaluate(width, address) == 0


def test_a_phone_shows_photos_first(page: Page, server: Server) -> None:
    _fill(page, server)
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{server.address}/examples")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    deck = page.get_by_role("group", name="What the ticked photos show")
    before = deck.evaluate("node => getComputedStyle(node).position")
    page.locator("[data-card] input").first.check()
    assert (before, deck.evaluate("node => getComputedStyle(node).position")) == (
        "static",
        "sticky",
    )
