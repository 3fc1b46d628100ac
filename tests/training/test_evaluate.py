"""Scores against scikit-learn and by hand; pictures without an item are kept apart."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import confusion_matrix, f1_score, roc_auc_score, top_k_accuracy_score

from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from training.judging.evaluate import (
    Scored,
    by_form,
    non_item_auroc,
    parent_probabilities,
    route_matrix,
    score,
    score_by,
)
from training.pictures.forms import FormTable, load_forms, table_of_labels

CATEGORIES = load_categories()
VALLEY = next(p for p in load_shipped_programmes(CATEGORIES) if p.id == "alder_valley")


def _random(table: FormTable, n: int = 300, *, items_only: bool = True) -> Scored:
    rng = np.random.default_rng(5)
    labels = rng.integers(0, len(table.forms) - items_only, n)
    logits = rng.normal(0, 1, (n, len(table.forms)))
    logits[np.arange(n), labels] += 1.5
    p = np.exp(logits) / np.exp(logits).sum(axis=1, keepdims=True)
    return Scored(p, labels, [f"g{i // 3}" for i in range(n)])


def test_forms_agree_with_scikit_learn() -> None:
    table = load_forms()
    scored = _random(table)
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)
    result = score(scored, table, routes)
    guess, labels = scored.probabilities.argmax(axis=1), scored.labels
    everything = np.arange(len(table.forms))
    assert result["pictures"] == 300
    assert result["groups"] == 100
    for k in (1, 3):
        theirs = top_k_accuracy_score(labels, scored.probabilities, k=k, labels=everything)
        ours = result[f"form_top{k}"]
        assert ours["value"] == pytest.approx(theirs, abs=5e-5)
        assert ours["low"] < ours["value"] < ours["high"]
    theirs = f1_score(labels, guess, labels=np.unique(labels), average="macro", zero_division=0)
    assert result["form_macro_f1"]["value"] == pytest.approx(theirs, abs=5e-5)


def test_every_figure_has_an_interval_from_groups() -> None:
    """Twice as many pictures of the same objects teach nothing: the intervals stay."""
    table = load_forms()
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)
    scored = _random(table)
    twice = Scored(
        np.repeat(scored.probabilities, 2, axis=0),
        scored.labels.repeat(2),
        [group for group in scored.groups for _ in range(2)],
    )
    once, again = score(scored, table, routes), score(twice, table, routes)
    for key in ("form_top1", "route", "form_macro_f1", "ece", "accuracy_at_70_coverage"):
        width = once[key]["high"] - once[key]["low"]
        assert 0 < width < 0.25
        assert once[key]["low"] < once[key]["high"]
        assert again[key]["high"] - again[key]["low"] == pytest.approx(width, rel=0.25), key


def test_intervals_of_macro_f1_and_of_auroc_hold_the_truth_of_new_draws() -> None:
    """Drawn again 40 times, the figure of very many pictures lies in most intervals."""
    table = table_of_labels(["drink_can", "glass_bottle"], CATEGORIES)
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)

    def drawn(n: int, seed: int) -> Scored:
        rng = np.random.default_rng(seed)
        labels = rng.integers(0, 3, n)
        logits = rng.normal(0, 1, (n, 3))
        logits[np.arange(n), labels] += 1.0
        p = np.exp(logits) / np.exp(logits).sum(axis=1, keepdims=True)
        return Scored(p, labels, [str(i) for i in range(n)])

    many = drawn(20_000, 1)
    truth = score(many, table, routes)["form_macro_f1"]["value"]
    area = non_item_auroc(many, table)
    assert area is not None
    hits = np.zeros(2, int)
    for seed in range(40):
        few = drawn(150, 100 + seed)
        f1, found = score(few, table, routes)["form_macro_f1"], non_item_auroc(few, table)
        assert found is not None
        hits += [f1["low"] <= truth <= f1["high"], found["low"] <= area["value"] <= found["high"]]
    # 95 % of 40 is 38; 33 or fewer has a chance below 1 in 100.
    assert hits.min() >= 34


def test_lines_of_forms_agree_with_the_confusion_matrix_of_scikit_learn() -> None:
    table = load_forms()
    scored = _random(table, items_only=False)
    everything = np.arange(len(table.forms))
    matrix = confusion_matrix(scored.labels, scored.probabilities.argmax(axis=1), labels=everything)
    lines = by_form(scored, table)
    assert [line["form"] for line in lines] == table.ids
    for number, line in enumerate(lines):
        assert line["pictures"] == matrix[number].sum()
        assert line["right"] == matrix[number, number]
        wrong = matrix[number].copy()
        wrong[number] = 0
        most = int(wrong.argmax())
        assert line["taken_for"] == f"{table.ids[most]} ({wrong[most]})"
        assert line["low"] <= line["right"] / line["pictures"] <= line["high"]


def test_materials_and_routes_by_hand() -> None:
    """A can and a jar taken for a bottle: the jar's material and route are right all the same."""
    table = table_of_labels(["drink_can", "glass_bottle", "glass_jar"], CATEGORIES)
    assert table.ids[:3] == ["drink_can", "glass_bottle", "glass_jar"]
    p = np.array([[0.9, 0.1, 0, 0], [0.1, 0.6, 0.3, 0], [0.3, 0.4, 0.3, 0], [0.4, 0.3, 0.3, 0]])
    scored = Scored(p, np.array([0, 2, 0, 1]), ["a", "b", "c", "d"])
    routes, names = route_matrix(table, CATEGORIES, VALLEY)
    result = score(scored, table, routes)
    assert result["form_top1"]["value"] == 0.25
    # Glass has 0.1, 0.9, 0.7, 0.6 in turn; the truth is metal, glass, metal, glass.
    assert result["material_top1"]["value"] == 0.75
    assert result["material_top3"]["value"] == 1.0
    right = (p @ routes).argmax(axis=1) == routes[scored.labels].argmax(axis=1)
    assert result["route"]["value"] == right.mean()
    assert "kerbside" in names


def test_coarser_probabilities_sum_their_forms() -> None:
    p = np.array([[0.1, 0.2, 0.3, 0.4]])
    assert parent_probabilities(p, [1, 0, 1, -1]).tolist() == [[0.2, 0.4]]


def test_route_shares_of_each_form_sum_to_one_but_for_no_item() -> None:
    table = load_forms()
    matrix, names = route_matrix(table, CATEGORIES, VALLEY)
    assert matrix.shape == (len(table.forms), len(names))
    np.testing.assert_allclose(matrix[:-1].sum(axis=1), 1)
    assert not matrix[-1].any()


def test_pictures_without_an_item_change_no_score_of_items() -> None:
    table = load_forms()
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)
    mixed = _random(table, items_only=False)
    items = mixed.only(mixed.labels != len(table.forms) - 1)
    assert len(items.labels) < len(mixed.labels)
    assert score(mixed, table, routes) == score(items, table, routes)


def test_scores_by_name_leave_out_what_has_no_item() -> None:
    table = load_forms()
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)
    scored = _random(table, 60)
    scored.labels[40:] = len(table.forms) - 1
    names = ["hall"] * 20 + ["attic"] * 20 + ["rooms"] * 20
    scores = score_by(names, scored, table, routes)
    assert list(scores) == ["attic", "hall"]
    first = np.arange(60) < 20
    assert scores["hall"] == score(scored.only(first), table, routes)


def test_one_group_has_an_interval_too() -> None:
    table = load_forms()
    routes, _ = route_matrix(table, CATEGORIES, VALLEY)
    scored = _random(table, 12)
    alone = score(Scored(scored.probabilities, scored.labels, ["g"] * 12), table, routes)
    assert 0 <= alone["form_top1"]["low"] < alone["form_top1"]["high"] <= 1
    assert list(alone["ece"]) == ["value"]


def test_auroc_of_no_item_agrees_with_scikit_learn() -> None:
    table = load_forms()
    scored = _random(table, items_only=False)
    empty = scored.labels == len(table.forms) - 1
    doubt = 1 - scored.probabilities[:, :-1].max(axis=1)
    found = non_item_auroc(scored, table)
    assert found is not None
    assert found["value"] == pytest.approx(roc_auc_score(empty, doubt), abs=5e-5)
    assert found["low"] < found["value"] < found["high"]
    few = scored.only(~empty | (np.cumsum(empty) <= 4))
    assert list(non_item_auroc(few, table) or {}) == ["value"]
    assert non_item_auroc(scored.only(~empty), table) is None
    assert non_item_auroc(scored.only(empty), table) is None
