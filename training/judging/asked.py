"""What trained networks answer on pictures that did not train them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray

from classifier.inference.preprocess import Preprocessing
from training.judging.calibrate import HeldOut
from training.judging.strangeness import Strangeness, fit_strangeness
from training.network import SortNet
from training.outputs import Answers, answer_views
from training.pictures.dataset import Dataset
from training.pictures.images import load_views

_LEARNED = 2048  # training pictures whose embeddings show the principal directions
_FEW = 20  # held-out pictures; fewer say too little of how strange a known floor is


@dataclass(frozen=True, slots=True)
class Gauged:
    """A network with its gauge of strangeness, if one was asked for."""

    net: SortNet
    strangeness: Strangeness | None
    unlearned: frozenset[int] = frozenset()  # forms that it had no picture of


@dataclass(frozen=True, slots=True)
class Asker:
    """Puts pictures of a set to networks, cut as in use."""

    data: Dataset
    preprocessing: Preprocessing
    device: torch.device
    workers: int

    def rows(self, split: str, sources: Sequence[str]) -> NDArray[np.int64]:
        """Rows of a split that come from some sources (none named: from all)."""
        return np.flatnonzero(
            [
                each == split and (not sources or example.source in sources)
                for example, each in zip(self.data.examples, self.data.splits, strict=True)
            ]
        )

    def rows_of(self, source: str) -> NDArray[np.int64]:
        """Rows of a whole source."""
        return np.flatnonzero([example.source == source for example in self.data.examples])

    def gauged(self, net: SortNet, sources: Sequence[str]) -> Gauged:
        """Give a network that learned from some sources its gauge of strangeness.

        Where hardly any of their pictures is held out, those that trained are the measure: all
        others then seem a little stranger, which is on the safe side.
        """
        learned = self.rows("train", sources)
        if len(learned) > _LEARNED:
            learned = np.random.default_rng(0).choice(learned, _LEARNED, replace=False)
        seen = self._embeddings(net, np.sort(learned))
        held_out = self.rows("calibrate", sources)
        level = self._embeddings(net, held_out) if len(held_out) >= _FEW else seen
        return Gauged(net, fit_strangeness(seen, level), self._unlearned(sources))

    def _embeddings(self, net: SortNet, rows: NDArray[np.int64]) -> torch.Tensor:
        return torch.from_numpy(self._raw(net, rows).embedding).flatten(0, 1)

    def _unlearned(self, sources: Sequence[str]) -> frozenset[int]:
        forms = self.data.labels.forms
        learned = forms[torch.from_numpy(self.rows("train", sources))]
        return frozenset(forms.tolist()) - frozenset(learned.tolist()) - {-1}

    def ask(self, gauged: Gauged, rows: NDArray[np.int64]) -> HeldOut:
        """Answers on some rows, with their labels."""
        answers = self._raw(gauged.net, rows)
        labels = self.data.labels.forms[torch.from_numpy(rows)].numpy()
        strange = None
        if gauged.strangeness is not None:
            embeddings = torch.from_numpy(answers.embedding)
            strange = gauged.strangeness(embeddings.flatten(0, 1)).view(embeddings.shape[:2])
        return HeldOut(
            answers.forms, labels, None if strange is None else strange.numpy(), gauged.unlearned
        )

    def _raw(self, net: SortNet, rows: NDArray[np.int64]) -> Answers:
        paths = [self.data.examples[row].path for row in rows]
        views = load_views(paths, self.preprocessing, workers=self.workers)
        return answer_views(net.to(self.device), views, device=self.device)
