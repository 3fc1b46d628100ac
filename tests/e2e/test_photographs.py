"""Ways for a picture to come in, and what leaves the page: small, upright, without metadata."""

from __future__ import annotations

import io
import json
import urllib.request
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from tests.e2e.conftest import Server
from tests.e2e.sorting import ANSWERED, another_pile, answered, read, start_sort, total, upload
from tests.tiny_bundle import FORMS, photo_of, unsure_photo

pytestmark = pytest.mark.e2e

HAND_OVER = """
([bytes, kind]) => {
  const transfer = new DataTransfer();
  transfer.items.add(new File([new Uint8Array(bytes)], "a.jpg", { type: "image/jpeg" }));
  document.dispatchEvent(kind === "drop"
    ? new DragEvent("drop", { dataTransfer: transfer, cancelable: true, bubbles: true })
    : new ClipboardEvent("paste", { clipboardData: transfer, bubbles: true }));
}
"""

REMEMBER_PHOTO = """
() => {
  const send = window.fetch;
  window.fetch = (url, options) => {
    if (options?.body instanceof FormData) window.sentPhoto = options.body.get("photo");
    return send(url, options);
  };
}
"""


@pytest.mark.parametrize("way", ["drop", "paste"])
def test_picture_dropped_or_pasted(page: Page, server: Server, way: str) -> None:
    start_sort(page, server)
    page.evaluate(HAND_OVER, [list(photo_of("food_can")), way])
    answered(page, "route")
    expect(page.locator("#ticket h2").last).to_have_text("Steel cans")


@pytest.mark.parametrize(("keeps", "size"), [(False, (480, 640)), (True, (768, 1024))])
def test_twelve_megapixels_are_sent_small(
    page: Page, server: Server, tmp_path: Path, keeps: bool, size: tuple[int, int]
) -> None:
    """A sharp copy travels only where the sort keeps photos; both under 200 kB."""
    sort_id = _new_sort(server, keeps_photos=keeps)
    page.goto(f"{server.address}/sorts/{sort_id}")
    page.wait_for_selector("body[data-ready]")
    noise = np.random.default_rng(1).integers(0, 60, (3000, 4000, 3), dtype=np.uint8)
    picture = Image.fromarray(np.asarray(FORMS["food_can"][0], dtype=np.uint8) - 30 + noise)
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was held upright
    exif[0x010F] = "SomeCamera"
    path = tmp_path / "large.jpg"
    picture.save(path, quality=90, exif=exif)
    assert path.stat().st_size > 5_000_000
    page.evaluate(REMEMBER_PHOTO)
    page.set_input_files("#file", path)
    page.wait_for_selector(ANSWERED)
    sent = bytes(page.evaluate("async () => [...new Uint8Array(await sentPhoto.arrayBuffer())]"))
    assert len(sent) < 200_000
    assert Image.open(io.BytesIO(sent)).size == size
    assert b"SomeCamera" not in sent
    assert read(server, f"/api/sorts/{sort_id}/tally")["items"] == 0


def test_unsure_offers_the_likeliest_first_and_takes_none_by_itself(
    page: Page, server: Server, tmp_path: Path
) -> None:
    start_sort(page, server)
    path = tmp_path / "unsure.jpg"
    path.write_bytes(unsure_photo())
    page.set_input_files("#file", path)
    answered(page, "unsure")
    expect(page.locator("#confirm")).to_be_hidden()
    expect(page.locator("[data-alternative]")).to_have_count(3)
    expect(page.locator("#ticket [data-part=check]")).to_be_visible()
    first = page.locator("[data-alternative]").first
    name = first.get_attribute("data-alternative")
    first.click()
    page.locator("#confirm").click()
    total(page, 1)
    sort_id = page.url.rsplit("/", 1)[-1]
    (line,) = read(server, f"/api/sorts/{sort_id}/tally")["lines"]
    assert line["category"] == name


def test_what_is_only_perhaps_so_is_confirmed_with_one_tap(
    page: Page, server: Server, tmp_path: Path
) -> None:
    """No alternative names the category in the headline, so the button has to."""

    def doubtful(route: Route) -> None:
        answer = route.fetch()
        body = answer.json()
        body["suggestion"]["categories"][0]["p"] = 0.46
        route.fulfill(response=answer, json=body)

    start_sort(page, server)
    page.route("**/captures", doubtful)
    upload(page, tmp_path, "food_can")
    answered(page, "route")
    expect(page.locator("#ticket")).to_contain_text("Perhaps · 46 in 100")
    page.locator("#confirm").click()
    total(page, 1)


def test_without_a_model_everything_is_done_by_hand(
    page: Page, server: Server, tmp_path: Path
) -> None:
    server.kill()
    (server.bundle / "network.onnx").write_bytes(b"damaged")
    server.start()
    start_sort(page, server)
    upload(page, tmp_path, "food_can")
    answered(page, "unsure")
    expect(page.locator("#ticket")).to_contain_text("No suggestions")
    another_pile(page, "steel")
    page.locator("#confirm").click()
    total(page, 1)


def test_answer_can_be_changed_and_undone_photo_answered_anew(
    page: Page, server: Server, tmp_path: Path
) -> None:
    start_sort(page, server)
    upload(page, tmp_path, "plastic_tub_tray")
    answered(page, "ask")
    page.get_by_role("button", name="5 (PP)").click()
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Kerbside recycling")
    page.get_by_role("button", name="Change the answer").click()
    page.get_by_role("button", name="6 (PS)").click()
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Residual waste")
    page.locator("#confirm").click()
    total(page, 1)
    page.locator("[data-undo]").click()
    total(page, 0)
    page.locator("#unanswered button").click()
    expect(page.locator("#ticket [data-part=route]")).to_contain_text("Residual waste")
    page.locator("#confirm").click()
    total(page, 1)


def test_no_live_camera_away_from_localhost(browser: Browser, server: Server) -> None:
    """A plain-HTTP address is no secure context: the phone's own camera serves instead."""
    sort_id = _new_sort(server)
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    page.goto(f"{server.address}/sorts/{sort_id}")
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#stage")).to_contain_text("No live camera here")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Take photo").click()
    assert chooser.value.element.get_attribute("capture") == "environment"
    context.close()


def _new_sort(server: Server, *, keeps_photos: bool = False) -> str:
    sort = {
        "sort_id": "7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11",
        "name": "By plain HTTP",
        "sorted_on": "2026-05-01",
        "days": 7,
        "persons": 1,
        "programme_id": "port_sable",
        "keeps_photos": keeps_photos,
    }
    request = urllib.request.Request(
        f"{server.address}/api/sorts",
        data=json.dumps(sort).encode(),
        headers={"content-type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=10):
        return str(sort["sort_id"])
