"""The table of forms, and tables of somebody's own labels."""

from __future__ import annotations

import pytest

from classifier.errors import DataFileError
from classifier.rules.categories import load_categories
from classifier.rules.suggestion_parts import NON_ITEM
from training.pictures.forms import load_forms, table_of_labels


def test_shipped_table_leads_to_known_categories_whose_shares_sum_to_one() -> None:
    known = {category.id for category in load_categories().categories}
    table = load_forms()
    assert len(set(table.ids)) == len(table.ids) >= 25
    for form in table.forms:
        assert set(form.categories) <= known
        if form.id == NON_ITEM:
            assert (form.categories, form.material, form.stream) == ({}, "", "")
        else:
            assert sum(form.categories.values()) == pytest.approx(1)


def test_all_labels_of_the_shipped_table_give_it_again() -> None:
    table = load_forms()
    assert table_of_labels(table.ids, load_categories()) == table


def test_only_labels_that_occur_and_no_item_last() -> None:
    table = table_of_labels(["textile", "", "foil", "foil"], load_categories())
    assert table.ids == ["foil", "textile", NON_ITEM]
    assert table.materials == ["metal", "textile"]
    assert table.parents("material") == [0, 1, -1]
    assert table.parents("stream") == [
        table.streams.index("dry"),
        table.streams.index("textiles"),
        -1,
    ]


def test_categories_of_the_log_are_labels_too() -> None:
    table = table_of_labels(["pet_bottles", "gas_cylinders", "food"], load_categories())
    # Food is a form as well as a category: the form is meant.
    assert table.ids == ["food", "pet_bottles", "gas_cylinders", NON_ITEM]
    _, bottles, cylinders, _ = table.forms
    assert (bottles.categories, bottles.material, bottles.stream) == (
        {"pet_bottles": 1.0},
        "plastic",
        "dry",
    )
    assert (cylinders.categories, cylinders.material) == ({"gas_cylinders": 1.0}, "miscellaneous")


@pytest.mark.parametrize("labels", [[], ["food"], ["food", NON_ITEM, ""]])
def test_one_kind_of_item_can_not_be_told_from_another(labels: list[str]) -> None:
    with pytest.raises(DataFileError, match="at least 2 are needed"):
        table_of_labels(labels, load_categories())
