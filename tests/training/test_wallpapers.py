"""Pieces of wallpapers: all of one in one split, the same ones for the same list."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from classifier.rules.suggestion_parts import NON_ITEM
from training.pictures import wallpapers
from training.pictures.manifest import read_examples
from training.pictures.wallpapers import PIECES, SIDE_PX, listed, main, pieces


def _picture(seed: int) -> Image.Image:
    pixels = np.random.default_rng(seed).integers(0, 255, (40, 60, 3), dtype=np.uint8)
    return Image.fromarray(pixels).resize((600, 400))


def test_the_list_names_each_wallpaper_once() -> None:
    rows = listed()
    assert len({row["file"] for row in rows}) == len(rows) > 50
    assert all(row["package"] for row in rows)


def test_pieces_are_squares_and_hang_on_the_name_alone() -> None:
    first, again, other = (
        [np.asarray(piece) for piece in pieces(_picture(0), name)] for name in ("a", "a", "b")
    )
    assert len(first) == PIECES
    assert all(piece.shape == (SIDE_PX, SIDE_PX, 3) for piece in first)
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert not all(np.array_equal(a, b) for a, b in zip(first, other, strict=True))


def test_a_set_is_read_as_pictures_without_an_item(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [{"package": "drawn", "file": f"backgrounds/{i}.png"} for i in range(30)]
    monkeypatch.setattr(wallpapers, "listed", lambda: rows)
    folder = tmp_path / "unpacked" / "usr" / "share"
    (folder / "backgrounds").mkdir(parents=True)
    for number, row in enumerate(rows):
        _picture(number).save(folder / row["file"])
    main([str(tmp_path / "unpacked"), "--out", str(tmp_path / "set")])
    assert capsys.readouterr().out == f"{30 * PIECES} pictures\n"
    examples = read_examples(tmp_path / "set")
    assert {e.form for e in examples} == {NON_ITEM}
    assert {e.split for e in examples} == {"train", "calibrate", "test"}
    with (tmp_path / "set" / "manifest.csv").open(newline="", encoding="utf-8") as stream:
        assert len({(row["group"], row["split"]) for row in csv.DictReader(stream)}) == 30
