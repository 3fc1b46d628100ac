"""Which examples show one object: as given by whoever brought them, and by their embeddings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.examples.similar import close_pairs, merge_groups, unit_rows
from service.services import Services
from service.store.example_rows import Example

SAME_OBJECT = 0.88
"""Cosine of a trained bundle's embeddings from which two photos of one sort show one object, or
objects that nobody could tell apart. Chosen by looking at pairs (OWN): of 713 pairs of shared
training pictures above it, 5 have different forms, and those were mistakes of the labels or two
views of like things."""
SAME_PICTURE = 0.97
"""The same across sorts, where likeness of the floor says nothing: the picture itself again."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Examples whose embeddings can be compared: row numbers, (n, d) embeddings, whose they are."""

    rows: list[int]
    embeddings: NDArray[np.float32]
    model_id: str | None


def seen_alike(services: Services, examples: Sequence[Example]) -> Seen:
    """Return the embeddings of the model that looked at most of the examples."""
    vectors = services.log.embeddings_of([each.capture_id for each in examples])
    looked = Counter(each.model_id for each in examples if each.capture_id in vectors)
    if not looked:
        return Seen([], np.zeros((0, 1), dtype=np.float32), None)
    # The later id where two models looked at as many: the choice must not depend on the order.
    model_id = max(looked, key=lambda each: (looked[each], each or ""))
    rows = [
        row
        for row, each in enumerate(examples)
        if each.model_id == model_id and each.capture_id in vectors
    ]
    made = [np.frombuffer(vectors[examples[row].capture_id], dtype="<f2") for row in rows]
    return Seen(rows, np.stack(made).astype(np.float32), model_id)


def group_examples(examples: Sequence[Example], seen: Seen) -> list[str]:
    """Return the group of each example, named after the capture that was recorded first in it.

    Photos that only another model looked at are grouped only by what was given with them.
    """
    given = [
        each.capture_id if each.object_group is None else f"{each.sort_id}/{each.object_group}"
        for each in examples
    ]
    if seen.rows:
        joined = _merged([given[row] for row in seen.rows], examples, seen)
        renamed = dict(zip((given[row] for row in seen.rows), joined, strict=True))
        given = [renamed.get(group, group) for group in given]
    first: dict[str, Example] = {}
    for group, each in zip(given, examples, strict=True):
        known = first.get(group)
        if known is None or (each.at, each.capture_id) < (known.at, known.capture_id):
            first[group] = each
    return [first[group].capture_id for group in given]


def two_labels(examples: Sequence[Example], seen: Seen) -> set[str]:
    """Return the captures that look like another of their sort but have a different label."""
    unit = unit_rows(seen.embeddings)
    found: set[str] = set()
    for _, positions in _by_sort(examples, seen).items():
        for a, b in close_pairs(unit[positions], SAME_OBJECT):
            pair = [examples[seen.rows[positions[each]]] for each in (a, b)]
            if pair[0].label != pair[1].label:
                found |= {each.capture_id for each in pair}
    return found


def _merged(given: list[str], examples: Sequence[Example], seen: Seen) -> list[str]:
    sorts = [examples[row].sort_id for row in seen.rows]
    within = merge_groups(given, sorts, seen.embeddings, threshold=SAME_OBJECT).groups
    everywhere = [""] * len(within)
    return merge_groups(within, everywhere, seen.embeddings, threshold=SAME_PICTURE).groups


def _by_sort(examples: Sequence[Example], seen: Seen) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for position, row in enumerate(seen.rows):
        found.setdefault(examples[row].sort_id, []).append(position)
    return found
