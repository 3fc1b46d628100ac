"""Number of sorting samples by ASTM D5231-92 (DOMAIN.md 1.1)."""

from __future__ import annotations

import pytest

from classifier.estimators.planning import SamplePlan, samples_needed
from classifier.report.planning_table import load_planning_table

# First and last pass at 90 % and 0.10, 90 % and 0.20, 95 % and 0.10: code OWN, from the table.
PASSES = {
    "mixed_paper": ((13.97, 15.87), None, (19.84, 22.22)),
    "newsprint": ((132.57, 134.45), (33.14, 35.15), (188.23, 190.69)),
    "corrugated": ((49.69, 51.63), (12.42, 14.24), (70.56, 73.06)),
    "plastic": ((30.06, 32.08), (7.52, 9.33), (42.68, 45.25)),
    "yard_waste": ((3314.29, 3316.15), (828.57, 830.43), (4705.79, 4708.21)),
    "food_waste": ((24.35, 26.26), (6.09, 8.08), (34.57, 37.17)),
    "wood": ((270.55, 272.42), (67.64, 69.55), (384.15, 386.59)),
    "other_organics": ((389.60, 391.46), (97.40, 99.31), (553.17, 555.60)),
    "ferrous": ((97.40, 99.31), (24.35, 26.26), (138.29, 140.77)),
    "aluminium": ((43.29, 45.26), (10.82, 12.71), (61.46, 64.02)),
    "glass": ((105.69, 107.58), (26.42, 28.49), (150.06, 152.52)),
    "other_inorganics": ((67.64, 69.55), (16.91, 18.79), (96.04, 98.53)),
}
SAMPLES = {
    (0.90, 0.10): (16, 135, 52, 33, 3317, 27, 273, 392, 100, 46, 108, 70),
    (0.90, 0.20): (6, 36, 15, 10, 831, 9, 70, 100, 27, 13, 29, 19),
    (0.95, 0.10): (23, 191, 74, 46, 4709, 38, 387, 556, 141, 65, 153, 99),
}


def plan_of_the_table(level: float, precision: float) -> SamplePlan:
    components = load_planning_table().components
    return samples_needed(
        [float(each.mean) for each in components],
        [float(each.sd) for each in components],
        [each.id for each in components],
        precision=precision,
        level=level,
    )


def test_code_c_worked_example_of_the_standard() -> None:
    """Corrugated, 90 %, e = 0.10: 50 with the normal quantile, then 52 samples."""
    plan = plan_of_the_table(0.90, 0.10)
    corrugated = next(each for each in plan.categories if each.name == "corrugated")
    assert [round(each) for each in corrugated.passes] == [50, 52]
    assert (corrugated.samples, corrugated.settled) == (52, True)


@pytest.mark.parametrize("column", range(3))
def test_own_whole_table(column: int) -> None:
    (level, precision), samples = list(SAMPLES.items())[column]
    plan = plan_of_the_table(level, precision)
    assert tuple(each.samples for each in plan.categories) == samples
    assert (plan.deciding.name, plan.samples) == ("yard_waste", max(samples))
    for line in plan.categories:
        expected = PASSES[line.name][column]
        if expected is not None:
            assert (line.passes[0], line.passes[-1]) == pytest.approx(expected, abs=0.0051)


def test_own_mixed_paper_at_20_percent_never_settles_and_needs_6() -> None:
    line = plan_of_the_table(0.90, 0.20).categories[0]
    assert (line.name, line.settled, line.samples) == ("mixed_paper", False, 6)
