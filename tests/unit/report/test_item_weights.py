from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.log.ledger import fold
from classifier.log.piles import BatchTotal
from classifier.log.records import Item
from classifier.report.item_weights import OwnWeight, load_prior_weights, own_item_weight
from classifier.rules.categories import load_categories
from tests.unit.rows import a_batch, a_sort, a_weighing, an_item, too_light

GOOD = """version = "1"
caution = "Empty ones."
[[weight]]
category = "pet_bottles"
material = "PET"
containers_per_lb = "24.3"
date = "2022"
source = "somewhere"
code = "B"
"""


def piles(*items: Item, contents_left: bool = False) -> tuple[BatchTotal, ...]:
    """Return two weighed piles of 1000 g and one too light to weigh."""
    return fold(
        a_sort(),
        items,
        batches=[a_batch("b1"), a_batch("b2"), a_batch("b3")],
        weighings=[
            a_weighing("w1", "b1", contents_left=contents_left),
            a_weighing("w2", "b2"),
            too_light("w3", "b3"),
        ],
    ).batches


def test_own_weight_is_a_ratio_of_sums_over_piles_with_both() -> None:
    own = own_item_weight(
        piles(an_item("i1", batch_id="b1", count=30), an_item("i2", batch_id="b2", count=10))
    )
    assert own == OwnWeight(Decimal(2000) / 40, 2, 40)


def test_piles_without_a_count_or_a_weight_tell_nothing() -> None:
    own = own_item_weight(
        piles(an_item("i1", batch_id="b1", count=20), an_item("i3", batch_id="b3", count=9))
    )
    assert own == OwnWeight(Decimal(50), 1, 20)
    assert own_item_weight(piles()) is None


def test_piles_with_contents_left_tell_nothing() -> None:
    assert own_item_weight(piles(an_item("i1", batch_id="b1"), contents_left=True)) is None


def test_a_pile_that_grew_after_its_weighing_tells_nothing() -> None:
    grown = piles(an_item("i1", batch_id="b1"), an_item("i2", batch_id="b1", minute=15))
    assert own_item_weight(grown) is None


def test_a_pile_weighed_first_and_counted_later_is_used() -> None:
    own = own_item_weight(piles(an_item("i1", batch_id="b1", count=10, minute=15)))
    assert own == OwnWeight(Decimal(100), 1, 10)


def test_shipped_priors_name_known_categories() -> None:
    known = {category.id for category in load_categories().categories}
    priors = load_prior_weights()
    assert {weight.category for weight in priors.weights} <= known
    assert [w.containers_per_lb for w in priors.of("pet_bottles")] == [
        Decimal("24.3"),
        Decimal("22.6"),
    ]
    assert priors.of("food") == ()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"24.3"', '"0"', 'line 6: "containers_per_lb" is not a number above 0. Write contain'),
        ('"24.3"', '"many"', 'line 6: "containers_per_lb" is not a number above 0'),
        ('"24.3"', '""', 'line 6: "containers_per_lb" is missing or empty'),
        ('code = "B"', 'code = "E"', 'line 9: unknown confidence code "E"'),
        ('date = "2022"', 'when = "2022"', 'line 7: unknown key "when"'),
        ('version = "1"', 'versoin = "1"', 'line 1: unknown key "versoin". Did you mean "version"'),
    ],
)
def test_mistakes_in_the_table_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "weights.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_prior_weights(path).weights[0].code == "B"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(DataFileError, match=message):
        load_prior_weights(path)
