"""What learning in place is fed with: an embedding, what the model said, what a person chose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLOOR = 0.02  # share of the probability spread over all categories, the unknown ones included


@dataclass(frozen=True, slots=True, eq=False)
class Confirmation:
    """One photo whose category a person confirmed.

    Attributes
    ----------
    capture_id : str
        Its id in the log; unique within a study.
    embedding : array of shape (D,)
        What the network saw, as the predictor returned it.
    shipped : array of shape (C,)
        Probabilities over the categories before any learning, above 0, summing to 1
        (`shipped_probabilities`).
    category : str
        What the person chose.
    weight : float
        How much it counts, above 0; several photos of one object may share the weight of one.
    """

    capture_id: str
    embedding: NDArray[np.floating]
    shipped: Floats
    category: str
    weight: float = 1.0


def shipped_probabilities(
    forms: Sequence[tuple[str, float]],
    form_categories: Mapping[str, Mapping[str, float]],
    categories: Sequence[str],
    *,
    floor: float = FLOOR,
) -> Floats:
    """Sum the probabilities of forms to categories, none of which is left at zero.

    Parameters
    ----------
    forms : sequence of (form id, probability)
        What the model answered. A form without categories, such as "no item", and a form that the
        map lacks say nothing about the category.
    form_categories : mapping
        Form id to category id to share, the shares of a form summing to 1.
    categories : sequence of str
        Ids of all C categories, in the order of the result.
    floor : float
        Share of the probability that is spread evenly, 0 (excluded) to 1. Without it, a category
        which the model doesn't know could never be learned.

    Returns
    -------
    array of shape (C,)
        Probabilities, at least `floor / C` each, summing to 1.
    """
    place = {category: index for index, category in enumerate(categories)}
    total = np.zeros(len(categories))
    for form, p in forms:
        for category, share in form_categories.get(form, {}).items():
            if category in place:
                total[place[category]] += p * share
    mass = total.sum()
    even = np.full(len(categories), 1.0 / len(categories))
    if mass <= 0:
        return even
    return np.asarray((1.0 - floor) * total / mass + floor * even, dtype=np.float64)
