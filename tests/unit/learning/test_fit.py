"""The fit against scikit-learn and finite differences; rare, unknown and started categories."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import check_grad
from sklearn.linear_model import LogisticRegression

from classifier.errors import UnknownIdError
from classifier.learning import solver
from classifier.learning.confirmation import FLOOR, Confirmation, shipped_probabilities
from classifier.learning.fit import (
    HeadOptions,
    balanced,
    demand,
    favour,
    fit_head,
    strangeness,
)
from classifier.learning.head import HeadError, unit
from classifier.learning.solver import Problem, loss, solve

NAMES = ("tub", "bottle", "can", "jar")
PLAIN = HeadOptions(balance=0, margin=0, strange_margin=0, welcome=0)
WIDTH = 24


def kinds(seed: int = 0) -> NDArray[np.float64]:
    """One typical embedding of each category."""
    return np.random.default_rng(seed).gamma(0.6, 1.0, (len(NAMES), WIDTH))


def photo(
    kind: int, number: int, *, shipped: NDArray[np.float64] | None = None, noise: float = 0.2
) -> Confirmation:
    """Confirm one photo of a kind; the model knows nothing unless said."""
    random = np.random.default_rng(1000 * kind + number)
    seen = np.abs(kinds()[kind] + random.normal(0, noise, WIDTH)).astype(np.float32)
    even = np.full(len(NAMES), 1 / len(NAMES))
    return Confirmation(f"{kind}-{number}", seen, even if shipped is None else shipped, NAMES[kind])


def log(*counts: int) -> list[Confirmation]:
    """So many photos of each kind."""
    return [photo(kind, number) for kind, n in enumerate(counts) for number in range(n)]


def made_problem(n: int, classes: int, *, width: int = WIDTH, seed: int = 0) -> Problem:
    """Make a problem with labels that the features partly explain."""
    random = np.random.default_rng(seed)
    middles = random.normal(size=(classes, width))
    labels = random.integers(classes, size=n)
    units = unit(middles[labels] + random.normal(size=(n, width)))
    offsets = random.normal(size=(n, classes)).astype(np.float32)
    weights = random.uniform(0.5, 2, n).astype(np.float32)
    return Problem(units, offsets, labels, weights)


def test_gradient_is_that_of_the_loss() -> None:
    single = made_problem(30, 5)
    problem = Problem(
        single.units.astype(float),
        single.offsets.astype(float),
        single.labels,
        single.weights.astype(float),
    )
    x = problem.units

    def value(flat: Any) -> float:
        return loss(flat.reshape(5, -1), x, problem, 0.3)[0]

    def slope(flat: Any) -> NDArray[np.floating]:
        return loss(flat.reshape(5, -1), x, problem, 0.3)[1].ravel()

    at = np.random.default_rng(1).normal(size=5 * WIDTH)
    assert check_grad(value, slope, at) < 1e-4 * np.linalg.norm(slope(at))


@pytest.mark.parametrize(("n", "width"), [(60, 400), (200, 24)])
def test_fit_is_scikit_learns_where_the_model_says_nothing(
    n: int, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(solver, "ROUNDS", 500)
    monkeypatch.setattr(solver, "TOLERANCE", 1e-6)
    problem = made_problem(n, 4, width=width)
    even = Problem(problem.units, np.zeros_like(problem.offsets), problem.labels, problem.weights)
    weights, bias = solve(even, 0.5, 1e6)  # a bias that costs this much stays zero
    theirs = LogisticRegression(C=2.0, fit_intercept=False, tol=1e-9, max_iter=5000)
    theirs.fit(problem.units, problem.labels, sample_weight=problem.weights)
    assert np.abs(bias).max() < 1e-3
    np.testing.assert_allclose(weights, theirs.coef_, atol=5e-3)


def test_at_the_minimum_the_slope_vanishes_with_offsets_and_bias(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(solver, "ROUNDS", 500)
    monkeypatch.setattr(solver, "TOLERANCE", 1e-6)
    problem = made_problem(120, 5)
    weights, bias = solve(problem, 0.1, 1.0)
    logits = problem.offsets + problem.units @ weights.T + bias
    p = np.exp(logits) / np.exp(logits).sum(axis=1, keepdims=True)
    p[np.arange(120), problem.labels] -= 1
    pull = problem.weights[:, None] * p
    np.testing.assert_allclose(pull.T @ problem.units, -0.1 * weights, atol=5e-3)
    np.testing.assert_allclose(pull.sum(axis=0), -1.0 * bias, atol=5e-3)


def test_some_photos_span_the_weights_nearly_as_well_as_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = made_problem(300, 4)
    p = {}
    for most in (WIDTH - 4, WIDTH):
        monkeypatch.setattr(solver, "MOST", most)
        weights, bias = solve(problem, 0.5, 1.0)
        p[most] = problem.units @ weights.T + bias
    apart = np.abs(p[WIDTH - 4] - p[WIDTH]).mean()
    assert apart < 0.2 * np.abs(p[WIDTH]).mean()


def test_neither_order_nor_guess_changes_the_head() -> None:
    confirmed = log(6, 5, 4, 3)
    head = fit_head(confirmed, NAMES, model="m")
    again = fit_head(confirmed[::-1], NAMES, model="m")
    assert head.to_bytes() == again.to_bytes()
    guessed = fit_head(confirmed, NAMES, model="m", guess=fit_head(confirmed[:9], NAMES))
    for each in confirmed:
        np.testing.assert_allclose(
            guessed.probabilities(each.embedding, each.shipped),
            head.probabilities(each.embedding, each.shipped),
            atol=0.03,
        )


def test_repeats_of_one_photo_are_no_trouble() -> None:
    one = photo(0, 0)
    same = [Confirmation(str(i), one.embedding, one.shipped, one.category) for i in range(20)]
    head = fit_head([*same, *log(0, 5)], NAMES)
    assert head.probabilities(one.embedding, one.shipped).argmax() == 0


def test_a_confident_model_is_overruled_where_it_keeps_being_wrong() -> None:
    sure = np.array([0.9, 0.04, 0.03, 0.03])  # "a tub", whatever it sees
    confirmed = [photo(1, i, shipped=sure) for i in range(8)]
    confirmed += [photo(0, i, shipped=sure) for i in range(8)]
    head = fit_head(confirmed, NAMES)
    assert head.probabilities(photo(1, 50).embedding, sure).argmax() == 1
    assert head.probabilities(photo(0, 50).embedding, sure).argmax() == 0


def test_weights_of_categories_even_out() -> None:
    labels = np.array([0] * 8 + [1] * 2)
    flat = balanced(labels, np.ones(10), HeadOptions(balance=0))
    np.testing.assert_allclose(flat, 1.0)
    even = balanced(labels, np.ones(10), HeadOptions(balance=1))
    assert even[labels == 0].sum() == pytest.approx(even[labels == 1].sum())
    assert even.sum() == pytest.approx(10, rel=1e-5)


def test_a_weight_counts_like_so_many_confirmations(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solver, "TOLERANCE", 1e-6)
    monkeypatch.setattr(solver, "ROUNDS", 500)
    one = photo(0, 0)
    double = Confirmation("0-0", one.embedding, one.shipped, one.category, weight=2.0)
    twin = Confirmation("0-0b", one.embedding, one.shipped, one.category)
    rest = log(0, 3)
    a = fit_head([double, *rest], NAMES, options=PLAIN)
    b = fit_head([one, twin, *rest], NAMES, options=PLAIN)
    np.testing.assert_allclose(a.weights, b.weights, atol=0.05)


def unknown_to_the_model(kind: int) -> NDArray[np.float64]:
    """What a model says that has no form for the last category but is sure of another."""
    forms = [(name, 0.97 if name == NAMES[kind] else 0.015) for name in NAMES[:3]]
    return shipped_probabilities(forms, {name: {name: 1.0} for name in NAMES[:3]}, NAMES)


def test_a_category_unknown_to_the_model_is_suggested_after_three_examples() -> None:
    known = [photo(k, i, shipped=unknown_to_the_model(k)) for k in range(3) for i in range(15)]
    looks_like_a_can = unknown_to_the_model(2)
    assert looks_like_a_can[3] == pytest.approx(FLOOR / 4)
    jars = [photo(3, i, shipped=looks_like_a_can) for i in range(13)]
    head = fit_head([*known, *jars[:3]], NAMES)
    found = [head.probabilities(j.embedding, j.shipped).argmax() for j in jars[3:]]
    assert found == [3] * 10
    others = [photo(k, 50 + i, shipped=unknown_to_the_model(k)) for k in range(3) for i in range(9)]
    kept = [NAMES[head.probabilities(o.embedding, o.shipped).argmax()] for o in others]
    assert kept == [o.category for o in others]


def test_a_rare_category_is_not_drowned() -> None:
    head = fit_head(
        [photo(k, i, noise=0.6) for k, n in ((0, 150), (1, 4)) for i in range(n)], NAMES
    )
    rare = [photo(1, 500 + i, noise=0.6) for i in range(40)]
    found = np.array([head.probabilities(r.embedding, r.shipped).argmax() for r in rare])
    assert (found == 1).mean() > 0.8


def test_a_start_is_the_prior_mean_and_counts() -> None:
    start = fit_head(log(5, 5, 0, 0), NAMES, model="m")
    head = fit_head(log(0, 0, 4, 0), NAMES, model="m", start=start)
    assert head.confirmations == 14
    for kind in (0, 1, 2):
        new = photo(kind, 70)
        assert head.probabilities(new.embedding, new.shipped).argmax() == kind
    one = fit_head(log(0, 0, 4, 0), NAMES, model="m")
    new = photo(0, 70)
    assert one.probabilities(new.embedding, new.shipped).argmax() != 0 or (
        one.probabilities(new.embedding, new.shipped)[0] < 0.5
    )


def test_a_start_of_another_model_is_refused() -> None:
    start = fit_head(log(2, 2), NAMES, model="m")
    with pytest.raises(HeadError, match="model in use is other"):
        fit_head(log(2, 2), NAMES, model="other", start=start)
    with pytest.raises(HeadError, match="4 categories"):
        fit_head(log(1, 1), (*NAMES, "lid"), model="m", start=start)


def test_what_can_not_be_learned_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        fit_head([], NAMES)
    stray = Confirmation("x", photo(0, 0).embedding, photo(0, 0).shipped, "hat")
    with pytest.raises(UnknownIdError, match="'hat'"):
        fit_head([stray], NAMES)


def test_shipped_probabilities_sum_forms_and_leave_none_at_zero() -> None:
    forms = [("bottle_form", 0.5), ("tub_form", 0.3), ("non_item", 0.2)]
    shares = {
        "bottle_form": {"bottle": 0.5, "jar": 0.5},
        "tub_form": {"tub": 0.9, "elsewhere": 0.1},
        "non_item": {},
    }
    p = shipped_probabilities(forms, shares, NAMES)
    assert p.sum() == pytest.approx(1.0)
    assert p[2] == pytest.approx(FLOOR / 4)
    assert p[0] / p[1] == pytest.approx(
        (0.98 * 0.27 / 0.77 + FLOOR / 4) / (0.98 * 0.25 / 0.77 + FLOOR / 4)
    )
    np.testing.assert_allclose(shipped_probabilities([("non_item", 1.0)], shares, NAMES), 0.25)


def counted(p: NDArray[np.float64], labels: list[int]) -> Problem:
    """Make a problem of photos to which the model gave the probabilities `p` (n, C)."""
    units = np.eye(len(labels), WIDTH, dtype=np.float32)
    weights = np.ones(len(labels), dtype=np.float32)
    return Problem(units, np.log(p).astype(np.float32), np.array(labels), weights)


def test_favour_fades_with_examples_and_is_less_in_a_short_log() -> None:
    """Worked by hand: 1 and 9 examples, strength 1: 1 and 1/3, less their mean over the log, 0.4;
    of that 10 / (10 + 50). None for the frequent category, nor for one without examples."""
    problem = counted(np.full((10, 3), 1 / 3), [0] + [1] * 9)
    assert favour(np.ones(3), problem) == pytest.approx([0.1, 0.0, 0.0])


def test_a_category_is_strange_whose_best_example_was_hardly_thought_of() -> None:
    """Halfway between 5 and 7 nats: half. Not where one example was known, nor where none is."""
    rare, known = np.exp(-6.0), 0.5
    p = np.array([[rare, 0.4, 0.6 - rare], [0.1, 0.001, 0.899], [0.2, known, 0.3]])
    assert strangeness(counted(p, [0, 1, 1])) == pytest.approx([0.5, 0.0, 0.0], abs=1e-5)


def test_a_margin_handicaps_the_confirmed_category_alone() -> None:
    problem = counted(np.full((2, 3), 1 / 3), [2, 0])
    moved = demand(problem, np.array([1.0, 2.0, 3.0])).offsets - problem.offsets
    assert moved == pytest.approx(np.array([[0, 0, -3.0], [-1.0, 0, 0]]), abs=1e-6)
