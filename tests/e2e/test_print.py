"""The report on paper: two sheets of A4 at most, also for a sort of many piles."""

from __future__ import annotations

import json
import re
import urllib.request
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import read, start_sort
from tests.fakes import new_id

pytestmark = pytest.mark.e2e


def _post(server: Server, path: str, body: dict[str, Any]) -> None:
    request = urllib.request.Request(
        server.address + path,
        data=json.dumps(body).encode(),
        headers={"content-type": "application/json"},
    )
    urllib.request.urlopen(request, timeout=10).close()


@pytest.mark.parametrize("piles", [26, 40])
def test_report_of_many_piles_prints_on_two_sheets(page: Page, server: Server, piles: int) -> None:
    sort_id = start_sort(page, server)
    categories = [each["id"] for each in read(server, "/api/categories")["categories"]][:piles]
    for n, category in enumerate(categories, start=1):
        item = {"item_id": new_id(), "category": category, "count": piles + 1 - n}
        _post(server, f"/api/sorts/{sort_id}/items", item)
        reading = {
            "weighing_id": new_id(),
            "category": category,
            "method": "container",
            "gross": f"{0.1 * n:.2f}",
            "unit": "kg",
            "resolution": "0.02",
        }
        _post(server, f"/api/sorts/{sort_id}/weighings", reading)
    page.goto(f"{server.address}/sorts/{sort_id}/report")
    page.emulate_media(media="print")
    expect(page.locator("#chart-weight .rest")).to_be_visible()
    expect(page.locator("#chart-weight .minor").first).to_be_hidden()
    expect(page.get_by_role("link", name="as CSV")).to_be_hidden()
    sheets = len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True)))
    assert sheets == 2
