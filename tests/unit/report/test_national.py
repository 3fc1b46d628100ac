from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.log.quantities import ZERO_MASS, Mass
from classifier.report.national import (
    SHIPPED_NATIONAL,
    Comparison,
    ComparisonLine,
    compare,
    load_national,
)
from classifier.rules.categories import load_categories


def exactly(grams: int) -> Mass:
    return Mass(Decimal(grams), Decimal(grams), Decimal(grams))


def line_of(comparison: Comparison, material: str) -> ComparisonLine:
    (line,) = [line for line in comparison.lines if line.material == material]
    return line


def test_every_category_has_a_counterpart_or_a_reason_for_none() -> None:
    national = load_national()
    matched = [category for material in national.materials for category in material.categories]
    listed = [*matched, *national.no_counterpart]
    assert sorted(listed) == sorted(category.id for category in load_categories().categories)
    assert national.no_counterpart_reason


def test_shares_stand_beside_each_other_and_generation_apart_from_landfill() -> None:
    found = compare(
        load_national(),
        {"cartons": exactly(100), "tissue": exactly(100), "pet_bottles": exactly(200)},
    )
    paper = line_of(found, "paper")
    assert paper.mass == exactly(200)
    assert paper.ours is not None
    assert paper.ours.value == Decimal("0.5")
    assert round(paper.generated_share, 4) == Decimal("0.2305")
    assert round(paper.landfilled_share, 4) == Decimal("0.1178")


def test_goods_of_several_materials_are_not_compared() -> None:
    found = compare(load_national(), {"batteries": exactly(100), "food": exactly(300), "new": None})
    assert found.not_compared.mass == exactly(100)
    assert found.not_compared.share is not None
    assert found.not_compared.share.value == Decimal("0.25")
    assert found.not_compared.categories == ("batteries", "new")


def test_found_and_not_weighed_is_not_the_same_as_not_found() -> None:
    found = compare(load_national(), {"food": exactly(300), "textiles": None, "cartons": None})
    assert (line_of(found, "textiles").mass, line_of(found, "textiles").ours) == (None, None)
    glass = line_of(found, "glass")
    assert glass.mass == ZERO_MASS
    assert glass.ours is not None
    assert glass.ours.value == 0


def test_nothing_weighed_gives_no_shares() -> None:
    found = compare(load_national(), {})
    assert {line.ours for line in found.lines} == {None}
    assert found.not_compared.share is None


def test_materials_that_we_have_no_category_for_have_no_line() -> None:
    lines = compare(load_national(), {}).lines
    assert "misc_inorganic" not in {line.material for line in lines}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('landfilled = "146.12"', 'landfilled = "x"', '"landfilled" is not a number above 0'),
        ('id = "paper"', 'id = "Paper!"', '"Paper!" is no id'),
        ('ledger_code = "C"', 'ledger_code = "Z"', 'unknown confidence code "Z"'),
        ('generated = "292.36"', "", '"generated" is missing or empty'),
        ("reason = ", "why = ", 'unknown key "why"'),
    ],
)
def test_mistakes_in_the_file_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    text = SHIPPED_NATIONAL.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "national.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(DataFileError, match=message):
        load_national(path)
