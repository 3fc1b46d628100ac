"""Decoding for training: nothing unreadable stops a run, and views are those of the service."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np

from classifier.inference.photo import decode_photo
from classifier.inference.preprocess import Preprocessing, views_of
from tests.training.scenes import draw
from training.pictures.images import CANVAS, load_canvases, load_views

DEMO = sorted(Path(str(files("tallytare_demo"))).glob("*.jpg"))[:12]


def test_unreadable_files_are_named_and_skipped(tmp_path: Path) -> None:
    good, text, gone = tmp_path / "good.png", tmp_path / "text.jpg", tmp_path / "gone.jpg"
    draw("food", 1).save(good)
    text.write_text("no picture")
    canvases, kept, refused = load_canvases([text, good, gone, tmp_path, good], workers=1)
    assert kept == [1, 4]
    assert canvases.pixels.shape == (2, 3, CANVAS, CANVAS)
    assert [line.split(": ")[0] for line in refused] == [str(text), str(gone), str(tmp_path)]


def test_a_canvas_holds_the_picture_in_its_corner(tmp_path: Path) -> None:
    path = tmp_path / "food.png"
    image = draw("food", 1, width=90, height=70)
    image.save(path)
    canvases, _, _ = load_canvases([path], workers=1)
    assert canvases.extents.tolist() == [[70, 90]]
    kept = canvases.pixels[0, :, :70, :90].permute(1, 2, 0).numpy()
    np.testing.assert_array_equal(kept, np.asarray(image))
    assert canvases.pixels[0].sum() == kept.sum(dtype=np.int64)


def test_large_pictures_shrink_to_the_canvas(tmp_path: Path) -> None:
    path = tmp_path / "food.jpg"
    draw("food", 1, width=900, height=600).save(path)
    canvases, _, _ = load_canvases([path], workers=1)
    assert canvases.extents.tolist() == [[round(CANVAS * 600 / 900), CANVAS]]


def test_training_cuts_the_demo_pictures_exactly_as_the_service_does() -> None:
    assert DEMO, "the demo pictures are part of the installation"
    preprocessing = Preprocessing(size=96, views=(0.0, 1.0, 0.7))
    views = load_views(DEMO, preprocessing, workers=2)  # (n, v, S, S, 3)
    ours = views.permute(0, 1, 4, 2, 3).numpy().astype(np.float32) / 127.5 - 1
    for path, cut in zip(DEMO, ours, strict=True):
        theirs = np.concatenate(
            list(views_of(decode_photo(path.read_bytes()).image, preprocessing))
        )
        np.testing.assert_allclose(cut, theirs, atol=1e-6)
