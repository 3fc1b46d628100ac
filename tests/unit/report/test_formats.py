from __future__ import annotations

import csv
import json
from dataclasses import fields, replace
from datetime import date
from io import StringIO

import pytest

from classifier.csv_text import safe_cell
from classifier.log.ledger import fold
from classifier.log.records import DetailChange, SortCorrection
from classifier.report.as_json import report_json
from classifier.report.build import build_report
from classifier.report.dictionary import DATA_DICTIONARY, MEASURES
from classifier.report.item_weights import load_prior_weights
from classifier.report.lines import Report
from classifier.report.national import load_national
from classifier.report.rows import Row, dictionary_csv, report_csv, report_rows
from tests.unit.rows import a_batch, a_change, a_sort, a_void, a_weighing, an_item, at, too_light
from tests.unit.rules.small_programme import small_categories, small_programme


@pytest.fixture
def report() -> Report:
    """Return a report in which every kind of figure occurs."""
    ledger = fold(
        replace(a_sort(), name="=HYPERLINK(1)", sorters=("Ann", "Ben")),
        [
            an_item("i1", count=3, suggested="food"),
            an_item("i2", route="deposit_return"),
            an_item("i3", "food", route="organics", model_version=None),
            an_item("i4", "plastic_film", route="residual", count=5),
            an_item("i5", "aluminium_cans", count=10),
            an_item("i6", "batteries", route="special_collection"),
            an_item("i7", "food", route="organics"),
        ],
        [a_change("c1", "i3", count=2), a_change("c2", "i7", "void")],
        [
            a_batch("b1"),
            a_batch("b2", "food"),
            a_batch("b3", "plastic_film"),
            a_batch("b4", "batteries"),
        ],
        [
            a_weighing("w1", "b1"),
            a_weighing("w2", "b2", gross="3.1", tare="0.1"),
            a_weighing("w4", "b2", gross="9"),
            too_light("w3", "b3"),
            too_light("w5", "b3"),
        ],
        [a_void("v1", "w4"), a_void("v2", "w5")],
    )
    return build_report(
        ledger,
        small_categories(),
        small_programme(),
        priors=load_prior_weights(),
        national=load_national(),
    )


def figure(report: Report, level: str, id_: str, measure: str, basis: str) -> Row:
    (row,) = [
        row
        for row in report_rows(report)
        if (row["level"], row["id"], row["measure"], row["basis"]) == (level, id_, measure, basis)
        and row["unit"] != "lb"
    ]
    return row


def test_json_is_plain_and_its_documented_keys_are_there(report: Report) -> None:
    found = report_json(report)
    assert json.loads(json.dumps(found)) == found
    assert list(found) == [
        "format",
        "format_version",
        "sort",
        "categories_version",
        "programme",
        "programme_versions",
        "models",
        "total",
        "per_person_week",
        "categories",
        "groups",
        "routes",
        "kinds",
        "below_resolution",
        "not_weighed",
        "estimates",
        "count_estimates",
        "item_weights",
        "far_item_weights",
        "corrections",
        "national",
        "notes",
    ]
    documented = report_json.__globals__["__doc__"]
    for key in found:
        assert f"`{key}`" in documented
    # Everything that a page shows must be in the JSON too.
    renamed = {"rate": "per_person_week"}
    assert {renamed.get(field.name, field.name) for field in fields(Report)} <= set(found)


def test_json_keeps_measured_below_and_estimated_apart(report: Report) -> None:
    total = report_json(report)["total"]
    assert total == {
        "items": 6,
        "count": 22,
        "batches": 4,
        "weighings": 3,
        "net_g": {"value": 4000.0, "low": 3980.0, "high": 4020.0},
        "below_resolution_g": 10.0,
        "estimated_g": 152.725,
        "unweighed_count": 11,
    }


def test_json_lines(report: Report) -> None:
    found = report_json(report)
    by_id = {line["id"]: line for line in found["categories"]}
    assert by_id["food"] == {
        "id": "food",
        "name": "Food",
        "group": "organics",
        "items": 1,
        "count": 2,
        "batches": 1,
        "weighed": "measured",
        "net_g": {"value": 3000.0, "low": 2990.0, "high": 3010.0},
        "below_resolution_g": None,
        "unweighed_count": 0,
        "unplaced_count": 0,
        "share_weight": {"value": 0.75, "low": 0.7475, "high": 0.7525},
        "share_with_light_piles": {"low": 0.745636, "high": 0.7525},
        "share_count": 0.090909,
        "mean_item_g": 1500.0,
    }
    assert by_id["plastic_film"]["net_g"] is None
    assert by_id["plastic_film"]["share_weight"] is None
    routes = {line["id"]: line for line in found["routes"]}
    assert routes["kerbside"]["split_estimated_g"] == 750.0
    assert routes["kerbside"]["share_weight_is_estimated"]
    assert routes["kerbside"]["share_weight"] == {"value": 0.1875, "low": 0.0, "high": 0.2525}
    assert found["per_person_week"] == {
        "kg": {"value": 2.0, "low": 1.99, "high": 2.01},
        "lb": {"value": 4.409245, "low": 4.387199, "high": 4.431291},
    }
    corrections = found["corrections"]
    assert isinstance(corrections, dict)
    assert corrections["overruled"][0]["suggested"] == "food"
    assert corrections["corrected"][0]["before"]["count"] == 1
    assert corrections["corrected"][0]["after"]["count"] == 2
    assert corrections["voided_items"][0]["id"] == "i7"
    assert [(w["id"], w["load"], w["gross"]) for w in corrections["voided_weighings"]] == [
        ("w4", 1, "9"),
        ("w5", 1, None),
    ]
    assert found["estimates"][0]["net_g"] == {
        "value": 152.725,
        "low": None,
        "high": None,
    }


def test_json_tells_corrections_of_the_sort(report: Report) -> None:
    changes = (
        DetailChange("days", 7, 14),
        DetailChange("sorted_on", date(2026, 3, 2), date(2026, 3, 3)),
    )
    details = (SortCorrection("k1", changes, "misread", at(5)),)
    said = replace(report, corrections=replace(report.corrections, sort_details=details))
    assert report_json(said)["corrections"]["sort_details"] == [
        {
            "changes": [
                {"field": "days", "before": 7, "after": 14},
                {"field": "sorted_on", "before": "2026-03-02", "after": "2026-03-03"},
            ],
            "reason": "misread",
            "at": at(5).isoformat(),
        }
    ]
    assert report_json(report)["corrections"]["sort_details"] == []


def test_json_without_a_comparison_and_with_an_end_of_validity(report: Report) -> None:
    programme = replace(report.programme, valid_to=report.sort.sorted_on)
    found = report_json(replace(report, national=None, programme=programme))
    assert found["national"] is None
    assert found["programme"]["valid_to"] == "2026-03-02"
    levels = {row["level"] for row in report_rows(replace(report, national=None))}
    assert "national" not in levels


def test_every_row_has_the_documented_columns_measures_and_units(report: Report) -> None:
    names = [column.name for column in DATA_DICTIONARY]
    units = {measure.name: measure.unit.split(", ") for measure in MEASURES}
    seen = set()
    for row in report_rows(report):
        assert list(row) == names
        assert row["unit"] in units[str(row["measure"])]
        seen.add(row["measure"])
        for column in DATA_DICTIONARY:
            cell = row[column.name]
            expected = {"integer": int, "number": (int, float)}.get(column.type, str)
            assert cell is None or isinstance(cell, expected)  # type: ignore[arg-type]
    assert seen == set(units)


def test_every_basis_and_level_is_documented(report: Report) -> None:
    meaning = {column.name: column.meaning for column in DATA_DICTIONARY}
    rows = report_rows(report)
    assert {row["basis"] for row in rows} == {
        "counted",
        "measured",
        "bound",
        "split_by_counts",
        "estimated",
        "published",
    }
    for name in ("basis", "level"):
        assert all(str(row[name]) in meaning[name] for row in rows)


def test_rows_hold_the_figures_of_the_json(report: Report) -> None:
    weight = figure(report, "category", "food", "net_weight", "measured")
    assert (weight["value"], weight["low"], weight["high"], weight["unit"]) == (
        3000.0,
        2990.0,
        3010.0,
        "g",
    )
    assert figure(report, "total", "total", "net_weight", "measured")["value"] == 4000.0
    assert figure(report, "total", "total", "net_weight", "estimated")["value"] == 152.725
    assert figure(report, "total", "total", "per_person_week", "measured")["value"] == 2.0
    split = figure(report, "route", "kerbside", "net_weight", "split_by_counts")
    assert split["value"] == 750.0
    assert figure(report, "route", "kerbside", "net_weight", "measured")["value"] == 0.0
    share = figure(report, "route", "kerbside", "share_by_weight", "split_by_counts")
    assert (share["value"], share["low"], share["high"]) == (0.1875, 0.0, 0.2525)
    below = figure(report, "category", "plastic_film", "weight_below_resolution", "bound")
    assert (below["value"], below["low"], below["high"]) == (None, 0, 10.0)
    unweighed = figure(report, "category", "aluminium_cans", "unweighed_objects", "counted")
    assert unweighed["value"] == 10
    estimate = figure(report, "category", "aluminium_cans", "net_weight", "estimated")
    assert estimate["value"] == 152.725
    assert str(estimate["source"]).endswith("socalrecycling.com/recycling-rates (code B)")
    assert figure(report, "category", "food", "mean_item_weight", "estimated")["value"] == 1500.0
    national = figure(report, "national", "food", "share_generated", "published")
    assert national["value"] == 0.215932
    assert "code C" in str(national["source"])


def test_an_estimate_from_own_piles_names_no_code() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1", batch_id="b1"), an_item("i2", batch_id="b2")],
        batches=[a_batch("b1"), a_batch("b2")],
        weighings=[a_weighing("w1", "b1")],
    )
    report = build_report(ledger, small_categories(), small_programme())
    estimate = figure(report, "category", "pet_bottles", "net_weight", "estimated")
    assert estimate["source"] == "mean item weight of this sort: 1 weighed objects, piles: 1"


def test_an_empty_report_has_total_rows_only() -> None:
    report = build_report(fold(a_sort(), []), small_categories(), small_programme())
    rows = report_rows(report)
    assert {row["level"] for row in rows} == {"total", "kind"}
    assert not [row for row in rows if row["measure"] == "share_by_weight"]


def test_csv_reads_back_and_no_text_can_run_as_a_formula(report: Report) -> None:
    text = report_csv(report)
    assert text.endswith("\r\n")
    rows = list(csv.DictReader(StringIO(text, newline="")))
    assert len(rows) == len(report_rows(report))
    assert {row["sort_name"] for row in rows} == {"'=HYPERLINK(1)"}
    for row in rows:
        assert not [cell for cell in row.values() if cell.startswith(("=", "+", "-", "@"))]


def test_dictionary_csv_lists_columns_and_measures() -> None:
    rows = list(csv.DictReader(StringIO(dictionary_csv(), newline="")))
    assert [row["name"] for row in rows if row["kind"] == "column"] == [
        column.name for column in DATA_DICTIONARY
    ]
    assert len([row for row in rows if row["kind"] == "measure"]) == len(MEASURES)
    assert all(row["meaning"] for row in rows)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff20"])
def test_formula_starts_get_an_apostrophe(start: str) -> None:
    assert safe_cell(f"{start}1+1") == f"'{start}1+1"


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("a;=1+1", "a;'=1+1"),
        ("a; \t@SUM(1)", "a; \t'@SUM(1)"),
        ("=1;-2\n+3", "'=1;'-2\n'+3"),
        ('{"x;\uff0b": 1}', '{"x;\'\uff0b": 1}'),
        ('a;"=1"', 'a;"\'=1"'),
    ],
)
def test_formula_behind_another_separator_gets_one_too(text: str, safe: str) -> None:
    assert safe_cell(text) == safe


@pytest.mark.parametrize("text", ["", "plain", "1=1", "a-b", " =1", "a; b-c", "a;1-1"])
def test_other_texts_are_left_alone(text: str) -> None:
    assert safe_cell(text) == text
