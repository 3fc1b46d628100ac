"""Predictions of the bundle of colours against its definition."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from classifier.inference.bundle import load_bundle
from classifier.inference.photo import Photo, decode_photo
from classifier.inference.predict import Predictor
from tests.tiny_bundle import (
    EMBEDDING_SIZE,
    FORMS,
    expected_probabilities,
    manifest_content,
    photo_of,
    unsure_photo,
    write_tiny_bundle,
)


@pytest.fixture(scope="module")
def predictor(tmp_path_factory: pytest.TempPathFactory) -> Predictor:
    return Predictor(load_bundle(write_tiny_bundle(tmp_path_factory.mktemp("tiny"))))


def flat(colour: tuple[int, int, int]) -> Photo:
    return Photo(Image.new("RGB", (64, 48), colour), 64, 48)


@pytest.mark.parametrize("form", FORMS)
def test_picture_of_a_form_is_told(predictor: Predictor, form: str) -> None:
    prediction = predictor.predict(decode_photo(photo_of(form, seed=5)))
    assert prediction.forms[0].id == form
    assert prediction.forms[0].p > 0.9
    assert [ranked.p for ranked in prediction.forms] == sorted(
        (ranked.p for ranked in prediction.forms), reverse=True
    )
    assert sum(ranked.p for ranked in prediction.forms) == pytest.approx(1.0)
    assert {ranked.id for ranked in prediction.forms} == set(FORMS)


def test_unsure_picture_has_no_likely_form(predictor: Predictor) -> None:
    assert predictor.predict(decode_photo(unsure_photo())).forms[0].p < 0.35


def test_probabilities_follow_the_definition(predictor: Predictor) -> None:
    colour = (140, 120, 90)
    expected = dict(zip(FORMS, expected_probabilities(np.array([colour]))[0], strict=True))
    for ranked in predictor.predict(flat(colour)).forms:
        assert ranked.p == pytest.approx(expected[ranked.id], abs=1e-5)


def test_embedding_and_time(predictor: Predictor) -> None:
    prediction = predictor.predict(flat((140, 120, 90)))
    assert prediction.embedding.shape == (EMBEDDING_SIZE,)
    assert prediction.embedding.dtype == np.float32
    assert 0 < prediction.seconds < 5


def test_batch_equals_one_by_one(predictor: Predictor) -> None:
    photos = [decode_photo(photo_of(form)) for form in FORMS]
    for photo, together in zip(photos, predictor.predict_many(photos), strict=True):
        alone = predictor.predict(photo)
        assert [each.id for each in alone.forms] == [each.id for each in together.forms]
        assert alone.forms[0].p == pytest.approx(together.forms[0].p, abs=1e-6)
        assert alone.embedding == pytest.approx(together.embedding, abs=1e-6)


def test_empty_batch_is_empty(predictor: Predictor) -> None:
    assert predictor.predict_many([]) == []


def test_several_views_are_averaged(tmp_path: Path) -> None:
    preprocessing = {**manifest_content()["preprocessing"], "views": [1.0, 0.5]}
    both = Predictor(load_bundle(write_tiny_bundle(tmp_path, preprocessing=preprocessing)))
    rgb = np.full((64, 64, 3), FORMS["garden"][0], dtype=np.uint8)
    rgb[16:48, 16:48] = FORMS["drink_can"][0]
    answer = {each.id: each.p for each in both.predict(Photo(Image.fromarray(rgb), 64, 64)).forms}
    quarter = np.array(FORMS["garden"][0]) * 0.75 + np.array(FORMS["drink_can"][0]) * 0.25
    expected = expected_probabilities(np.array([quarter, FORMS["drink_can"][0]])).mean(axis=0)
    assert answer["drink_can"] == pytest.approx(expected[list(FORMS).index("drink_can")], abs=0.01)


def test_temperature_is_applied(tmp_path: Path) -> None:
    warm = Predictor(load_bundle(write_tiny_bundle(tmp_path, temperature=4.0)))
    colour = FORMS["food"][0]
    expected = expected_probabilities(np.array([colour]))[0] ** 0.25
    first = warm.predict(flat(colour)).forms[0]
    assert first.p == pytest.approx(expected.max() / expected.sum(), abs=1e-5)


def test_threads_share_a_predictor(predictor: Predictor) -> None:
    photos = {form: decode_photo(photo_of(form)) for form in FORMS}
    wanted = list(FORMS) * 10
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda form: predictor.predict(photos[form]).forms[0].id, wanted))
    assert found == wanted
