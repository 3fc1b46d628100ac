"""What a sorter does on the sorting page, as steps for the tests."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

from tests.e2e.conftest import Server
from tests.tiny_bundle import photo_of

ANSWERED = "#ticket:not([data-state=empty]):not([data-state=looking])"


def read(server: Server, path: str) -> Any:
    """Return what the JSON interface says."""
    with urllib.request.urlopen(server.address + path, timeout=10) as response:
        return json.load(response)


def start_sort(page: Page, server: Server, *, programme: str = "alder_valley") -> str:
    """Start a sort through the form and return its id."""
    page.goto(server.address + "/")
    page.get_by_role("link", name="Start a sort").click()
    page.get_by_label("Name", exact=True).fill("Block C, week 47")
    page.get_by_label("Place", exact=True).fill("Riverside flats")
    page.get_by_label("Kind of place", exact=True).fill("flats")
    page.get_by_label("Days of discards", exact=True).fill("7")
    page.get_by_label("Persons", exact=True).fill("4")
    page.get_by_label("Sorters", exact=True).fill("Ana, Bo")
    page.locator(f"input[value={programme}]").check()
    page.get_by_role("button", name="Start sorting").click()
    page.wait_for_selector("body[data-ready]")
    return page.url.rsplit("/", 1)[-1]


def camera_on(page: Page) -> None:
    """Wait until the live picture moves."""
    expect(page.locator("#stage")).to_have_attribute("data-camera", "live")


def upload(page: Page, tmp_path: Path, form: str, seed: int = 0) -> None:
    """Choose a picture of a form as a file."""
    path = tmp_path / f"{form}-{seed}.jpg"
    path.write_bytes(photo_of(form, seed=seed))
    page.set_input_files("#file", path)


def answered(page: Page, decision: str) -> None:
    """Wait for the ticket of a decision."""
    page.wait_for_selector(ANSWERED)
    expect(page.locator("#ticket")).to_have_attribute("data-state", decision)


def another_pile(page: Page, text: str) -> None:
    """Name the pile of what is on the ticket by the first match of a text."""
    page.locator("#other").click()
    page.locator("#picker-filter").fill(text)
    page.keyboard.press("Enter")


def photo_while_away(page: Page, server: Server, tmp_path: Path) -> None:
    """End the service and take a photo, which then waits on the page."""
    server.kill()
    upload(page, tmp_path, "food_can")
    answered(page, "away")


def total(page: Page, objects: int) -> None:
    """Check the running tally."""
    expect(page.locator("#tally [data-objects]")).to_have_text(str(objects))
