"""Pure parts about labelled sets: repeats, splits, heads, doubts, quality, what teaches most."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from numpy.typing import NDArray

from classifier.examples.balance import balance_of
from classifier.examples.doubts import (
    confident_labels,
    find_doubts,
    thresholds,
)
from classifier.examples.head import fit_head, held_out_probabilities, softmax
from classifier.examples.quality import measure
from classifier.examples.similar import close_pairs, merge_groups, unit_rows
from classifier.examples.splits import ENOUGH_GROUPS, TEST_SHARE, fold_groups, split_groups
from classifier.examples.teach import density, margins, next_to_label


def clouds(
    n: int = 120, d: int = 12, k: int = 4, spread: float = 0.6
) -> tuple[NDArray[np.float32], list[str], list[str]]:
    """Return embeddings of k labels around k corners, labels, and a group for each pair."""
    random = np.random.default_rng(7)
    y = np.arange(n) // 2 % k  # two shots of each object
    x = np.eye(k, d)[y] * 3 + random.normal(0, spread, (n, d))
    return x.astype(np.float32), [f"label{each}" for each in y], [f"g{i // 2}" for i in range(n)]


def test_close_pairs_are_found_across_portions() -> None:
    random = np.random.default_rng(0)
    x = random.normal(size=(1500, 6)).astype(np.float32)
    x[1400] = x[3]
    unit = unit_rows(x)
    cosine = unit @ unit.T
    wanted = {(a, b) for a, b in zip(*np.nonzero(cosine >= 0.995), strict=True) if a < b}
    assert (3, 1400) in wanted
    assert set(close_pairs(unit, 0.995)) == wanted


def test_groups_are_joined_within_a_source_only() -> None:
    x = np.array([[1, 0], [1, 0.01], [1, 0]], dtype=np.float32)
    merged = merge_groups(["a", "b", "c"], ["s", "s", "t"], x, threshold=0.99)
    assert merged.groups[0] == merged.groups[1] != merged.groups[2]
    assert merged.repeats == {"s": 1, "t": 0}


def test_splits_hold_the_promised_shares_and_never_tear_a_group() -> None:
    groups = [f"g{i // 3}" for i in range(9000)]
    splits = split_groups(groups)
    assert len(set(zip(groups, splits, strict=True))) == 3000
    assert Counter(splits)["test"] / 9000 == pytest.approx(TEST_SHARE, abs=0.02)
    assert split_groups(groups[:30]) == splits[:30]
    assert (
        1 - (1 - TEST_SHARE) ** ENOUGH_GROUPS >= 0.95 > 1 - (1 - TEST_SHARE) ** (ENOUGH_GROUPS - 1)
    )


def test_folds_keep_groups_whole_and_spread_each_label() -> None:
    _, labels, groups = clouds()
    folds = fold_groups(groups, labels, 5)
    assert len(set(zip(groups, folds, strict=True))) == len(set(groups))
    spread = Counter(zip(folds, labels, strict=True))
    assert max(spread.values()) - min(spread.values()) <= 2
    assert folds == fold_groups(groups, labels, 5)


@pytest.mark.parametrize("n", [40, 400])  # fewer and more pictures than features
def test_the_head_is_where_the_gradient_vanishes(n: int) -> None:
    x, labels, _ = clouds(n, d=60)
    y = np.array([int(each[-1]) for each in labels])
    weight, bias = fit_head(x, y, 4)
    spread = x.std(axis=0, dtype=np.float64).clip(min=1e-3)
    scaled = (x - x.mean(axis=0, dtype=np.float64)) / spread
    wrong = (softmax(x @ weight.T + bias) - np.eye(4)[y]) / n
    gradient = wrong.T @ scaled + 0.01 * weight * spread
    assert np.abs(gradient).max() < 2e-3


def test_the_head_agrees_with_an_independent_solver() -> None:
    linear = pytest.importorskip("sklearn.linear_model")
    x, labels, _ = clouds(300)
    y = np.array([int(each[-1]) for each in labels])
    weight, bias = fit_head(x, y, 4)
    scaled = (x - x.mean(axis=0)) / x.std(axis=0)
    other = linear.LogisticRegression(C=1 / (0.01 * 300), tol=1e-8, max_iter=5000).fit(scaled, y)
    assert np.abs(softmax(x @ weight.T + bias) - other.predict_proba(scaled)).max() < 0.02


def test_held_out_heads_never_saw_the_object() -> None:
    """A label that one object alone bears can't be judged; others are said apart well."""
    x, labels, groups = clouds()
    labels[:2] = ["alone", "alone"]
    held = held_out_probabilities(x, labels, groups)
    assert held.judged.tolist() == [False, False] + [True] * 118
    assert held.p.sum(axis=1) == pytest.approx(np.ones(120))
    assert held.p[0, held.names.index("alone")] < 0.05
    right = [held.names[place] for place in held.p[2:].argmax(axis=1)]
    assert np.mean([a == b for a, b in zip(right, labels[2:], strict=True)]) > 0.95


def test_cross_validation_needs_two_groups_and_two_labels() -> None:
    x, labels, groups = clouds()
    with pytest.raises(ValueError, match="1 groups and 4 labels"):
        held_out_probabilities(x, labels, ["g"] * 120)
    with pytest.raises(ValueError, match="60 groups and 1 labels"):
        held_out_probabilities(x, ["a"] * 120, groups)


def test_confident_learning_worked_by_hand() -> None:
    """Thresholds 0.6 and 0.55: the fourth reaches the other label's, and is likelier of it."""
    labels = np.array([0, 0, 0, 0, 1, 1])
    p = np.array([[0.9, 0.1], [0.8, 0.2], [0.5, 0.5], [0.2, 0.8], [0.3, 0.7], [0.6, 0.4]])
    assert thresholds(labels, p) == pytest.approx([0.6, 0.55])
    assert confident_labels(labels, p).tolist() == [0, 0, -1, 1, 1, 0]
    doubts = find_doubts(labels, p)
    assert [(each.row, each.proposed) for each in doubts] == [(3, 1), (5, 0)]
    assert doubts[0].score == pytest.approx(0.6)


def test_a_label_that_nobody_bears_is_never_proposed() -> None:
    labels = np.array([0, 0, 1])
    p = np.array([[0.1, 0.1, 0.8], [0.7, 0.2, 0.1], [0.2, 0.7, 0.1]])
    assert thresholds(labels, p)[2] == np.inf
    assert find_doubts(labels, p) == []


def test_what_could_not_be_judged_is_not_doubted() -> None:
    labels = np.array([0, 0, 1, 1])
    p = np.array([[0.1, 0.9], [0.9, 0.1], [0.1, 0.9], [0.2, 0.8]])
    assert [each.row for each in find_doubts(labels, p)] == [0]
    assert find_doubts(labels, p, judged=np.array([False, True, True, True])) == []


def test_doubts_find_planted_mistakes() -> None:
    x, labels, groups = clouds(400)
    planted = set(range(0, 400, 20))
    for row in planted:
        labels[row] = f"label{(int(labels[row][-1]) + 1) % 4}"
    held = held_out_probabilities(x, labels, groups)
    y = np.array([held.names.index(each) for each in labels])
    found = {each.row for each in find_doubts(y, held.p, judged=held.judged)}
    assert len(found & planted) >= 14
    assert len(found - planted) <= 4


def test_doubts_are_those_of_cleanlab() -> None:
    """The reference implementation; it differs only where two labels reach their thresholds."""
    count = pytest.importorskip("cleanlab.count")
    cleanlab_filter = pytest.importorskip("cleanlab.filter")
    random = np.random.default_rng(3)
    labels = random.integers(0, 5, 600)
    p = softmax(2.5 * np.eye(5)[np.where(random.random(600) < 0.15, random.integers(0, 5, 600),
                labels)] + random.normal(0, 0.7, (600, 5))).astype(np.float64)  # fmt: skip
    assert thresholds(labels, p) == pytest.approx(count.get_confident_thresholds(labels, p))
    joint = count.compute_confident_joint(labels, p, calibrate=False)
    confident = confident_labels(labels, p)
    ours = np.zeros_like(joint)
    np.add.at(ours, (labels[confident >= 0], confident[confident >= 0]), 1)
    assert np.abs(ours - joint)[~np.eye(5, dtype=bool)].sum() <= 2
    theirs = cleanlab_filter.find_label_issues(labels, p, filter_by="confident_learning", n_jobs=1)
    mine = np.zeros(600, dtype=bool)
    mine[[each.row for each in find_doubts(labels, p)]] = True
    assert mine.sum() > 50
    assert (mine != theirs).sum() <= 2


def test_blurred_dark_pale_and_tiny() -> None:
    random = np.random.default_rng(0)
    sharp = (random.random((200, 256)) * 200 + 20).astype(np.uint8)
    ramp = np.tile(np.linspace(60, 200, 256), (200, 1)).astype(np.uint8)
    plain = np.full((200, 256), 180, dtype=np.uint8)
    assert measure(sharp, 768).flags == ()
    assert measure(ramp, 768).flags == ("blurred",)
    assert "dark" in measure((sharp * 0.1).astype(np.uint8), 768).flags
    assert "pale" in measure(np.full((9, 9), 250, dtype=np.uint8), 768).flags
    assert measure(sharp, 60).flags == ("tiny",)
    assert measure(plain[:2, :2], 768).sharpness == 0


def test_margin_and_density() -> None:
    assert margins(np.array([[0.5, 0.3, 0.2], [0.4, 0.4, 0.2]])) == pytest.approx([0.2, 0.0])
    assert margins(np.ones((2, 1))).tolist() == [1, 1]
    x = np.array([[1, 0], [1, 0], [0, 1], [-1, 0]], dtype=np.float32)
    assert density(x) == pytest.approx([0.25, 0.25, 0.25, 0.0])


def test_what_teaches_most_is_torn_and_common_and_once_per_object() -> None:
    p = np.array([[0.5, 0.5], [0.51, 0.49], [0.99, 0.01], [0.5, 0.5]])
    x = np.array([[1, 0], [1, 0.01], [1, 0.02], [-1, 0]], dtype=np.float32)
    groups = ["a", "a", "b", "c"]
    assert next_to_label(p, x, groups, [0, 1, 2, 3]) == [0, 2, 3]
    assert next_to_label(p, x, groups, [1, 2], most=1) == [1]


def test_balance_names_labels_with_too_few_objects() -> None:
    labels = ["can"] * 40 + ["jar"] * 6 + ["cup"] * 4
    groups = [f"c{i}" for i in range(40)] + [f"j{i // 2}" for i in range(6)] + ["one"] * 4
    found = balance_of(labels, groups)
    assert [(each.label, each.pictures, each.objects) for each in found.labels] == [
        ("can", 40, 40),
        ("jar", 6, 3),
        ("cup", 4, 1),
    ]
    assert [each.thin for each in found.labels] == [False, True, True]
    assert [each.refused for each in found.labels] == [False, False, True]
    assert found.imbalance == 10
    assert balance_of([], []).imbalance is None


def test_cross_validation_says_how_far_it_is() -> None:
    x, labels, groups = clouds()
    seen: list[tuple[int, int]] = []
    held_out_probabilities(x, labels, groups, folds=3, progress=lambda *at: seen.append(at))
    assert seen == [(1, 3), (2, 3), (3, 3)]
