"""Near-repeats join groups, within one source only."""

from __future__ import annotations

import numpy as np
import pytest

from training.pictures.groups import SAME_OBJECT, merge_groups


def _unit(degrees: list[float]) -> np.ndarray:
    angle = np.radians(degrees)
    return np.stack([np.cos(angle), np.sin(angle)], axis=1).astype(np.float32)


# cos 20 degrees = 0.94 is a repeat, cos 25 degrees = 0.906 is none.
def test_a_chain_of_repeats_becomes_one_group() -> None:
    merged = merge_groups(["a", "b", "c", "d"], ["s"] * 4, _unit([0, 20, 40, 65]))
    assert len(set(merged.groups[:3])) == 1
    assert merged.groups[3] == "d"
    assert merged.repeats == {"s": 2}


def test_repeats_in_another_source_are_another_place() -> None:
    merged = merge_groups(["a", "b"], ["s", "t"], _unit([0, 0]))
    assert merged.groups == ["a", "b"]
    assert merged.repeats == {"s": 0, "t": 0}


def test_given_groups_are_never_torn() -> None:
    merged = merge_groups(["a", "b", "a"], ["s"] * 3, _unit([0, 90, 200]))
    assert merged.groups == ["a", "b", "a"]


def test_all_pictures_of_joined_groups_move_together() -> None:
    merged = merge_groups(["a", "a", "b", "b"], ["s"] * 4, _unit([0, 90, 5, 180]))
    assert len(set(merged.groups)) == 1


def test_brightness_of_the_features_does_not_count_and_zeros_are_alike_to_nothing() -> None:
    features = _unit([0, 0]) * np.array([[1], [50]], dtype=np.float32)
    assert len(set(merge_groups(["a", "b"], ["s"] * 2, features).groups)) == 1
    assert merge_groups(["a", "b"], ["s"] * 2, np.zeros((2, 3), np.float32)).groups == ["a", "b"]


def test_agrees_with_all_pairs_beyond_one_chunk() -> None:
    """More rows than are compared at once; the reference is the full matrix of cosines."""
    features = np.random.default_rng(0).normal(size=(1500, 4)).astype(np.float32)
    unit = features / np.linalg.norm(features, axis=1, keepdims=True)
    pairs = int((np.triu(unit @ unit.T, k=1) >= SAME_OBJECT).sum())
    names = [str(i) for i in range(1500)]
    merged = merge_groups(names, ["s"] * 1500, features)
    assert merged.repeats["s"] == pytest.approx(pairs, abs=2)  # rounding at the threshold
