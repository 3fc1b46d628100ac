"""Learning along a log: scored before learned, the same when rebuilt, forgotten when undone."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

import numpy as np
import pytest
from numpy.typing import NDArray

from classifier.errors import UnknownIdError
from classifier.learning import learner as learner_module
from classifier.learning import nudge as nudge_module
from classifier.learning.confirmation import Confirmation
from classifier.learning.head import HeadError, LearnedHead
from classifier.learning.learner import EVERY, Learner, refit_due
from classifier.learning.nudge import implicit_move, nudge
from classifier.learning.score import (
    CLIP,
    ENOUGH,
    Judged,
    Prequential,
    Trust,
    judge,
    running_mean,
)

NAMES = ("tub", "bottle", "can", "jar", "lid")
WIDTH = 16
MIDDLES = np.random.default_rng(5).gamma(0.6, 1.0, (len(NAMES), WIDTH))
EVEN = np.full(len(NAMES), 1 / len(NAMES))


def stream(n: int, *, seed: int = 0, noise: float = 0.3) -> list[Confirmation]:
    """Confirm n photos of mixed kinds; the model knows nothing."""
    random = np.random.default_rng(seed)
    kinds = random.integers(len(NAMES), size=n)
    seen = np.abs(MIDDLES[kinds] + random.normal(0, noise, (n, WIDTH))).astype(np.float32)
    return [
        Confirmation(f"{seed}-{i:04d}", seen[i], EVEN, NAMES[kind]) for i, kind in enumerate(kinds)
    ]


def fresh(**options: object) -> Learner:
    return Learner(NAMES, model="m", **options)  # type: ignore[arg-type]


def test_each_item_is_predicted_before_it_is_learned() -> None:
    confirmed = stream(40)
    learner = fresh()
    for index, each in enumerate(confirmed):
        before = learner.snapshot
        learner.learn(each)
        label = NAMES.index(each.category)
        expected = before.probabilities(each.embedding, each.shipped)
        assert learner.prequential.judged[index].learned_loss == pytest.approx(
            -np.log(expected[label])
        )
    first = learner.prequential.judged[0]
    assert first.learned_loss == first.shipped_loss == pytest.approx(np.log(len(NAMES)))
    score = learner.prequential
    assert len(score) == learner.confirmations == 40
    assert score.learned_losses[20:].mean() < 0.5 * score.shipped_losses[20:].mean()
    assert score.learned_hits[20:].mean() > 0.8


def test_rebuilt_from_the_same_log_it_suggests_the_same() -> None:
    confirmed = stream(EVERY + 25)
    one, other = fresh(), fresh()
    one.learn_all(confirmed)
    for each in confirmed:
        other.learn(each)
    a, b = one.snapshot.head, other.snapshot.head
    assert a is not None
    assert b is not None
    assert a.to_bytes() == b.to_bytes()
    assert one.prequential == other.prequential


def test_what_was_undone_is_forgotten() -> None:
    confirmed = stream(30)
    wrong = Confirmation("wrong", confirmed[3].embedding, EVEN, "lid")
    learner, never = fresh(), fresh()
    learner.learn_all([*confirmed[:10], wrong, *confirmed[10:]])
    never.learn_all(confirmed)
    undone = fresh()
    undone.learn_all(
        each for each in [*confirmed[:10], wrong, *confirmed[10:]] if each is not wrong
    )
    heads = [each.snapshot.head for each in (learner, never, undone)]
    assert all(head is not None for head in heads)
    kept = [head.to_bytes() for head in heads if head is not None]
    assert kept[2] == kept[1] != kept[0]


@pytest.mark.parametrize("before", [3, EVERY + 3])  # after a fit, and between two
def test_the_same_object_need_not_be_corrected_twice(before: int) -> None:
    learner = fresh()
    learner.learn_all(stream(before))
    odd = np.abs(np.random.default_rng(9).normal(size=WIDTH)).astype(np.float32)
    sure = np.array([0.7, 0.1, 0.1, 0.05, 0.05])
    assert not refit_due(EVERY + 4)
    snapshot = learner.learn(Confirmation("odd", odd, sure, "jar"))
    assert NAMES[snapshot.probabilities(odd, sure).argmax()] == "jar"


def test_before_any_confirmation_it_is_the_shipped_model() -> None:
    snapshot = fresh().snapshot
    shipped = np.array([0.5, 0.2, 0.1, 0.1, 0.1])
    assert snapshot.probabilities(np.ones(WIDTH), shipped) is shipped
    assert snapshot.trusted
    assert snapshot.confirmations == 0


def test_a_start_answers_at_once_and_is_not_lost() -> None:
    teacher = fresh()
    teacher.learn_all(stream(60))
    start = teacher.snapshot.head
    assert start is not None
    learner = fresh(start=LearnedHead.from_bytes(start.to_bytes()))
    tests = stream(40, seed=2)
    right = [
        NAMES[learner.snapshot.probabilities(t.embedding, t.shipped).argmax()] == t.category
        for t in tests
    ]
    assert np.mean(right) > 0.8
    head = learner.learn(tests[0]).head
    assert head is not None
    assert head.confirmations == 61
    with pytest.raises(HeadError):
        Learner(NAMES, model="another", start=start)


def test_a_category_that_is_not_in_the_list_changes_nothing() -> None:
    learner = fresh()
    learner.learn_all(stream(5))
    with pytest.raises(UnknownIdError, match="hat"):
        learner.learn(Confirmation("x", np.ones(WIDTH, np.float32), EVEN, "hat"))
    assert learner.confirmations == len(learner.prequential) == 5


def test_the_schedule_is_dense_first_and_then_grows_with_the_log() -> None:
    due = [n for n in range(1, 5001) if refit_due(n)]
    assert due[:EVERY] == list(range(1, EVERY + 1))
    assert not refit_due(0)
    gaps = np.diff(due[EVERY:]) / np.array(due[EVERY:-1])
    assert gaps.max() <= learner_module.GROWTH
    assert len(due) < 200


def worse(n: int, by: float) -> list[Judged]:
    return [Judged(1.0, 1.0 + by, True, False)] * n


def trusts(judged: Sequence[Judged]) -> bool:
    return reduce(Trust.after, judged, Trust()).learned


def test_learning_that_does_worse_is_left_and_comes_back_when_it_does_better() -> None:
    score = worse(20, 1.0)
    assert trusts([])
    assert trusts(score[:8])
    assert not trusts(score[:9])
    assert not trusts(score)
    assert not trusts([*score, *worse(8, -1.0)])
    assert trusts([*score, *worse(9, -1.0)])


def test_no_single_photo_decides() -> None:
    assert trusts(worse(1, 1000.0))
    assert ENOUGH > 3 * CLIP


def test_harm_is_bounded_where_nothing_can_be_learned() -> None:
    """Labels that the model knows and the head can only spoil: photos tell nothing."""
    random = np.random.default_rng(3)
    labels = random.integers(len(NAMES), size=260)
    learner = fresh()
    shown, shipped_total = 0.0, 0.0
    for i, label in enumerate(labels):
        shipped = np.full(len(NAMES), 0.02)
        shipped[label if random.random() < 0.93 else (label + 1) % len(NAMES)] = 0.92
        photo = np.abs(random.normal(size=WIDTH)).astype(np.float32)
        each = Confirmation(f"{i:04d}", photo, shipped, NAMES[label])
        p = learner.snapshot.probabilities(photo, shipped)
        shown -= np.log(p[label])
        shipped_total -= np.log(shipped[label])
        learner.learn(each)
    assert shown < shipped_total + 3 * ENOUGH
    states = [trusts(learner.prequential.judged[:i]) for i in range(260)]
    assert np.diff(np.array(states, dtype=int)).clip(0).sum() <= 8  # does not flicker


def test_judging_takes_the_loss_and_the_lead() -> None:
    judged = judge(np.array([0.5, 0.25, 0.25]), np.array([0.1, 0.8, 0.1]), 1)
    assert judged.shipped_loss == pytest.approx(np.log(4))
    assert judged.learned_loss == pytest.approx(-np.log(0.8))
    assert (judged.shipped_hit, judged.learned_hit) == (False, True)
    score = Prequential([judged])
    assert score.shipped_hits.tolist() == [0.0]
    assert score.learned_hits.tolist() == [1.0]


def test_running_means() -> None:
    values = np.array([1.0, 3.0, 5.0, 7.0])
    assert running_mean(values).tolist() == [1.0, 2.0, 3.0, 4.0]
    assert running_mean(values, 2).tolist() == [1.0, 2.0, 4.0, 6.0]
    assert running_mean(np.zeros(0)).shape == (0,)


@pytest.mark.parametrize("strength", [0.1, 1.0, 4.0, 30.0])
def test_the_implicit_step_solves_its_equation(strength: float) -> None:
    logits: NDArray[np.float64] = np.random.default_rng(0).normal(0, 3, 7)
    move = implicit_move(logits, 2, strength)
    p = np.exp(logits + move) / np.exp(logits + move).sum()
    target = np.eye(7)[2]
    np.testing.assert_allclose(move, strength * (target - p), atol=1e-6)
    assert move.sum() == pytest.approx(0, abs=1e-6)


def test_a_nudge_moves_the_photo_and_leaves_the_average_one_alone() -> None:
    random = np.random.default_rng(1)
    head = LearnedHead(
        "m",
        NAMES,
        random.normal(size=(len(NAMES), WIDTH)).astype(np.float32),
        np.zeros(len(NAMES), np.float32),
        5,
    )
    photo = np.abs(random.normal(size=WIDTH))
    centre = np.full(WIDTH, 1 / np.sqrt(WIDTH), np.float32)
    moved = nudge(head, photo, EVEN, 4, centre)
    assert moved.confirmations == 6
    assert moved.probabilities(photo, EVEN)[4] > head.probabilities(photo, EVEN)[4]
    np.testing.assert_allclose(
        moved.probabilities(centre, EVEN), head.probabilities(centre, EVEN), atol=1e-4
    )
    still = nudge(head, centre, EVEN, 4, centre)  # nothing sets it apart
    np.testing.assert_array_equal(still.weights, head.weights)


def test_a_branch_goes_its_own_way() -> None:
    learner = fresh()
    learner.learn_all(stream(20))
    before = learner.snapshot
    branch = learner.branch()
    assert branch.prequential == learner.prequential
    branch.learn_all(stream(10, seed=3))
    assert (learner.snapshot.confirmations, branch.snapshot.confirmations) == (20, 30)
    assert learner.snapshot == before


def test_an_implicit_step_that_is_cut_short_is_nearly_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    logits = np.array([0.3, -0.2, 0.9])
    whole = implicit_move(logits, 1, 1.0)
    monkeypatch.setattr(nudge_module, "_ROUNDS", 2)
    np.testing.assert_allclose(implicit_move(logits, 1, 1.0), whole, atol=1e-2)


def test_memory_is_bounded_however_long_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fit looks at the newest; the number of confirmations and the score go on over all."""
    monkeypatch.setattr(learner_module, "MOST_KEPT", 30)
    confirmed = stream(90)
    learner = fresh()
    learner.learn_all(confirmed)
    assert learner.confirmations == len(learner.prequential) == 90
    assert learner._confirmations == confirmed[-30:]
    branch = learner.branch()
    assert (branch.confirmations, branch._confirmations) == (90, confirmed[-30:])
