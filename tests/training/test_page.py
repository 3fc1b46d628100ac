"""`tallytare evaluate --page`: one page that needs nothing else, with right figures on it."""

from __future__ import annotations

import base64
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from classifier.estimators.abstention import risk_coverage
from classifier.estimators.calibration import reliability
from tests.tiny_bundle import photo_of, write_tiny_bundle
from training.commands import evaluate_command
from training.judging.charts import reliability_chart, risk_chart
from training.judging.judge import judge
from training.judging.page import MOST_MISTAKES, confusion, worst_mistakes


class _Links(HTMLParser):
    """Everything a page would fetch or run, and its inline styles."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.forbidden: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.fetched += [given[key] or "" for key in ("src", "href") if key in given]
        if tag == "script" or "style" in given or any(key.startswith("on") for key in given):
            self.forbidden.append(tag)


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return a bundle that tells colours."""
    return str(write_tiny_bundle(tmp_path_factory.mktemp("tiny")))


def _pictures(folder: Path, wrong: int) -> Path:
    """Ten right food pictures, some cans labelled as bottles, one hall without an item."""
    for label, form, count in (
        ("food", "food", 10),
        ("glass_bottle", "drink_can", wrong),
        ("non_item", "non_item", 1),
    ):
        (folder / label).mkdir(parents=True)
        for number in range(count):
            name = f"{label} <b>{number}.jpg"
            (folder / label / name).write_bytes(photo_of(form, seed=number, width=300))
    return folder


def test_the_page_needs_nothing_else(bundle: str, tmp_path: Path) -> None:
    data = _pictures(tmp_path / "data", 3)
    out = tmp_path / "a" / "page"
    assert evaluate_command([str(data), "--bundle", bundle, "--page", str(out)]) == 0
    assert sorted(each.name for each in out.iterdir()) == ["index.html", "result.json"]
    page = (out / "index.html").read_text(encoding="utf-8")
    links = _Links()
    links.feed(page)
    assert all(link.startswith("data:") for link in links.fetched)
    assert not links.forbidden
    assert "url(" not in page
    assert "@import" not in page
    assert str(tmp_path) not in page
    assert "3 pictures were taken for another form; here are all 3." in page
    assert "<b>" not in page
    assert "glass_bottle &lt;b&gt;0.jpg" in page
    said = json.loads((out / "result.json").read_text(encoding="utf-8"))
    ece = said["by_source"]["data"]["ece"]["value"]
    assert f"ECE <strong>{ece:.3f}</strong>" in page


def test_the_page_says_where_nothing_went_wrong_and_what_was_left_out(
    bundle: str, tmp_path: Path
) -> None:
    data = _pictures(tmp_path / "data", 1)
    (data / "glass_bottle" / "glass_bottle <b>0.jpg").write_bytes(b"no picture")
    assert evaluate_command([str(data), "--bundle", bundle, "--page", str(tmp_path / "p")]) == 0
    page = (tmp_path / "p" / "index.html").read_text(encoding="utf-8")
    assert "None: every picture was taken for what it shows." in page
    assert "<h2>Left out</h2>" in page


def test_mistakes_are_the_surest_small_and_bare(bundle: str, tmp_path: Path) -> None:
    data = _pictures(tmp_path / "data", MOST_MISTAKES + 3)
    first = data / "glass_bottle" / "glass_bottle <b>0.jpg"
    exif = Image.Exif()
    exif[0x010E] = "kitchen at 12 Example Road"
    Image.open(first).save(first, exif=exif)
    asked, _ = judge(data, bundle, "alder_valley")
    mistakes = worst_mistakes(asked)
    assert len(mistakes) == MOST_MISTAKES
    sure = [mistake.p for mistake in mistakes]
    assert sure == sorted(sure, reverse=True)
    for mistake in mistakes:
        assert (mistake.true, mistake.guess) == ("Glass bottle", "Drink can")
        jpeg = base64.b64decode(mistake.picture.removeprefix("data:image/jpeg;base64,"))
        image = Image.open(io.BytesIO(jpeg))
        assert max(image.size) == 160
        assert not image.getexif()
        assert b"Example Road" not in jpeg


def test_the_confusion_matrix_holds_every_picture(bundle: str, tmp_path: Path) -> None:
    asked, _ = judge(_pictures(tmp_path / "data", 4), bundle, "alder_valley")
    names, cells = confusion(asked)
    counts = np.array([[cell.n for cell in row] for row in cells])
    assert names == ["Drink can", "Glass bottle", "Food", "Non item"]
    assert counts.tolist() == [[0, 0, 0, 0], [4, 0, 0, 0], [0, 0, 10, 0], [0, 0, 0, 1]]
    assert [cell.shade for cell in cells[1]] == [5, 0, 0, 0]
    assert [[cell.right for cell in row] for row in cells] == np.eye(4, dtype=bool).tolist()


def test_what_a_page_refuses(
    bundle: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = _pictures(tmp_path / "data", 1)
    (tmp_path / "file").write_text("in the way")
    refused = ["--bundle", bundle, "--page", str(tmp_path / "file")]
    assert evaluate_command([str(data), *refused]) == 1
    assert "can't be written" in capsys.readouterr().err
    empty = tmp_path / "empty"
    (empty / "non_item").mkdir(parents=True)
    (empty / "non_item" / "a.jpg").write_bytes(photo_of("non_item"))
    assert evaluate_command([str(empty), "--bundle", bundle, "--page", str(tmp_path / "p")]) == 1
    assert "no picture shows an item" in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


def test_bars_and_dots_stand_where_the_bins_are() -> None:
    """Two filled bins of fifteen: a bar and a dot each, at the height of their accuracy."""
    chart = reliability_chart(reliability([0.9, 0.9, 0.5, 0.5], [1, 1, 1, 0]))
    svg = ElementTree.fromstring(chart)
    bars, dots = svg.findall("rect"), svg.findall("circle")
    assert len(bars) == len(dots) == 2
    heights = [float(bar.attrib["height"]) for bar in bars]
    assert heights == pytest.approx([125, 250], abs=0.1)
    assert float(dots[1].attrib["cx"]) == pytest.approx(56 + 0.9 * 270, abs=0.1)
    desc = svg.find("desc")
    assert desc is not None
    assert desc.text == ("confidence 0.50: right 0.50 of 2; confidence 0.90: right 1.00 of 2")


def test_the_curve_begins_and_ends_where_it_should() -> None:
    """A thousand pictures, the 100 least sure wrong: 0 until 90 %, then up to 0.1."""
    curve = risk_coverage(np.linspace(1, 0, 1000), np.arange(1000) < 900)
    svg = ElementTree.fromstring(risk_chart(curve, marked=0.7))
    (line,) = (path for path in svg.findall("path") if path.attrib["class"] == "curve")
    numbers = [float(n) for n in re.findall(r"[\d.]+", line.attrib["d"])]
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    assert len(points) <= 201
    assert points[0][1] == pytest.approx(262, abs=0.1)
    assert points[-1] == pytest.approx((326, 12), abs=0.1)
    desc = svg.find("desc")
    assert desc is not None
    assert desc.text == "0.000 wrong among the surest 70%, 0.100 of all"
