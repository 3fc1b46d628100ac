"""The views and the scaling that training and use share, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from classifier.inference.preprocess import (
    WHOLE_FRAME,
    Preprocessing,
    normalised,
    square_view,
    view_probabilities,
    views_of,
)


def stripes(width: int, height: int, edge: int) -> np.ndarray:
    """Return a blue picture whose outermost `edge` columns on both sides are red."""
    rgb = np.full((height, width, 3), (0, 0, 200), dtype=np.uint8)
    rgb[:, :edge] = rgb[:, width - edge :] = (200, 0, 0)
    return rgb


def test_full_view_is_the_centred_square() -> None:
    view = square_view(stripes(300, 100, 100), 1.0, 32)
    assert view.shape == (32, 32, 3)
    assert (view == (0, 0, 200)).all()


def test_view_of_the_size_of_the_picture_changes_nothing() -> None:
    rgb = np.random.default_rng(0).integers(0, 256, (32, 32, 3), dtype=np.uint8)
    assert (square_view(rgb, 1.0, 32) == rgb).all()
    assert (square_view(rgb, WHOLE_FRAME, 32) == rgb).all()


def test_half_view_is_the_inner_half() -> None:
    rgb = np.zeros((64, 64, 3), dtype=np.uint8)
    rgb[16:48, 16:48] = 255
    assert (square_view(rgb, 0.5, 32) == 255).all()


def test_view_is_pillows_antialiased_bicubic() -> None:
    rgb = np.random.default_rng(1).integers(0, 256, (90, 120, 3), dtype=np.uint8)
    cut = Image.fromarray(rgb[:, 15:105])
    expected = np.array(cut.resize((32, 32), Image.Resampling.BICUBIC))
    assert (square_view(rgb, 1.0, 32) == expected).all()


def test_whole_frame_is_padded_with_the_mean_of_its_border() -> None:
    rgb = np.full((50, 100, 3), 10, dtype=np.uint8)
    rgb[0], rgb[-1], rgb[:, 0], rgb[:, -1] = 90, 90, 90, 90
    view = square_view(rgb, WHOLE_FRAME, 100)
    assert (view[:25] == 90).all()
    assert (view[75:] == 90).all()
    assert (view[30:70, 5:95] == 10).all()


def test_whole_frame_of_a_sliver_keeps_a_line() -> None:
    assert square_view(np.zeros((2, 4000, 3), dtype=np.uint8), WHOLE_FRAME, 32).shape == (32, 32, 3)
    one_row = np.full((1, 40, 3), 90, dtype=np.uint8)
    assert (square_view(one_row, WHOLE_FRAME, 32) == 90).all()


def test_values_are_scaled_by_mean_and_deviation() -> None:
    preprocessing = Preprocessing(size=16, mean=(0.5, 0.4, 0.0), std=(0.5, 0.2, 1.0))
    pixels = np.full((1, 16, 16, 3), (255, 0, 51), dtype=np.uint8)
    scaled = normalised(pixels, preprocessing)
    assert scaled.shape == (1, 3, 16, 16)
    assert scaled.dtype == np.float32
    assert scaled[0, :, 0, 0] == pytest.approx([1.0, -2.0, 0.2], abs=1e-6)


def test_views_come_in_their_order() -> None:
    preprocessing = Preprocessing(size=32, views=(1.0, 0.25, WHOLE_FRAME))
    image = Image.fromarray(stripes(64, 64, 16))
    batch = np.concatenate(list(views_of(image, preprocessing)))
    assert batch.shape == (3, 3, 32, 32)
    assert batch[1, 0].max() == -1.0  # the inner quarter has no red
    assert batch[0, 0].max() > 0.5
    assert (batch[0] == batch[2]).all()  # of a square picture


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"size": 8}, r"size 8 is outside 16\.\.1024"),
        ({"mean": (0.5, 0.5, 2.0)}, r"mean \[0\.5, 0\.5, 2\.0\] is outside 0\.\.1"),
        ({"std": (0.0, 0.5, 0.5)}, r"std \[0\.0, 0\.5, 0\.5\] is outside"),
        ({"std": (0.5, 0.5)}, "three numbers"),
        ({"views": ()}, r"views \[\] must be one or more fractions"),
        ({"views": (1.5,)}, r"views \[1\.5\] must be"),
        ({"interpolation": "nearest"}, "interpolation 'nearest' is not 'bicubic'"),
    ],
)
def test_impossible_preprocessing_is_refused(changes: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Preprocessing(**{"size": 224, **changes})  # type: ignore[arg-type]


def test_probabilities_are_the_mean_of_the_views() -> None:
    logits = np.log(np.array([[[1.0, 3.0], [1.0, 1.0]]])).astype(np.float32)
    assert view_probabilities(logits, 1.0)[0] == pytest.approx([0.375, 0.625])


def test_temperature_flattens() -> None:
    logits = np.array([[2.0, 0.0]], dtype=np.float32)
    assert view_probabilities(logits, 2.0)[0] == pytest.approx(np.e / (1 + np.e))


@given(
    st.lists(st.floats(-1e4, 1e4, width=32), min_size=2, max_size=9),
    st.floats(0.05, 20.0),
    st.floats(-100, 100),
)
def test_probabilities_sum_to_one_and_ignore_a_common_shift(
    logits: list[float], temperature: float, shift: float
) -> None:
    values = np.array([logits])
    found = view_probabilities(values, temperature)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0).all()
    assert view_probabilities(values + shift, temperature) == pytest.approx(found, abs=1e-6)
