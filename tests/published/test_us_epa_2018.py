"""The ledger of US EPA's 2018 figures closes in every row and column, and gives EPA's own rates.

Source: US EPA, Advancing Sustainable Materials Management: 2018 Tables and Figures (December 2020),
Tables 1-4, million short tons. The ledger is code C (from memory; it closes and agrees with the
headlines); the headlines are code B (seen in stored copies). DOMAIN.md section 2.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from classifier.report.national import Flow, load_national

NATIONAL = load_national()
ROWS = [row for material in NATIONAL.materials for row in material.rows]
FATES = ("recycled", "composted", "other_food", "combusted", "landfilled")


@pytest.mark.parametrize("row", [*ROWS, NATIONAL.total], ids=lambda row: row.name)
def test_code_c_every_row_closes_to_zero(row: Flow) -> None:
    """The printed hundredths add exactly, except that the total row is off by one of them."""
    tolerance = Decimal("0.01") if row.name == "Total" else Decimal(0)
    assert abs(sum(getattr(row, fate) for fate in FATES) - row.generated) <= tolerance


@pytest.mark.parametrize("column", ["generated", *FATES])
def test_code_c_every_column_adds_to_its_total(column: str) -> None:
    """To the hundredth; the combusted rows add to 34.55 against a printed 34.56 (rounding)."""
    tolerance = Decimal("0.01") if column == "combusted" else Decimal(0)
    added = sum(getattr(row, column) for row in ROWS)
    assert abs(added - getattr(NATIONAL.total, column)) <= tolerance


@pytest.mark.parametrize(
    ("name", "generated_percent", "landfilled_percent"),
    [
        ("Paper and paperboard", "23.05", "11.78"),
        ("Glass", "4.19", "5.17"),
        ("All metals", "8.76", "9.53"),
        ("Plastics", "12.20", "18.46"),
        ("Rubber and leather", "3.13", "3.42"),
        ("Textiles", "5.83", "7.73"),
        ("Wood", "6.19", "8.32"),
        ("Food", "21.59", "24.14"),
        ("Yard trimmings", "12.11", "7.21"),
    ],
)
def test_code_c_generation_and_landfill_shares_are_kept_apart(
    name: str, generated_percent: str, landfilled_percent: str
) -> None:
    """A trade summary printed generation shares as landfill shares: both columns are checked."""
    (material,) = [each for each in NATIONAL.materials if each.name == name]
    generated = 100 * material.generated / NATIONAL.total.generated
    landfilled = 100 * material.landfilled / NATIONAL.total.landfilled
    assert round(generated, 2) == Decimal(generated_percent)
    assert round(landfilled, 2) == Decimal(landfilled_percent)


def test_code_b_headlines_follow_from_the_ledger() -> None:
    """EPA prints one decimal; 32.15 % is printed as 32.1."""
    total, printed = NATIONAL.total, NATIONAL.headline
    tenth = Decimal("0.05")
    recovered = 100 * (total.recycled + total.composted) / total.generated
    assert abs(total.generated - printed["generated"]) <= tenth
    assert abs(total.landfilled - printed["landfilled"]) <= tenth
    assert abs(recovered - printed["recycled_and_composted_percent"]) <= tenth
    assert abs(100 * total.recycled / total.generated - printed["recycled_percent"]) <= tenth
    assert abs(100 * total.combusted / total.generated - printed["combusted_percent"]) <= tenth
    assert abs(100 * total.landfilled / total.generated - printed["landfilled_percent"]) <= tenth


def test_code_b_4_9_lb_per_person_and_day() -> None:
    pounds = NATIONAL.total.generated * 2000 / NATIONAL.population_million / 365
    assert round(pounds, 3) == Decimal("4.896")
    assert round(pounds, 1) == NATIONAL.headline["generated_lb_per_person_day"] == Decimal("4.9")


def test_codes_and_warnings_travel_with_the_figures() -> None:
    assert (NATIONAL.ledger_code, NATIONAL.headline_code) == ("C", "B")
    assert any("not sort data" in warning for warning in NATIONAL.warnings)
    assert any("construction debris" in warning for warning in NATIONAL.warnings)
