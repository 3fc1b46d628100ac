"""Paper first, in a real browser: print the sheet, type it into the template, import it."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import read, start_sort

pytestmark = pytest.mark.e2e


@pytest.mark.parametrize(("paper", "width"), [("a4", 594.96), ("letter", 612)])
def test_the_blank_sheet_prints_on_both_sides_of_one_paper(
    page: Page, server: Server, paper: str, width: float
) -> None:
    page.goto(f"{server.address}/sheet?paper={paper}")
    page.emulate_media(media="print")
    expect(page.get_by_text("sort by hand:")).to_be_visible()
    expect(page.get_by_role("button", name="Show")).to_be_hidden()
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
    (box, *_) = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+)", printed)
    assert float(box) == pytest.approx(width, abs=0.1)


def test_a_filled_template_is_looked_at_mended_and_recorded_once(
    page: Page, server: Server, tmp_path: Path
) -> None:
    sort_id = start_sort(page, server)
    page.goto(f"{server.address}/sorts/{sort_id}/piles")
    page.get_by_role("link", name="Import a filled one").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV template").click()
    template = Path(download.value.path()).read_text("utf-8-sig")
    filled = {
        "steel_cans": {"count": "12", "gross": "1,250", "tare": "0,25", "note": "wet"},
        "food": {"gross": "2,4"},
        "batteries": {"count": "two"},
    }
    path = tmp_path / "tuesday.csv"

    def save() -> None:
        rows = list(csv.DictReader(template.splitlines()))
        with path.open("w", encoding="cp1252", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
            writer.writeheader()
            writer.writerows({**row, **filled.get(row["category"], {})} for row in rows)

    def look() -> None:
        page.set_input_files("#file", path)
        page.get_by_label("Unit", exact=True).select_option("kg")
        page.get_by_label("Smallest step of the scale", exact=True).fill("0,01")
        page.get_by_label("Sorted by", exact=True).select_option("Ana")
        page.get_by_role("button", name="Check the file").click()

    save()
    look()
    expect(page.get_by_text("count 'two' is not a whole number")).to_be_visible()
    expect(page.get_by_role("button", name="Record the 2 good lines only")).to_be_visible()
    assert read(server, f"/api/sorts/{sort_id}/tally")["objects"] == 0

    filled["batteries"]["count"] = "2"
    save()
    look()
    page.get_by_role("button", name="Record 3 lines").click()
    expect(page.get_by_role("status")).to_contain_text("3 lines recorded")
    assert read(server, f"/api/sorts/{sort_id}/tally")["objects"] == 14
    piles = {
        each["category"]: each for each in read(server, f"/api/sorts/{sort_id}/piles")["piles"]
    }
    (reading,) = piles["steel_cans"]["batches"][0]["weighings"]
    assert (reading["gross"], reading["sorter"], reading["note"]) == ("1.250", "Ana", "wet")

    look()
    expect(page.get_by_text("Every line of this file is recorded already.")).to_be_visible()
    filled["food"]["gross"] = "2,6"
    save()
    look()
    expect(page.get_by_text("imported before as food, gross 2.4, tare 0 kg")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.set_viewport_size({"width": 360, "height": 780})
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
