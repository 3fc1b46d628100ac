"""Which pictures show one object, as seen by a network that was not trained on them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from classifier.examples.similar import Merged
from classifier.examples.similar import merge_groups as _merge_groups

SAME_OBJECT = 0.92  # cosine of pretrained embeddings, chosen by looking at pairs around it


def merge_groups(
    groups: Sequence[str],
    sources: Sequence[str],
    embeddings: NDArray[np.float32],
    *,
    threshold: float = SAME_OBJECT,
) -> Merged:
    """Join groups that hold near-repeats, by the cosine that suits pretrained embeddings."""
    return _merge_groups(groups, sources, embeddings, threshold=threshold)
