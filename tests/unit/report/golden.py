"""The report of a fixed small sort in which every kind of line occurs, and its JSON on file.

`python -m tests.unit.report.golden --write` makes the file again, after a change of the format that
is meant and that `format_version` and the documented keys follow.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from classifier.estimators.conversion import fit_item_weight
from classifier.log.ledger import fold
from classifier.log.records import DetailChange, SortCorrection
from classifier.report.as_json import report_json
from classifier.report.build import build_report
from classifier.report.conversions import FarFromUsual, ItemWeights, PooledWeight
from classifier.report.item_weights import load_prior_weights
from classifier.report.lines import Report
from classifier.report.national import load_national
from tests.unit.rows import a_batch, a_change, a_sort, a_void, a_weighing, an_item, at, too_light
from tests.unit.rules.small_programme import small_categories, small_programme

GOLDEN = Path(__file__).with_name("golden.json")


def golden_report() -> Report:
    """Return the report: measured, too light, unweighed, estimated, corrected and compared."""
    items = [
        an_item("i1", count=3, suggested="food", batch_id="b1"),
        an_item("i2", route="deposit_return", batch_id="b1"),
        an_item("i3", "food", route="organics", model_version=None),
        an_item("i4", "plastic_film", route="residual", count=5),
        an_item("i5", "textiles", count=10, suggested="textiles"),
        an_item("i6", "batteries", route="special_collection"),
        an_item("i7", "food", route="organics"),
        an_item("i8", "no_longer_listed", route=None, programme_version="2025-4"),
        an_item("i9", batch_id="b5", count=7),
    ]
    ledger = fold(
        replace(a_sort(), name="Week 10: \u201ebags\u201c", sorters=("Ann", "Ben")),
        items,
        [a_change("c1", "i3", count=2), a_change("c2", "i7", "void")],
        [
            a_batch("b1"),
            a_batch("b2", "food"),
            a_batch("b3", "plastic_film"),
            a_batch("b4", "batteries"),
            a_batch("b5"),
            a_batch("b6", "aluminium_cans"),
        ],
        [
            a_weighing("w1", "b1"),
            a_weighing("w2", "b2", gross="3.1", tare="0.1"),
            a_weighing("w4", "b2", gross="9", minute=11),
            too_light("w3", "b3"),
            too_light("w5", "b3"),
            a_weighing("w6", "b6", gross="1.517", tare="0.2", resolution="0.001"),
        ],
        [a_void("v1", "w4"), a_void("v2", "w5")],
    )
    return build_report(
        ledger,
        small_categories(),
        replace(small_programme(), valid_to=date(2026, 12, 31)),
        priors=load_prior_weights(),
        national=load_national(),
        item_weights=_item_weights(),
        sort_corrections=[
            SortCorrection(
                "k1",
                (
                    DetailChange("days", 6, 7),
                    DetailChange("sorted_on", date(2026, 3, 1), date(2026, 3, 2)),
                ),
                "misread",
                at(5),
            )
        ],
    )


def _item_weights() -> ItemWeights:
    fit = fit_item_weight([250, 510, 365], [10, 20, 15])
    bottles = PooledWeight("pet_bottles", Decimal(25), 3, 45, 2, fit)
    food = PooledWeight("food", Decimal(100), 1, 4, 1, None)
    far = FarFromUsual("b1", Decimal(250), Decimal(20), Decimal("40.5"), "from 6 other piles")
    words = "the 2 sorts of the study 'Flats'"
    return ItemWeights("study", words, {"pet_bottles": bottles, "food": food}, (far,))


def written() -> str:
    """Return the JSON as an export writes it."""
    return json.dumps(report_json(golden_report()), ensure_ascii=False, indent=2) + "\n"


if __name__ == "__main__" and "--write" in sys.argv:
    GOLDEN.write_text(written(), encoding="utf-8")
