"""A phone joins over the network, loses its access in mid-sort, joins again: nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from service.cli.addresses import NoNetworkError, lan_addresses
from tests.e2e.sorting import total
from tests.hostile.server import running
from tests.tiny_bundle import write_tiny_bundle

pytestmark = pytest.mark.e2e


def _code(laptop: Page) -> str:
    laptop.goto(laptop.url.split("/devices")[0].rstrip("/") + "/devices")
    laptop.get_by_role("button", name="Make a join code").click()
    return laptop.locator("a.link").get_attribute("href") or ""


def _join(phone: Page, link: str) -> None:
    phone.goto(link)
    phone.get_by_label("Name of this device").fill("Ana\u2019s phone")
    phone.get_by_role("button", name="Join").click()
    expect(phone.locator(".foot")).to_contain_text("Ana\u2019s phone")


def _enter(phone: Page, text: str) -> None:
    phone.locator("#by-hand").click()
    phone.locator("#picker-filter").fill(text)
    phone.keyboard.press("Enter")
    phone.locator("#confirm").click()


@pytest.mark.parametrize("secure", [False, True])
def test_a_phone_from_its_code_to_its_tally(browser: Browser, tmp_path: Path, secure: bool) -> None:
    """Over HTTP and HTTPS, by the machine's own network address."""
    try:
        lan_addresses()
    except NoNetworkError as error:
        pytest.skip(error.message)
    bundle = str(write_tiny_bundle(tmp_path / "bundle"))
    arguments = ("--lan", "--https") if secure else ("--lan",)
    size: ViewportSize = {"width": 360, "height": 740}
    with running(tmp_path / "store" / "data", bundle=bundle, arguments=arguments) as server:
        laptop = browser.new_context().new_page()
        laptop.goto(server.address)
        phone = browser.new_context(viewport=size, ignore_https_errors=True).new_page()
        link = _code(laptop)
        assert link.startswith("https://" if secure else "http://")
        phone.goto(link.split("/join")[0])
        expect(phone.locator("h1")).to_have_text("Join the sort")
        _join(phone, link)
        phone.get_by_role("link", name="Start a sort").click()
        phone.get_by_label("Name", exact=True).fill("Bag")
        phone.get_by_role("button", name="Start sorting").click()
        phone.wait_for_selector("body[data-ready]")
        # The live camera is there where the page is safe, as the page says elsewhere.
        assert phone.evaluate("isSecureContext && !!navigator.mediaDevices") is secure
        sort_page, sort_id = phone.url, phone.url.rsplit("/", 1)[-1]
        _enter(phone, "steel")
        total(phone, 1)

        laptop.reload()
        laptop.goto(server.address + "/devices")
        laptop.get_by_role("button", name="Remove access").click()
        expect(laptop.locator("h2").filter(has_text="Devices with access")).to_contain_text("(0)")
        _enter(phone, "corrugated")
        expect(phone.locator("#outage")).to_contain_text("join code")
        expect(phone.locator("#outage")).to_contain_text("1 record")

        _join(phone, _code(laptop))
        phone.goto(sort_page)
        phone.wait_for_selector("body[data-ready]")
        total(phone, 2)
        expect(phone.locator("#outage")).to_be_hidden()
        assert len(json.loads(server.ask(f"/api/sorts/{sort_id}/items"))) == 2
        for page in (laptop, phone):
            page.context.close()
