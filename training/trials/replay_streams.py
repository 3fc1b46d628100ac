"""Streams of confirmations made of labelled pictures, and how suggestions fare along them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.errors import DataFileError
from classifier.learning.confirmation import Confirmation, Floats, shipped_probabilities
from classifier.learning.fit import HeadOptions, fit_head
from classifier.learning.head import LearnedHead
from classifier.learning.learner import Learner
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.suggestion import resolve_route
from training.trials.replay_pictures import Pictures, table_of

PROGRAMME = "alder_valley"  # the shipped programme under which routes are scored
BLOCKS = ((1, 30), (31, 60), (61, 100), (101, 200), (201, 400), (401, 800))  # items, inclusive
RARE = 0.025  # share of a stream below which a category is rare
SETTLED = 100  # items before recall by category is counted
OTHERS = 100  # confirmations of other categories before an unknown one turns up
EXAMPLES = (1, 2, 3, 5, 10)  # of the unknown category
MOST_TESTED = 50  # further pictures of it
LEAST_OBJECTS = 20  # of a category that is hidden


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """Pictures with the labels that a person confirms, at one level (categories or materials)."""

    names: tuple[str, ...]  # C labels
    routes: NDArray[np.str_]  # (C,) route of each
    embeddings: NDArray[np.float32]  # (n, D)
    shipped: Floats  # (n, C)
    labels: NDArray[np.int64]  # (n,)
    objects: NDArray[np.int64]  # (n,)


def by_category(pictures: Pictures, *, hidden: str = "") -> Labelled:
    """Label pictures with the product's categories; a hidden one is unknown to the model."""
    table, categories = table_of(pictures), load_categories()
    names = tuple(category.id for category in categories.categories)
    programme = next(p for p in load_shipped_programmes(categories) if p.id == PROGRAMME)
    shares = {form.id: form.categories for form in table.forms}
    main = {form: max(share, key=share.__getitem__) for form, share in shares.items() if share}
    known = {
        form: {category: p for category, p in share.items() if category != hidden}
        for form, share in shares.items()
    }
    routes = [resolve_route(name, categories, programme, {}).route for name in names]
    labels = [main[form] for form in pictures.forms]
    return _labelled(pictures, names, routes, known, labels)


def by_material(pictures: Pictures) -> Labelled:
    """Label pictures with their origin's coarse materials, as the reference runs were."""
    if "" in pictures.materials:
        raise DataFileError("pictures without a material: the manifest's column must be filled")
    table = table_of(pictures)
    known = {form.id: {form.material: 1.0} for form in table.forms if form.material}
    names = tuple(sorted({*table.materials, *pictures.materials}))
    return _labelled(pictures, names, names, known, pictures.materials)


def _labelled(
    pictures: Pictures,
    names: tuple[str, ...],
    routes: Sequence[str],
    known: dict[str, dict[str, float]],
    labels: Sequence[str],
) -> Labelled:
    shipped = [
        shipped_probabilities(list(zip(pictures.form_ids, p, strict=True)), known, names)
        for p in pictures.probabilities.tolist()
    ]
    place = {name: index for index, name in enumerate(names)}
    return Labelled(
        names,
        np.array(routes),
        pictures.embeddings,
        np.stack(shipped),
        np.array([place[label] for label in labels]),
        pictures.objects,
    )


def order(labelled: Labelled, seed: int, *, repeats: bool = False) -> NDArray[np.int64]:
    """Return rows in a seeded order: one picture of each object, or all pictures as they come.

    Keeping one picture keeps the views of an object together: none helps to guess another.
    """
    shuffled = np.random.default_rng(seed).permutation(len(labelled.labels))
    if repeats:
        return shuffled
    _, first = np.unique(labelled.objects[shuffled], return_index=True)
    return shuffled[np.sort(first)]


def confirmations(labelled: Labelled, rows: NDArray[np.int64]) -> list[Confirmation]:
    """Return what a person confirms along a stream, in order."""
    return [
        Confirmation(
            f"{at:06d}",
            labelled.embeddings[row],
            labelled.shipped[row],
            labelled.names[labelled.labels[row]],
        )
        for at, row in enumerate(rows.tolist())
    ]


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """One stream of m items, each predicted before it was learned. Arrays of shape (m,)."""

    losses: tuple[Floats, Floats]  # shipped, learned
    hits: tuple[Floats, Floats]
    routes: tuple[Floats, Floats]  # whether the leading category leads to the right route
    trusted: Floats  # 1 where the learned head would have answered
    labels: NDArray[np.int64]


def replay(
    labelled: Labelled,
    seed: int,
    *,
    options: HeadOptions | None = None,
    repeats: bool = False,
    most: int = BLOCKS[-1][1],
) -> Replay:
    """Confirm one picture after the other, as a study would."""
    rows = order(labelled, seed, repeats=repeats)[:most]
    learner = Learner(labelled.names, model="replay", options=options)
    snapshot, trusted, routes = learner.snapshot, [], []
    for row, each in zip(rows.tolist(), confirmations(labelled, rows), strict=True):
        learned = each.shipped
        if snapshot.head is not None:
            learned = snapshot.head.probabilities(each.embedding, each.shipped)
        right = labelled.routes[labelled.labels[row]]
        routes.append([labelled.routes[p.argmax()] == right for p in (each.shipped, learned)])
        trusted.append(snapshot.trusted)
        snapshot = learner.learn(each)
    score, led = learner.prequential, np.array(routes, dtype=np.float64)
    return Replay(
        (score.shipped_losses, score.learned_losses),
        (score.shipped_hits, score.learned_hits),
        (led[:, 0], led[:, 1]),
        np.array(trusted, dtype=np.float64),
        labelled.labels[rows],
    )


def recall(run: Replay, *, rare: bool) -> tuple[float, float]:
    """Mean recall over categories (or over the rare ones' items) after the first items.

    Returns shipped and learned; nan where there is none.
    """
    labels = run.labels[SETTLED:]
    hits = [hit[SETTLED:] for hit in run.hits]
    if not len(labels):
        return float("nan"), float("nan")
    if rare:
        seldom = np.bincount(run.labels)[labels] < RARE * len(run.labels)
        if not seldom.any():
            return float("nan"), float("nan")
        return float(hits[0][seldom].mean()), float(hits[1][seldom].mean())
    kinds = np.unique(labels)
    shipped, learned = (float(np.mean([hit[labels == k].mean() for k in kinds])) for hit in hits)
    return shipped, learned


@dataclass(frozen=True, slots=True)
class Unknown:
    """A category that the model lacks, after some examples of it among other confirmations."""

    category: str
    examples: int
    first: float  # share of further pictures of it that it leads
    among_three: float  # share where it is one of the first three
    taken: float  # share of other pictures that it leads wrongly


def meet_unknown(
    pictures: Pictures, category: str, seed: int, *, options: HeadOptions | None = None
) -> list[Unknown]:
    """Hide a category from the model and teach it again, example by example."""
    labelled = by_category(pictures, hidden=category)
    place = labelled.names.index(category)
    rows = order(labelled, seed)
    own, other = (rows[(labelled.labels[rows] == place) == wanted] for wanted in (True, False))
    tested = own[max(EXAMPLES) :][:MOST_TESTED]
    strangers = other[OTHERS : OTHERS + 4 * MOST_TESTED]
    result = []
    for examples in EXAMPLES:
        taught = np.concatenate([other[:OTHERS], own[:examples]])
        head = fit_head(confirmations(labelled, taught), labelled.names, options=options)
        found = _ranks(labelled, tested, head, place)
        result.append(
            Unknown(
                category,
                examples,
                float((found == 0).mean()),
                float((found < 3).mean()),
                float((_ranks(labelled, strangers, head, place) == 0).mean()),
            )
        )
    return result


def _ranks(
    labelled: Labelled, rows: NDArray[np.int64], head: LearnedHead, place: int
) -> NDArray[np.int64]:
    """Return the rank, from 0, of one category in the suggestions for some pictures."""
    p = np.stack([head.probabilities(labelled.embeddings[r], labelled.shipped[r]) for r in rows])
    ranks: NDArray[np.int64] = (p > p[:, [place]]).sum(axis=1)
    return ranks


def common_categories(pictures: Pictures) -> list[str]:
    """Return the categories with enough objects to be hidden, in the order of the list."""
    labelled = by_category(pictures)
    n = np.bincount(labelled.labels[order(labelled, 0)], minlength=len(labelled.names))
    return [labelled.names[i] for i in np.flatnonzero(n >= LEAST_OBJECTS)]
