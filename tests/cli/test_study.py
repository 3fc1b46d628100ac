"""`tallytare study` and `tallytare demo --study`: words, files and refusals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from service.cli import demo_study
from tests.cli.conftest import Run

OUTSIDE = re.compile(r'(?:href|src|action)="(?!#)[^"]*"|@import|url\((?!#)')


@pytest.fixture
def demo(run: Run, data_dir: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the data folder of an invented study of eight households."""
    monkeypatch.setattr(demo_study, "HOUSEHOLDS", 8)
    ran = run("demo", "--study", "--no-serve")
    assert ran.code == 0, ran.err
    assert "8 households, 16 sorts" in ran.out
    folder = data_dir / "demo"
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(folder))
    return folder


def test_a_study_in_words_and_as_files(run: Run, demo: Path, tmp_path: Path) -> None:
    out, figures = tmp_path / "out", tmp_path / "figures.json"
    ran = run(
        "study", demo_study.NAME, "--plan", demo / "study_plan.toml", "--level", "0.8",
        "--json", figures, "--out", out,
    )  # fmt: skip
    assert ran.code == 0, ran.err
    for words in ("16 sorts", "houses / autumn", "Capture", "80 % Student t", "files in"):
        assert words in ran.out
    assert json.loads(figures.read_text(encoding="utf-8"))["plan"]["level"] == 0.8
    names = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    tables = {
        f"package/{each}.csv" for each in ("figures", "sorts", "masses", "routes", "measures")
    }
    assert names == {"public.html", "annex.html", "study.json", "package/datapackage.json", *tables}
    for name in ("public.html", "annex.html"):
        page = (out / name).read_text(encoding="utf-8")
        assert not OUTSIDE.findall(page.replace("url(#", "")), name
        assert "<script" not in page
    whole = run("study", demo_study._id("study")[:8])
    assert "16 sorts" in whole.out
    chosen = run(
        "study", "Two", "--sorts", "Household 01, refuse", "--sorts", "Household 02, refuse"
    )
    assert chosen.out.startswith("Two\n2 sorts")
    assert "- Only 2 sorts are behind the estimates" in chosen.out
    assert "are behind the estimates" not in whole.out
    no_folder = run("study", demo_study.NAME, "--out", figures)
    assert (no_folder.code, "choose a folder" in no_folder.err) == (1, True)


def test_a_second_run_of_the_demo_records_nothing_twice(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_study, "HOUSEHOLDS", 1)
    for _ in range(2):
        ran = run("demo", "--study", "--no-serve")
        assert ran.code == 0, ran.err
        assert "1 households, 2 sorts" in ran.out


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("study",), 2, "nothing to report"),
        (("study", "Nowhere"), 1, "there is no study 'Nowhere'"),
        (("study", "x", "--sorts", "Nowhere"), 1, "there is no sort"),
        (("study", "x", "--level", "90"), 2, "write 0.9 for 90 %"),
        (("study", "x", "--plan", "none.toml"), 1, "can't be read"),
    ],
)
def test_refusals_say_what_to_do(
    run: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    ran = run(*arguments)
    assert ran.code == code
    assert said in ran.said or said in ran.err
