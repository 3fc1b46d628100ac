"""Splits by group: nothing straddles, nothing moves, nothing too small gets through."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classifier.errors import DataFileError
from classifier.examples.splits import SPLITS, split_groups
from training.pictures.splits import refuse_empty_splits, refuse_thin_labels

_groups = st.lists(st.text(max_size=6), min_size=1, max_size=60)


@given(groups=_groups, seed=st.integers(0, 9))
def test_no_group_lies_in_two_splits(groups: list[str], seed: int) -> None:
    splits = split_groups(groups, seed=seed)
    assert set(splits) <= set(SPLITS)
    assert len({(group, split) for group, split in zip(groups, splits, strict=True)}) == len(
        set(groups)
    )


@given(groups=_groups, more=_groups)
def test_splits_stay_when_pictures_are_added_or_reordered(
    groups: list[str], more: list[str]
) -> None:
    before = dict(zip(groups, split_groups(groups), strict=True))
    longer = [*more, *reversed(groups)]
    after = dict(zip(longer, split_groups(longer), strict=True))
    assert before.items() <= after.items()


def test_shares_are_as_asked() -> None:
    splits = split_groups([f"group-{i}" for i in range(20_000)], calibrate=0.1, test=0.15)
    # Standard deviations are 0.0021 and 0.0025.
    assert splits.count("calibrate") / 20_000 == pytest.approx(0.1, abs=0.01)
    assert splits.count("test") / 20_000 == pytest.approx(0.15, abs=0.01)


def test_another_seed_gives_another_split() -> None:
    groups = [f"group-{i}" for i in range(200)]
    assert split_groups(groups, seed=0) != split_groups(groups, seed=1)


def test_labels_of_too_few_groups_are_named_with_their_number() -> None:
    labels = ["food", "food", "wood", "foil", "foil", ""]
    groups = ["1", "2", "3", "4", "4", "5"]
    with pytest.raises(DataFileError, match=r"foil \(1\), wood \(1\).* at least 2"):
        refuse_thin_labels(labels, groups)
    refuse_thin_labels(["food", "food", ""], ["1", "2", "5"])


def test_a_split_without_pictures_is_named() -> None:
    with pytest.raises(DataFileError, match="none fell to calibrate, test"):
        refuse_empty_splits(["train", "train"])
    refuse_empty_splits(SPLITS)
