from __future__ import annotations

import numpy as np
import pytest

from classifier.estimators.sample_shares import shares_of_study
from classifier.estimators.strata import combine_strata, difference
from classifier.estimators.study_permutation import Blocks, permutation_test

GENERATOR = np.random.default_rng(6)
SPRING = GENERATOR.lognormal(size=(15, 4))
AUTUMN = GENERATOR.lognormal(size=(12, 4)) * [8, 1, 1, 1]


def test_a_difference_is_found_and_the_same_is_not() -> None:
    test = permutation_test(SPRING, AUTUMN)
    assert test.p[0] < 0.001
    assert test.p_adjusted[0] < 0.002
    assert (test.draws, test.exact) == (9999, False)
    assert test.statistic[0] < 0
    assert test.method == "difference of mean of sample shares, permutation test by sort"
    same = permutation_test(SPRING, SPRING, draws=200)
    assert same.statistic.tolist() == [0] * 4
    assert same.p.tolist() == same.p_adjusted.tolist() == [1] * 4


def test_looking_at_more_categories_raises_the_adjusted_value_only() -> None:
    test = permutation_test(SPRING, AUTUMN, draws=2000)
    assert (test.p_adjusted >= test.p).all()
    assert (test.p_adjusted[1:] > test.p[1:]).any()


def test_all_divisions_by_hand() -> None:
    """Of the 6 ways to divide 4 sorts in two pairs only the real one and its mirror are as far."""
    test = permutation_test([[1, 9], [2, 8]], [[8, 2], [9, 1]])
    assert (test.exact, test.draws, test.p.tolist()) == (True, 6, [2 / 6, 2 / 6])
    ratio = permutation_test([[1, 9], [2, 8]], [[80, 20], [9, 1]], estimator="ratio of sums")
    assert ratio.p[0] == pytest.approx(2 / 6)
    assert ratio.method.startswith("difference of ratio of sums")


def test_groups_without_any_spread_are_infinitely_far_apart() -> None:
    test = permutation_test([[1, 9]] * 4, [[2, 8]] * 4)
    assert test.statistic.tolist() == [-np.inf, np.inf]
    assert test.p.tolist() == [2 / 70, 2 / 70]


def test_draws_repeat_and_the_seed_matters() -> None:
    one = permutation_test(SPRING, AUTUMN, draws=300)
    assert one.p.tolist() == permutation_test(SPRING, AUTUMN, draws=300).p.tolist()
    assert one.p.tolist() != permutation_test(SPRING, AUTUMN, draws=300, seed=1).p.tolist()


def test_progress_of_random_and_of_all_divisions() -> None:
    seen: list[tuple[int, int]] = []
    permutation_test(SPRING, AUTUMN, draws=300, progress=lambda done, of: seen.append((done, of)))
    assert seen == [(250, 300), (300, 300)]
    seen.clear()
    few = SPRING[:5]
    permutation_test(few, AUTUMN[:6], progress=lambda done, of: seen.append((done, of)))
    assert seen == [(250, 462), (462, 462)]


def test_blocks_keep_one_stratum_from_passing_for_a_difference() -> None:
    """Flats differ from houses, spring from autumn not; spring has mostly flats."""
    generator = np.random.default_rng(12)
    blocks = Blocks([0] * 14 + [1] * 6, [0] * 6 + [1] * 14, [1, 2], [1, 2])
    together, within = [], []
    for _ in range(150):
        flats, houses = generator.lognormal(0, 0.3, (2, 20, 3))
        flats[:, 0] *= 5
        spring = np.concatenate([flats[:14], houses[:6]])
        autumn = np.concatenate([flats[14:], houses[6:]])
        together.append(permutation_test(spring, autumn, draws=100).p[0])
        within.append(permutation_test(spring, autumn, blocks=blocks, draws=100).p[0])
    assert np.mean(np.array(together) <= 0.1) > 0.8  # wrong: it finds the flats
    assert np.mean(np.array(within) <= 0.1) < 0.15  # as often as chance may
    spring[:, 1] *= 4  # what does differ is found
    test = permutation_test(spring, autumn, blocks=blocks, draws=999)
    assert test.p[1] < 0.01
    assert test.method.endswith("permutation test by sort within strata")


def test_the_statistic_of_blocks_is_that_of_combined_strata() -> None:
    blocks = Blocks([0] * 8 + [1] * 7, [1] * 5 + [0] * 7, [3, 1], [1, 1])
    test = permutation_test(SPRING, AUTUMN, blocks=blocks, draws=100)
    spring = combine_strata([shares_of_study(SPRING[:8]), shares_of_study(SPRING[8:])], [3, 1])
    autumn = combine_strata([shares_of_study(AUTUMN[5:]), shares_of_study(AUTUMN[:5])], [1, 1])
    gap = difference(spring, autumn)
    assert test.statistic == pytest.approx(gap.value / np.sqrt(gap.variance))


def test_all_divisions_of_two_blocks_by_hand() -> None:
    """6 ways in either block make 36; only the real one and its mirror are as far."""
    one = [[1, 9], [2, 8], [2, 8], [3, 7]]
    other = [[8, 2], [9, 1], [8, 2], [9, 1]]
    blocks = Blocks([0, 0, 1, 1], [0, 0, 1, 1], [1, 1], [1, 1])
    test = permutation_test(one, other, blocks=blocks)
    assert (test.exact, test.draws, test.p[0]) == (True, 36, pytest.approx(2 / 36))


def test_refusals() -> None:
    with pytest.raises(ValueError, match="number of sorts in a block 1 is too small"):
        permutation_test(SPRING, AUTUMN, blocks=Blocks([0] * 14 + [1], [0] * 6 + [1] * 6, [1, 1],
                                                       [1, 1]))  # fmt: skip
    with pytest.raises(ValueError, match="lengths differ"):
        permutation_test(SPRING, AUTUMN, blocks=Blocks([0] * 3, [0] * 12, [1], [1]))
    with pytest.raises(ValueError, match="one has 4 categories and other 3: give the same"):
        permutation_test(SPRING, AUTUMN[:, :3])
    with pytest.raises(ValueError, match="draws 5 is too small"):
        permutation_test(SPRING, AUTUMN, draws=5)
    with pytest.raises(ValueError, match="other holds a sort without any mass"):
        permutation_test(SPRING, AUTUMN * 0)
    with pytest.raises(ValueError, match="estimator 'median' is not known"):
        permutation_test(SPRING, AUTUMN, estimator="median")  # type: ignore[arg-type]
