from __future__ import annotations

from itertools import permutations
from typing import Any

import numpy as np
import pytest

from classifier.estimators.agreement import agreement_band, cohen_kappa, fleiss_kappa
from classifier.estimators.krippendorff import Metric, Rating, krippendorff_alpha

ADA = ["can"] * 12 + ["jar"] * 8 + ["lid"] * 5
BEN = ["can"] * 10 + ["jar"] * 9 + ["lid"] * 6
TABLE = [[3, 0], [0, 3], [1, 2], [3, 0], [2, 1], [0, 3]]


def alpha_by_pairs(ratings: list[list[Rating]], metric: str) -> float:
    """Krippendorff's definition, pair by pair."""
    units = [[v for v in unit if v is not None] for unit in zip(*ratings, strict=True)]
    units = [unit for unit in units if len(unit) > 1]
    everything = sorted(v for unit in units for v in unit)

    def difference(a: Any, b: Any) -> float:
        if metric == "nominal":
            return float(a != b)
        if metric == "interval":
            return float(a - b) ** 2
        if metric == "ratio":
            return 0.0 if a == b else float((a - b) / (a + b)) ** 2
        low, high = min(a, b), max(a, b)
        between = sum(low <= v <= high for v in everything)
        rank = between - (everything.count(a) + everything.count(b)) / 2
        return float(rank**2 * (a != b))

    n = len(everything)
    observed = sum(
        difference(a, b) / (len(unit) - 1) for unit in units for a, b in permutations(unit, 2)
    )
    expected = sum(difference(a, b) for a, b in permutations(everything, 2)) / (n - 1)
    return float(1 - observed / expected)


@pytest.mark.parametrize("metric", ["nominal", "ordinal", "interval", "ratio"])
@pytest.mark.parametrize("seed", range(4))
def test_alpha_is_its_definition(metric: Metric, seed: int) -> None:
    generator = np.random.default_rng(seed)
    truth = generator.integers(0, 6, size=15)
    ratings: list[list[Rating]] = [
        [
            None if generator.random() < 0.2 else int(v + generator.integers(-1, 2) ** 2)
            for v in truth
        ]
        for _ in range(4)
    ]
    ours = krippendorff_alpha(ratings, metric=metric, blind=True, draws=100)
    assert ours.value == pytest.approx(alpha_by_pairs(ratings, metric), abs=1e-12)


@pytest.mark.parametrize("metric", ["nominal", "ordinal", "ratio"])
def test_each_draw_is_the_coefficient_of_its_items(metric: Metric) -> None:
    """The interval's ends are the quantiles of alpha recomputed from scratch for each draw."""
    ratings: list[list[Rating]] = [[1, 2, 3, 3, 2, 1], [1, 2, 3, 1, 2, 2], [2, 2, 3, 3, 4, 1]]
    estimate = krippendorff_alpha(ratings, metric=metric, blind=True, draws=100, seed=3)
    items = sorted(zip(*ratings, strict=True), key=lambda item: sorted(item))
    table = np.array([[item.count(v) for v in (1, 2, 3, 4)] for item in items])
    _, first, frequency = np.unique(table, axis=0, return_index=True, return_counts=True)
    times = np.random.default_rng(3).multinomial(6, frequency / 6, size=100)
    drawn = []
    for draw in times:
        chosen = [items[i] for i, repeats in zip(first, draw, strict=True) for _ in range(repeats)]
        people: list[list[Rating]] = [list(row) for row in zip(*chosen, strict=True)]
        drawn.append(alpha_by_pairs(people, metric))
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert (estimate.low, estimate.high) == pytest.approx((low, high), abs=1e-9)


def test_agreement_and_disagreement_at_their_extremes() -> None:
    same = cohen_kappa(ADA, ADA, blind=True)
    assert (same.value, same.low, same.high) == pytest.approx((1.0, 1.0, 1.0))
    assert same.assumptions[-1].startswith("no width: all draws agree alike")
    opposite = cohen_kappa(["a", "b"] * 5, ["b", "a"] * 5, blind=True)
    assert opposite.value == pytest.approx(-1)
    assert krippendorff_alpha([ADA, ADA], metric="nominal", blind=True).value == 1
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
        krippendorff_alpha([ADA, BEN], metric="nominal", blind=True, level=0.5, draws=200, seed=4),
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
        return krippendorff_alpha(people, metric="interval", **given)

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
    ("ratings", "metric", "message"),
    [
        ([[1, 2], [1]], "nominal", "people have different numbers of entries: give None"),
        ([[1, 2], [1, None]], "nominal", "1 items have two ratings or more: at least 2"),
        ([], "nominal", "0 items have two ratings or more"),
        ([["a", "b"], ["a", "b"]], "ordinal", "ordinal ratings hold 'a': give finite numbers"),
        ([[1, float("nan")], [1, 2]], "ratio", "ratio ratings hold nan: give finite numbers"),
        ([[1, -2], [1, 2]], "ratio", "ratio ratings go below 0: use the interval metric"),
        ([["a", 2], ["a", 2]], "nominal", "ratings mix names and numbers: give one kind"),
        ([[1, 2], [1, 2]], "squared", "metric 'squared' is not known: give one of nominal, ord"),
    ],
)
def test_alpha_refusals(ratings: Any, metric: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        krippendorff_alpha(ratings, metric=metric, blind=True)


def test_ratio_of_nothing_to_nothing_is_no_difference() -> None:
    ratings: list[list[Rating]] = [[0, 0, 2], [0, 1, 2]]
    alpha = krippendorff_alpha(ratings, metric="ratio", blind=True).value
    assert alpha == pytest.approx(alpha_by_pairs(ratings, "ratio"))


@pytest.mark.parametrize("kappa", [1.1, float("nan")])
def test_no_band_beyond_1(kappa: float) -> None:
    with pytest.raises(ValueError, match=r"kappa .* is not a number up to 1"):
        agreement_band(kappa)
