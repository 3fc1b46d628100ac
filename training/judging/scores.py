"""Scores of a run's networks: on known floors, and on sources that they never saw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from classifier.inference.preprocess import view_probabilities
from training.judging.calibrate import Confidence, HeldOut, set_confidence
from training.judging.evaluate import Scored, by_form, by_material, non_item_auroc, score_by
from training.judging.use import Desk, in_use
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable


@dataclass(frozen=True, slots=True)
class Scores:
    """Scores of answers, by source, material and form."""

    data: Dataset
    table: FormTable
    routes: NDArray[np.float64]  # (F, R)

    def known(
        self, rows: NDArray[np.int64], answers: HeldOut, confidence: Confidence
    ) -> dict[str, Any]:
        """Scores on the test split of the sources that trained, with what the set was made of."""
        sources, everything = self._scored(rows, answers, confidence)
        return {
            "test_split": score_by(sources, everything, self.table, self.routes),
            "by_material": by_material(everything, self.table),
            "by_form": by_form(everything, self.table),
            "non_item_auroc": non_item_auroc(everything, self.table),
            "repeats_joined": self.data.repeats,
            "labels_mended": sum(example.corrected for example in self.data.examples),
        }

    def unseen(self, calibrate: HeldOut, sisters: Mapping[str, HeldOut]) -> dict[str, Any]:
        """Scores of sisters on the sources they never saw, as sure as the others say to be.

        How sure the shipped network is was set with these pictures too: judged by that, they would
        flatter it.
        """
        result: dict[str, Any] = {}
        for source, answers in sisters.items():
            others = [held for each, held in sisters.items() if each != source]
            result |= self.by_source({source: answers}, set_confidence(calibrate, others))
        return result

    def by_source(self, asked: Mapping[str, HeldOut], confidence: Confidence) -> dict[str, Any]:
        """Scores on whole sources, without the pictures that may only train."""
        result: dict[str, Any] = {}
        for source, answers in asked.items():
            rows = self._rows_of(source)
            judged = np.array([self.data.examples[row].split != "train" for row in rows])
            found = self._scored(rows[judged], answers.only(judged), confidence)
            result |= score_by(*found, self.table, self.routes)
        return result

    def in_use(
        self,
        desk: Desk,
        tested: tuple[NDArray[np.int64], HeldOut],
        sisters: Mapping[str, HeldOut],
        confidence: Confidence,
    ) -> dict[str, Any]:
        """What would be shown of the test split, and of sources that sisters never saw."""
        _, known = self._scored(*tested, confidence)
        return {"test split": in_use(known, desk)} | {
            source: in_use(self._scored(self._rows_of(source), answers, confidence)[1], desk)
            for source, answers in sisters.items()
        }

    def _rows_of(self, source: str) -> NDArray[np.int64]:
        return np.flatnonzero([example.source == source for example in self.data.examples])

    def _scored(
        self, rows: NDArray[np.int64], answers: HeldOut, confidence: Confidence
    ) -> tuple[list[str], Scored]:
        rows, answers = rows[answers.labels >= 0], answers.known()
        doubted = answers.doubted(confidence.slope)
        p = view_probabilities(doubted.logits, confidence.temperature)
        sources = [self.data.examples[row].source for row in rows]
        return sources, Scored(p, answers.labels, [self.data.groups[row] for row in rows])
