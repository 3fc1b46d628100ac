"""Counts by category, corrected by the photographs that were judged blind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from classifier.estimators.audit_size import audits_for_shares
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.report.categories import Names
from classifier.rules.category_parts import Categories
from classifier.study.figures import WHOLE, About, Figure, figures_of
from classifier.study.plan import StudyPlan
from classifier.study.totals import CalledPhotos

_LEAST = 2
WHICH_ESTIMATOR = (
    "Audited items are a random part of these very photographs, so the post-stratified estimator "
    "is used: it assumes only that. Prediction-powered inference suits the same design and gains "
    "nothing from hard labels. Adjusted classify-and-count (Rogan and Gladen) would assume that "
    "the model errs here as it did elsewhere, which a new floor or lamp breaks: it is not used."
)


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """Corrected counts, or why there are none; `notes` must stand beside them."""

    figures: tuple[Figure, ...]
    notes: tuple[str, ...]


def corrected_counts(
    photos: Sequence[CalledPhotos], categories: Categories, plan: StudyPlan
) -> Corrected:
    """Return photographed items by true category, estimated from the audited ones.

    Strata are the forms that the network called them; sparse ones are joined, which is right as
    audits are drawn at random among all photographs. Nothing is returned without an audit.
    """
    audited = sum(sum(each.blind.values()) for each in photos)
    if not audited:
        return Corrected((), ())
    items = sum(each.items for each in photos)
    if audited < _LEAST:
        return Corrected(
            (), (f"{audited} of {items} photographed items audited: too few to correct counts.",)
        )
    names = Names(categories)
    seen = {category for each in photos for category in each.blind}
    listed = [each.id for each in categories.categories if each.id in seen]
    ids = [*listed, *sorted(seen.difference(listed))]
    if len(ids) < 2:
        return Corrected(
            (),
            (
                f"All {audited} audited items are {names.category(ids[0])}: there is nothing to "
                "correct by.",
            ),
        )
    table = np.array([[each.blind.get(category, 0) for category in ids] for each in photos])
    sizes = np.array([each.items for each in photos])
    strata = [_called_words(each, names) for each in photos]
    pooled = pool_sparse_strata(table, sizes, strata=strata)
    result = post_stratified_counts(
        pooled.confusion, pooled.stratum_counts, categories=[names.category(each) for each in ids],
        strata=pooled.strata, blind=True, level=plan.level,
    )  # fmt: skip
    about = [About("category", each, names.category(each)) for each in ids]
    figures = [
        *figures_of(result.counts, about, measure="photographed_items_corrected"),
        *figures_of(result.shares, about, measure="photographed_share_corrected"),
        *_called(photos, names, items),
    ]
    notes = [
        f"{audited} of {items} photographed items were audited (judged before the suggestion was "
        f"shown). {WHICH_ESTIMATOR}",
        "A category that no audit met has no corrected count: it may still be there.",
        *(caveat.text for caveat in result.caveats),
        *_wanted(pooled.confusion, pooled.stratum_counts, about, pooled.strata, plan),
    ]
    return Corrected(tuple(figures), tuple(notes))


def _called_words(photos: CalledPhotos, names: Names) -> str:
    """Return what the network called them; the form tells those of one category apart."""
    if not photos.category:
        return photos.form
    return f"{names.category(photos.category)} (called {photos.form})"


def _called(photos: Sequence[CalledPhotos], names: Names, items: int) -> list[Figure]:
    """Return what the network by itself called them: no count of anything, for comparison only."""
    sums: dict[str, int] = {}
    for each in photos:
        if each.category:
            sums[each.category] = sums.get(each.category, 0) + each.items
    return [
        Figure(
            About("category", category, names.category(category)), WHOLE,
            "photographed_items_as_called", "counted", "1", float(number), n=items,
            method="most likely category of the form that the network called",
        )
        for category, number in sums.items()
    ]  # fmt: skip


def _wanted(
    confusion: np.ndarray, sizes: np.ndarray, about: Sequence[About], strata: Sequence[str],
    plan: StudyPlan,
) -> list[str]:  # fmt: skip
    if not plan.audit_points:
        return []
    plan_of = audits_for_shares(
        sizes,
        confusion / confusion.sum(axis=1, keepdims=True),
        plan.audit_points / 100,
        categories=[each.name for each in about],
        strata=strata,
        level=plan.level,
    )
    return [
        f"For every corrected share within ± {plan.audit_points:g} points, about {plan_of.audits} "
        f"audits are needed; {plan_of.decided_by} decides."
    ]
