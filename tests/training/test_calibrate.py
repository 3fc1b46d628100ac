"""Temperature and thresholds on cases made by hand, and against other software."""

from __future__ import annotations

import numpy as np
import pytest
import torch
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import log_softmax
from torchmetrics.functional.classification import multiclass_calibration_error

from classifier.inference.preprocess import view_probabilities
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.suggestion_parts import Thresholds
from training.judging.calibrate import (
    Confidence,
    HeldOut,
    fit_confidence,
    least_threshold,
    non_item_threshold,
    set_confidence,
    set_thresholds,
    stop_threshold,
    unsure_threshold,
)
from training.pictures.forms import table_of_labels


def _overconfident(n: int, views: int, *, seed: int = 0, factor: float = 3.0) -> HeldOut:
    """Labels drawn from softmax(logits); what is handed out are the logits times `factor`."""
    rng = np.random.default_rng(seed)
    logits = rng.normal(0, 1.5, (n, 5))
    p = np.exp(logits) / np.exp(logits).sum(axis=1, keepdims=True)
    labels = np.array([rng.choice(5, p=row) for row in p])
    return HeldOut(np.repeat(logits[:, None] * factor, views, axis=1).astype(np.float32), labels)


def _temperature(sets: list[HeldOut]) -> float:
    confidence = fit_confidence(sets)
    assert confidence.slope == 0
    return confidence.temperature


def _reference(logits: NDArray[np.floating], labels: NDArray[np.int64]) -> float:
    """Temperature of Guo et al. (2017), section 4.2; the likelihood is convex in its inverse."""

    def loss(inverse: float) -> float:
        return float(-log_softmax(logits * inverse, axis=1)[np.arange(len(labels)), labels].mean())

    return float(1 / minimize_scalar(loss, bounds=(0.2, 5.0), method="bounded").x)


@pytest.mark.parametrize("views", [1, 2])
@pytest.mark.parametrize("factor", [0.5, 3.0])
def test_temperature_of_equal_views_is_that_of_temperature_scaling(
    views: int, factor: float
) -> None:
    held = _overconfident(2000, views, factor=factor)
    ours = _temperature([held])
    assert ours == pytest.approx(_reference(held.logits[:, 0], held.labels), rel=1e-3)
    assert ours == pytest.approx(factor, rel=0.1)


def test_perfect_and_senseless_answers_stop_at_the_ends() -> None:
    logits = np.array([[[1.0, 0.0]], [[0.0, 1.0]]], dtype=np.float32)
    assert _temperature([HeldOut(logits, np.array([0, 1]))]) == 0.2
    assert _temperature([HeldOut(logits, np.array([1, 0]))]) == 5.0


@given(
    arrays(np.float32, (20, 1, 3), elements=st.floats(-3, 3, width=32), unique=True),
    arrays(np.int64, 20, elements=st.integers(0, 2)),
    st.permutations(range(3)),
)
def test_the_temperature_does_not_depend_on_the_order_of_classes(
    logits: NDArray[np.float32], labels: NDArray[np.int64], order: list[int]
) -> None:
    renumbered = HeldOut(logits[..., order], np.argsort(order)[labels])
    assert _temperature([renumbered]) == pytest.approx(
        _temperature([HeldOut(logits, labels)]), rel=1e-3
    )


def test_temperature_lowers_the_calibration_error_as_torchmetrics_counts_it() -> None:
    fitted, judged = _overconfident(3000, 1), _overconfident(3000, 1, seed=1)
    temperature = _temperature([fitted])

    def error(t: float) -> float:
        p = torch.from_numpy(view_probabilities(judged.logits, t))
        labels = torch.from_numpy(judged.labels)
        return float(multiclass_calibration_error(p, labels, num_classes=5, n_bins=15))

    assert error(1.0) > 0.15
    assert error(temperature) < 0.04


def _strange(n: int, *, seed: int, slope: float, most: float = 2.0) -> HeldOut:
    """Answers that sound `exp(slope * strangeness)` times as sure as they are, two views each."""
    rng = np.random.default_rng(seed)
    sound = _overconfident(n, 2, seed=seed, factor=1.0)
    strangeness = np.repeat(rng.uniform(-1, most, (n, 1)), 2, axis=1).astype(np.float32)
    logits = sound.logits * np.exp(slope * strangeness)[..., None]
    return HeldOut(logits.astype(np.float32), sound.labels, strangeness)


def test_slope_is_found_where_strange_pictures_sound_too_sure() -> None:
    found = fit_confidence([_strange(4000, seed=0, slope=0.4)])
    assert found.slope == pytest.approx(0.4, abs=0.05)
    assert found.temperature == pytest.approx(1.0, abs=0.08)
    judged = _strange(4000, seed=1, slope=0.4)
    sound = _overconfident(4000, 2, seed=1, factor=1.0)
    np.testing.assert_allclose(
        judged.doubted(found.slope).logits / found.temperature, sound.logits, rtol=0.25
    )


def test_what_is_strange_is_never_trusted_more() -> None:
    assert fit_confidence([_strange(2000, seed=0, slope=-0.4)]).slope == 0


def test_known_floors_alone_never_sharpen() -> None:
    shy = _overconfident(2000, 1, factor=0.5)
    assert fit_confidence([shy]).temperature == pytest.approx(0.5, rel=0.1)
    assert set_confidence(shy, []).temperature == 1.0
    assert set_confidence(shy, [shy]) == fit_confidence([shy, shy])


def test_a_form_without_pictures_to_learn_from_does_not_set_the_temperature() -> None:
    held = _overconfident(2000, 1)
    wrong = held.logits.copy()
    wrong[held.labels == 4, :, 4] = -30  # never learned, so never answered
    without = held.only(held.labels != 4)
    said = fit_confidence([HeldOut(wrong, held.labels, None, frozenset({4}))])
    assert said == fit_confidence([HeldOut(wrong[held.labels != 4], without.labels)])
    assert fit_confidence([HeldOut(wrong, held.labels)]).temperature > said.temperature + 1


def test_answers_without_strangeness_are_left_as_they_are() -> None:
    held = _overconfident(10, 1)
    assert np.array_equal(held.doubted(0.5).logits, held.logits)
    strange = _strange(10, seed=0, slope=0.3)
    assert np.array_equal(strange.doubted(0).logits, strange.logits)
    picked = strange.only(np.arange(10) < 4)
    assert picked.strangeness is not None
    assert (len(picked.labels), picked.strangeness.shape) == (4, (4, 2))


def test_every_set_weighs_the_same_and_undecided_pictures_nothing() -> None:
    sharp, soft = _overconfident(300, 1, factor=1.0), _overconfident(3000, 1, factor=3.0)
    undecided = HeldOut(sharp.logits, np.full(300, -1))
    both = _temperature([sharp, soft, undecided])
    large = HeldOut(np.tile(soft.logits, (3, 1, 1)), np.tile(soft.labels, 3))
    assert both == pytest.approx(_temperature([sharp, large]), rel=1e-3)
    assert _temperature([sharp]) < both < _temperature([soft])


def test_least_threshold_by_hand() -> None:
    confidence = np.array([0.5, 0.9, 0.7, 0.8, 0.6])
    correct = np.array([True, True, False, True, True])
    # Right among the surest: 1/1, 2/2, 2/3, 3/4, 4/5.
    assert least_threshold(confidence, correct, 1.0) == 0.8
    assert least_threshold(confidence, correct, 0.75) == 0.5
    assert least_threshold(confidence, ~correct, 0.9) == 1.0


def test_least_threshold_answers_ties_together() -> None:
    confidence = np.array([0.9, 0.8, 0.8, 0.8])
    correct = np.array([True, True, False, False])
    threshold = least_threshold(confidence, correct, 0.9)
    assert threshold == 0.9
    assert correct[confidence >= threshold].mean() >= 0.9


def test_least_threshold_trusts_no_handful() -> None:
    """Of 100 pictures the three surest are right, then every second one."""
    confidence = np.linspace(1, 0.5, 100)
    correct = np.array([True] * 3 + [False, True] * 48 + [False])
    assert least_threshold(confidence, correct, 0.99) == 1.0


def test_unsure_where_right_and_wrong_are_even() -> None:
    """Chance of being right = confidence, so that 0.5 is where the better answer changes."""
    rng = np.random.default_rng(0)
    confidence = rng.uniform(0.05, 0.95, 20_000)
    assert unsure_threshold(confidence, rng.random(20_000) < confidence) == pytest.approx(
        0.5, abs=0.03
    )


def test_unsure_asks_for_more_of_an_overconfident_model() -> None:
    rng = np.random.default_rng(0)
    confidence = rng.uniform(0.05, 0.95, 20_000)
    assert unsure_threshold(confidence, rng.random(20_000) < confidence**2) > 0.6


@pytest.mark.parametrize(("right", "low", "high"), [(True, 0.05, 0.3), (False, 0.8, 0.95)])
def test_unsure_stays_a_probability_where_all_are_right_or_wrong(
    right: bool, low: float, high: float
) -> None:
    confidence = np.linspace(0.3, 0.9, 50)
    assert low <= unsure_threshold(confidence, np.full(50, right)) <= high


def test_stop_threshold_catches_most_stop_items() -> None:
    hazard = np.concatenate([np.linspace(0.2, 0.4, 100), np.zeros(500)])
    is_stop = np.arange(600) < 100
    threshold = stop_threshold(hazard, is_stop)
    assert (hazard[is_stop] >= threshold).mean() == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize(("level", "expected"), [(0.01, 0.15), (0.99, 0.5)])
def test_stop_threshold_stays_within_its_range(level: float, expected: float) -> None:
    assert stop_threshold(np.full(9, level), np.ones(9, dtype=bool)) == expected


def test_without_a_stop_item_the_most_careful_stop_threshold_holds() -> None:
    assert stop_threshold(np.linspace(0, 0.1, 9), np.zeros(9, dtype=bool)) == 0.15


def test_stop_threshold_rises_until_few_other_items_stop() -> None:
    hazard = np.concatenate([np.full(20, 0.2), np.linspace(0, 0.4, 1000)])
    is_stop = np.arange(1020) < 20
    threshold = stop_threshold(hazard, is_stop)
    assert (hazard[~is_stop] >= threshold).mean() == pytest.approx(0.03, abs=0.002)


def test_non_item_threshold_lets_all_but_one_in_a_hundred_items_pass() -> None:
    non_item = np.linspace(0, 0.8, 1001)
    threshold = non_item_threshold(non_item)
    assert (non_item >= threshold).mean() == pytest.approx(0.01, abs=0.002)
    assert non_item_threshold(np.zeros(10)) == 0.3
    assert non_item_threshold(np.ones(10)) == 0.9


def test_thresholds_of_a_model_that_is_always_right() -> None:
    """Sure of glass, cans and broken glass; pictures without an item change nothing."""
    categories = load_categories()
    valley = next(p for p in load_shipped_programmes(categories) if p.id == "alder_valley")
    table = table_of_labels(["glass_jar", "drink_can", "broken_glass"], categories)
    labels = np.arange(90) % 3
    logits = 4.0 * np.eye(4, dtype=np.float32)[labels][:, None]

    def thresholds(held: HeldOut) -> Thresholds:
        return set_thresholds([held], Confidence(1.0), table, categories, valley, least_route=0.5)

    items = thresholds(HeldOut(logits, labels))
    p = np.exp(4) / (np.exp(4) + 3)
    assert items.route == pytest.approx(p, abs=0.02)  # no picture is less sure than that
    assert items.stop == 0.5  # the end of its range: sure hazards are well above it
    assert items.non_item == 0.3  # the end of its range
    assert 0.05 <= items.unsure < p
    scenes = np.tile(4.0 * np.eye(4)[3], (9, 1, 1))
    mixed = HeldOut(np.concatenate([logits, scenes]), np.append(labels, [3] * 9))
    assert thresholds(mixed) == items
    undecided = HeldOut(np.concatenate([logits, scenes]), np.append(labels, [-1] * 9))
    assert thresholds(undecided) == items
