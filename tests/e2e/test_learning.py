"""Learning in place and audits, as a sorter meets them on the sorting page."""

from __future__ import annotations

import json
import time
import urllib.request
import uuid
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import ANSWERED, answered, read, start_sort, total, upload

pytestmark = pytest.mark.e2e


def send(server: Server, path: str, body: dict[str, Any]) -> None:
    request = urllib.request.Request(
        server.address + path,
        json.dumps(body).encode(),
        {"content-type": "application/json"},
    )
    urllib.request.urlopen(request, timeout=10).close()


def set_learning(server: Server, scope_id: str, *, audit_percent: int, learns: bool = True) -> None:
    sent = {"change_id": str(uuid.uuid4()), "learns": learns, "audit_percent": audit_percent}
    send(server, f"/api/learning/{scope_id}/settings", sent)


def learned(server: Server, scope_id: str, confirmations: int) -> None:
    """Wait until so many photos were learned from."""
    while read(server, f"/api/learning/{scope_id}")["confirmations"] != confirmations:
        time.sleep(0.1)  # the time limit of each test ends it


def pick(page: Page, words: str) -> None:
    """Choose a pile from the list by typing."""
    expect(page.locator("#picker")).to_be_visible()
    page.locator("#picker-filter").fill(words)
    page.locator("#picker-filter").press("Enter")
    expect(page.locator("#picker")).to_be_hidden()


def headline(page: Page) -> Any:
    return page.locator("#ticket [data-body] h2")


def test_corrected_once_suggested_right_the_third_time(
    page: Page, server: Server, tmp_path: Path
) -> None:
    sort_id = start_sort(page, server)
    for seed in (1, 2):
        upload(page, tmp_path, "plastic_tub_tray", seed=seed)
        page.wait_for_selector(ANSWERED)
        page.locator("#other").click()
        pick(page, "foam")
        page.locator("#confirm").click()
        total(page, seed)
        learned(server, sort_id, seed)
    upload(page, tmp_path, "plastic_tub_tray", seed=3)
    expect(headline(page)).to_have_text("Expanded polystyrene and other foam")
    expect(page.locator("[data-part=learned]")).to_contain_text("(2 so far)")


def test_an_audit_is_chosen_blind_then_compared(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    set_learning(server, sort_id, audit_percent=100)
    upload(page, tmp_path, "corrugated_cardboard")
    answered(page, "unsure")
    expect(headline(page)).to_have_text("You say first")
    ticket = page.locator("#ticket")
    expect(ticket).not_to_contain_text("ardboard")
    expect(ticket.locator("[data-part=alternatives]")).to_have_count(0)
    expect(page.locator("#confirm")).to_be_hidden()
    page.reload()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#unanswered")).to_contain_text("you say first")
    expect(page.locator("#unanswered")).not_to_contain_text("ardboard")
    page.locator("#unanswered button").click()
    page.locator("#other").click()
    pick(page, "pet bottles")
    page.locator("#confirm").click()
    check = page.locator("#audit")
    expect(check).to_contain_text("Corrugated cardboard")
    expect(check.locator("[data-verdict]")).to_have_text("differs.")
    check.locator("[data-change]").click()
    expect(check).to_be_hidden()
    expect(page.locator("#recent li").first).to_contain_text("Corrugated cardboard")
    expect(page.locator("#recent li .stamp").first).to_have_text("corrected")
    upload(page, tmp_path, "corrugated_cardboard", seed=5)
    expect(headline(page)).to_have_text("You say first")
    page.locator("#other").click()
    pick(page, "corrugated")
    page.locator("#confirm").click()
    expect(check.locator("[data-verdict]")).to_have_text("agrees.")
    check.locator("[data-keep]").click()
    expect(check).to_be_hidden()
    accuracy = read(server, f"/api/learning/{sort_id}")["accuracy"]
    assert (accuracy["audits"], accuracy["agreed"]) == (2, 1), "the first choice counts"


def test_a_blind_photo_of_a_hazard_still_warns(page: Page, server: Server, tmp_path: Path) -> None:
    sort_id = start_sort(page, server)
    set_learning(server, sort_id, audit_percent=100)
    upload(page, tmp_path, "broken_glass")
    answered(page, "unsure")
    warning = page.locator("#ticket [data-part=caution]")
    expect(warning).to_contain_text("Take care before you touch it.")
    page.locator("#other").click()
    pick(page, "corrugated")
    expect(headline(page)).to_have_text("Corrugated cardboard")
    expect(warning.first).to_contain_text("Take care before you touch it.")
    assert sort_id


@pytest.mark.parametrize("width", [360, 1440])
def test_the_pages_of_a_study_fit_the_screen(
    page: Page, server: Server, tmp_path: Path, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"{server.address}/studies")
    page.get_by_label("Name", exact=True).fill("Spring weeks")
    page.get_by_role("button", name="Start the study").click()
    study = page.url
    page.get_by_role("link", name="Start a sort in this study").click()
    page.get_by_label("Name", exact=True).fill("Bag 1")
    page.get_by_role("button", name="Start sorting").click()
    page.wait_for_selector("body[data-ready]")
    set_learning(server, study.rsplit("/", 1)[1], audit_percent=0)
    for seed in range(6):
        upload(page, tmp_path, "corrugated_cardboard", seed=seed)
        answered(page, "route")
        page.locator("#confirm").click()
        total(page, seed + 1)
    learned(server, study.rsplit("/", 1)[1], 6)
    for address in (study, f"{server.address}/studies"):
        page.goto(address)
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wider <= 0, f"{address} is {wider} px wider than the screen"
    page.goto(study)
    expect(page.locator("#learning")).to_contain_text("On.")
    chart = page.locator("#chart-learning .curve > svg:visible")
    expect(chart).to_have_count(1)
