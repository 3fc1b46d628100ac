"""What a bundle is judged by: its own forms, or the categories of the log that they lead to.

Sets that were labelled while sorting bear categories, which a bundle of forms can be judged by all
the same: the probability of a category is the sum over the forms of their share in it, as in use.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.inference.bundle import Bundle, check_bundle_categories
from classifier.rules.category_parts import Categories
from classifier.rules.suggestion_parts import NON_ITEM
from training.pictures.forms import Form, FormTable, form_of_category, load_forms

LEVELS = ("form", "category")


@dataclass(frozen=True, slots=True)
class Level:
    """Names that a bundle is judged by.

    `shares` is (forms of the bundle, names): how much of each form belongs to each name. `number`
    gives the place of the name that a label of a set stands for.
    """

    kind: str
    table: FormTable
    shares: NDArray[np.float64]
    number: Mapping[str, int]


def level_named(kind: str, bundle: Bundle, categories: Categories) -> Level:
    """Return a bundle's names of one of the `LEVELS`.

    Raises
    ------
    BundleError
        The bundle leads to categories that the list does not have.
    """
    return _of_forms(bundle) if kind == "form" else _of_categories(bundle, categories)


def fitting_level(
    labels: Collection[str], bundles: Sequence[Bundle], categories: Categories
) -> str:
    """Choose the level for labels: forms, unless some are categories that the bundles lead to."""
    levels = [_of_categories(bundle, categories) for bundle in bundles]
    names = {category.id for category in categories.categories}
    for label in names.intersection(labels):
        is_form = all(label in bundle.labels for bundle in bundles)
        if not is_form and all(label in level.number for level in levels):
            return "category"
    return "form"


def _of_forms(bundle: Bundle) -> Level:
    table = table_of(bundle)
    number = {name: place for place, name in enumerate(table.ids)}
    return Level("form", table, np.eye(len(table.forms)), number)


def _of_categories(bundle: Bundle, categories: Categories) -> Level:
    """Every category that a form leads to; the label of a form stands for what it mostly is."""
    check_bundle_categories(bundle, {category.id for category in categories.categories})
    forms = bundle.manifest.forms
    led_to = {category for form in forms for category in form.categories}
    shipped = load_forms()
    kept = [c for c in categories.categories if c.id in led_to]
    table = [form_of_category(category, shipped.forms) for category in kept]
    table += [form for form in table_of(bundle).forms if form.id == NON_ITEM]
    place = {form.id: i for i, form in enumerate(table)}
    shares = np.zeros((len(forms), len(table)))
    for row, form in enumerate(forms):
        # What shows no item leads to no category and stays what it is.
        for category, share in (form.categories or {NON_ITEM: 1.0}).items():
            shares[row, place[category]] = share
    mostly = {form.id: _most(form.categories) for form in shipped.forms}
    mostly |= {form.id: _most(form.categories) for form in forms}
    number = {name: place[category] for name, category in mostly.items() if category in place}
    return Level("category", FormTable(tuple(table)), shares, number | place)


def _most(categories: Mapping[str, float]) -> str:
    return max(sorted(categories), key=lambda each: categories[each], default="")


def table_of(bundle: Bundle) -> FormTable:
    """Forms of a bundle as it maps them, with the coarser labels of the training table."""
    known = {form.id: form for form in load_forms().forms}
    forms = []
    for form in bundle.manifest.forms:
        like = known.get(form.id)
        material, stream = (like.material, like.stream) if like else (form.id, form.id)
        forms.append(Form(form.id, form.name, material, stream, dict(form.categories)))
    return FormTable(tuple(forms))
