from __future__ import annotations

from itertools import permutations
from typing import Any

import numpy as np
import pytest

from classifier.estimators.agreement import agreement_band, cohen_kappa, fleiss_kappa
from classifier.estimators.krippendorff import Rating, krippendorff_alpha

ADA = ["can"] * 12 + ["jar"] * 8 + ["lid"] * 5
BEN = ["can"] * 10 + ["jar"] * 9 + ["lid"] * 6
TABLE = [[3, 0], [0, 3], [1, 2], [3, 0], [2, 1], [0, 3]]


def alpha_by_pairs(ratings: list[list[Rating]]) -> float:
    """Krippendorff's definition, pair by pair."""
    units = [[v for v in unit if v is not None] for unit in zip(*ratings, strict=True)]
    units = [unit for unit in units if len(unit) > 1]
    everything = [v for unit in units for v in unit]
    observed = sum((a != b) / (len(unit) - 1) for unit in units for a, b in permutations(unit, 2))
    expected = sum(a != b for a, b in permutations(everything, 2)) / (len(everything) - 1)
    return float(1 - observed / expected)


@pytest.mark.parametrize("seed", range(4))
def test_alpha_is_its_definition(seed: int) -> None:
    generator = np.random.default_rng(seed)
    truth = generator.integers(0, 6, size=15)
    ratings: list[list[Rating]] = [
        [
            None if generator.random() < 0.2 else int(v + generator.integers(-1, 2) ** 2)
            for v in truth
        ]
        for _ in range(4)
    ]
    ours = krippendorff_alpha(ratings, blind=True, draws=100)
    assert ours.value == pytest.approx(alpha_by_pairs(ratings), abs=1e-12)


def test_each_draw_is_the_coefficient_of_its_items() -> None:
    """The interval's ends are the quantiles of alpha recomputed from scratch for each draw."""
    ratings: list[list[Rating]] = [[1, 2, 3, 3, 2, 1], [1, 2, 3, 1, 2, 2], [2, 2, 3, 3, 4, 1]]
    estimate = krippendorff_alpha(ratings, blind=True, draws=100, seed=3)
    items = sorted(zip(*ratings, strict=True), key=lambda item: sorted(map(str, item)))
    table = np.array([[item.count(v) for v in (1, 2, 3, 4)] for item in items])
    _, first, frequency = np.unique(table, axis=0, return_index=True, return_counts=True)
    times = np.random.default_rng(3).multinomial(6, frequency / 6, size=100)
    drawn = []
    for draw in times:
        chosen = [items[i] for i, repeats in zip(first, draw, strict=True) for _ in range(repeats)]
        people: list[list[Rating]] = [list(row) for row in zip(*chosen, strict=True)]
        drawn.append(alpha_by_pairs(people))
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert (estimate.low, estimate.high) == pytest.approx((low, high), abs=1e-9)


def test_agreement_and_disagreement_at_their_extremes() -> None:
    same = cohen_kappa(ADA, ADA, blind=True)
    assert (same.value, same.low, same.high) == pytest.approx((1.0, 1.0, 1.0))
    assert same.assumptions[-1].startswith("no width: all draws agree alike")
    opposite = cohen_kappa(["a", "b"] * 5, ["b", "a"] * 5, blind=True)
    assert opposite.value == pytest.approx(-1)
    assert krippendorff_alpha([ADA, ADA], blind=True).value == 1
    assert fleiss_kappa([[2, 0], [0, 2]] * 5, blind=True).value == pytest.approx(1)


def test_kappa_interval_and_options() -> None:
    first = cohen_kappa(ADA, BEN, blind=True)
    assert first == cohen_kappa(ADA, BEN, blind=True)
    assert first.low < first.value < first.high
    assert first.n == 25
    assert cohen_kappa(ADA, BEN, blind=True, seed=1).low != first.low
    assert cohen_kappa(ADA, BEN, blind=True, level=0.5).low > first.low
    assert cohen_kappa(ADA, BEN, blind=True, draws=100).low != first.low
    for estimate in (
        fleiss_kappa(TABLE, blind=True, level=0.5, draws=200, seed=4),
        krippendorff_alpha([ADA, BEN], blind=True, level=0.5, draws=200, seed=4),
    ):
        assert estimate.level == 0.5
        assert estimate.low <= estimate.value <= estimate.high
    lows = {fleiss_kappa(TABLE * 5, blind=True, seed=seed).low for seed in range(4)}
    assert len(lows) > 1


def test_draws_without_variety_are_left_out_and_told() -> None:
    estimate = cohen_kappa(["a", "a", "a", "b"], ["a", "a", "a", "b"], blind=True)
    assert "of 2000 draws held one label only, left out" in estimate.assumptions[-1]
    assert "left out" not in cohen_kappa(ADA, BEN, blind=True).assumptions[-1]


@pytest.mark.parametrize("call", ["cohen", "fleiss", "alpha"])
def test_common_refusals(call: str) -> None:
    def estimate(same: bool = False, **options: Any) -> object:
        given: dict[str, Any] = {"blind": True, **options}
        if call == "cohen":
            return cohen_kappa(ADA[:5] if same else ADA, ADA[:5] if same else BEN, **given)
        if call == "fleiss":
            return fleiss_kappa([[2, 0]] * 5 if same else TABLE, **given)
        people: list[list[Rating]] = [[1, 1, 1]] * 2 if same else [[1, 2, 3], [1, 3, 3]]
        return krippendorff_alpha(people, **given)

    with pytest.raises(ValueError, match="needs blind labels: a label given after seeing"):
        estimate(blind=False)
    with pytest.raises(ValueError, match="all labels are the same"):
        estimate(same=True)
    with pytest.raises(ValueError, match="level 95 is not between"):
        estimate(level=95)
    with pytest.raises(ValueError, match="draws 99 is too small: give at least 100"):
        estimate(draws=99)


def test_cohen_and_fleiss_refusals() -> None:
    with pytest.raises(ValueError, match="lengths differ: first 2, second 1"):
        cohen_kappa(["a", "b"], ["a"], blind=True)
    with pytest.raises(ValueError, match="number of items 1 is too small"):
        cohen_kappa(["a"], ["b"], blind=True)
    with pytest.raises(ValueError, match="items have from 2 to 3 ratings: give each the same"):
        fleiss_kappa([[2, 0], [1, 2]], blind=True)
    with pytest.raises(ValueError, match="items have from 1 to 1 ratings"):
        fleiss_kappa([[1, 0], [0, 1]], blind=True)
    with pytest.raises(ValueError, match="number of items 1 is too small"):
        fleiss_kappa([[2, 0]], blind=True)


@pytest.mark.parametrize(
    ("ratings", "message"),
    [
        ([[1, 2], [1]], "people have different numbers of entries: give None"),
        ([[1, 2], [1, None]], "1 items have two ratings or more: at least 2"),
        ([], "0 items have two ratings or more"),
    ],
)
def test_alpha_refusals(ratings: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        krippendorff_alpha(ratings, blind=True)


@pytest.mark.parametrize("kappa", [1.1, float("nan")])
def test_no_band_beyond_1(kappa: float) -> None:
    with pytest.raises(ValueError, match=r"kappa .* is not a number up to 1"):
        agreement_band(kappa)
