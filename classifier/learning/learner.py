"""Learning over a log: one confirmation after the other, each scored before it is learned.

A `Learner` is a fold over confirmations in the order of the log: the same model, start and
confirmations give the same head and the same score, however often it is rebuilt. What was undone
is left out of the log, and so is forgotten.

The head is fitted to all at set numbers of confirmations (`refit_due`): at every one of the first
ones, then each time the log has grown by a twentieth. Between two fits a confirmation is learned
by one step of its own, which takes microseconds. A fit looks at the newest 5,000 confirmations, so
that memory is bounded however large the log is; the score goes on over all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.learning.confirmation import Confirmation, Floats
from classifier.learning.fit import HeadOptions, fit_head, label_of
from classifier.learning.head import LearnedHead, Single, unit
from classifier.learning.nudge import nudge
from classifier.learning.score import Judged, Prequential, Trust, judge

EVERY = 100  # confirmations during which each is followed by a fit
GROWTH = 0.05  # of the log between two later fits
MOST_KEPT = 5_000  # confirmations that a fit looks at, the newest: each takes 5 kB, and 13 in a fit


def refit_due(confirmations: int) -> bool:
    """Whether the head is fitted to all at this number of confirmations; a fixed schedule."""
    if confirmations <= EVERY:
        return confirmations > 0
    due = EVERY
    while due < confirmations:
        due += max(1, int(due * GROWTH))
    return due == confirmations


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What answers photos between two confirmations; immutable.

    `head` is what was learned, None before anything was; `trusted` whether it may answer;
    `confirmations` how many of the log it has seen.
    """

    head: LearnedHead | None
    trusted: bool
    confirmations: int

    def probabilities(self, embedding: NDArray[np.floating], shipped: Floats) -> Floats:
        """Return the probabilities (C,) to suggest from: learned, or shipped if not trusted."""
        if self.head is None or not self.trusted:
            return shipped
        return self.head.probabilities(embedding, shipped)


class Learner:
    """The state of one study's learning. Not thread-safe: one background worker feeds it.

    What suggestions need (`snapshot`) is immutable and may be read by any thread.
    """

    def __init__(
        self,
        categories: Sequence[str],
        *,
        model: str,
        start: LearnedHead | None = None,
        options: HeadOptions | None = None,
    ) -> None:
        self.categories = tuple(categories)
        self._places = {category: index for index, category in enumerate(self.categories)}
        self.model = model
        self.options = options or HeadOptions()
        if start is not None:
            start.check_model(model, self.categories)
        self._start = start
        self._head = start
        self._confirmations: list[Confirmation] = []
        self._count = 0
        self._judged: list[Judged] = []
        self._trust = Trust()
        self._centre: Single = np.zeros(0, dtype=np.float32)  # set by each fit

    @property
    def confirmations(self) -> int:
        """How many confirmations of this log were learned, those of the start not counted."""
        return self._count

    @property
    def snapshot(self) -> Snapshot:
        """What suggestions need now."""
        return Snapshot(self._head, self._trust.learned, self._count)

    @property
    def prequential(self) -> Prequential:
        """The score so far."""
        return Prequential(tuple(self._judged))

    def branch(self) -> Learner:
        """Return a learner that has learned the same and goes its own way from here on."""
        other = Learner(self.categories, model=self.model, start=self._start, options=self.options)
        other._head, other._trust, other._centre = self._head, self._trust, self._centre
        other._confirmations, other._count = list(self._confirmations), self._count
        other._judged = list(self._judged)
        return other

    def learn(self, confirmation: Confirmation) -> Snapshot:
        """Score one confirmation, learn from it and return what suggestions need from now on.

        Raises
        ------
        UnknownIdError
            If its category is not among the learner's.
        """
        label = label_of(confirmation, self._places)
        learned = self._predict(confirmation.embedding, confirmation.shipped)
        judged = judge(confirmation.shipped, learned, label)
        self._confirmations.append(confirmation)
        del self._confirmations[:-MOST_KEPT]
        self._count += 1
        self._judged.append(judged)
        self._trust = self._trust.after(judged)
        self._head = self._improved(confirmation, label)
        return self.snapshot

    def learn_all(self, confirmations: Iterable[Confirmation]) -> Snapshot:
        """Learn a whole log, oldest first."""
        for each in confirmations:
            self.learn(each)
        return self.snapshot

    def _improved(self, confirmation: Confirmation, label: int) -> LearnedHead:
        """Return the head after the newest confirmation: fitted again where due, else nudged."""
        if self._head is None or refit_due(self._count):
            self._centre = unit(np.stack([c.embedding for c in self._confirmations])).mean(axis=0)
            return fit_head(
                self._confirmations,
                self.categories,
                model=self.model,
                start=self._start,
                guess=self._head,
                options=self.options,
            )
        return nudge(self._head, confirmation.embedding, confirmation.shipped, label, self._centre)

    def _predict(self, embedding: NDArray[np.floating], shipped: Floats) -> Floats:
        return shipped if self._head is None else self._head.probabilities(embedding, shipped)
