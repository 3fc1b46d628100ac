"""Properties of the report: parts add up, and measured and estimated stay apart."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from classifier.log.ledger import Ledger
from classifier.log.quantities import ZERO_MASS, Mass, sum_masses
from classifier.report.as_json import report_json
from classifier.report.build import build_report
from classifier.report.item_weights import load_prior_weights
from classifier.report.lines import Report, RouteLine
from classifier.report.national import load_national
from classifier.report.rows import report_csv
from classifier.report.shares import Range, share_of, subtract
from tests.property.logs import Log, logs
from tests.unit.rules.small_programme import small_categories, small_programme

CATEGORIES, PROGRAMME = small_categories(), small_programme()
PRIORS, NATIONAL = load_prior_weights(), load_national()
NEARLY = Decimal("1e-20")

masses = st.lists(
    st.tuples(st.integers(0, 1000), st.integers(0, 100), st.integers(0, 100)).map(
        lambda t: Mass(Decimal(t[0]), Decimal(max(0, t[0] - t[1])), Decimal(t[0] + t[2]))
    ),
    min_size=1,
    max_size=6,
)


def report_of(ledger: Ledger) -> Report:
    return build_report(ledger, CATEGORIES, PROGRAMME, priors=PRIORS, national=NATIONAL)


@given(logs())
def test_categories_groups_and_routes_add_up_to_the_total(log: Log) -> None:
    report = report_of(log.fold())
    total = report.total
    assert sum_masses([line.mass or ZERO_MASS for line in report.categories]) == total.mass
    assert sum_masses([line.mass or ZERO_MASS for line in report.groups]) == total.mass
    ways: tuple[tuple[RouteLine, ...], ...] = (report.routes, report.kinds)
    for lines in ways:
        measured = sum_masses([line.measured for line in lines]).value_g
        split = sum((line.split_g for line in lines), Decimal(0))
        assert abs(measured + split - total.mass.value_g) < NEARLY
        assert sum(line.count for line in lines) == total.count
        assert sum(line.items for line in lines) == total.items
    if total.count:
        shares = sum((line.share_count for line in report.categories), Decimal(0))
        assert abs(shares - 1) < NEARLY


def ends_of(share: Range) -> tuple[Decimal, Decimal]:
    """Return the bounds of a weighed share, which always has them."""
    assert share.low is not None
    assert share.high is not None
    return share.low, share.high


@given(logs())
def test_every_share_lies_within_its_bounds(log: Log) -> None:
    report = report_of(log.fold())
    shares = [
        *(line.share_weight for line in report.categories),
        *(line.share_weight for line in report.groups),
        *(line.share_weight for line in report.routes),
        *(line.share_weight for line in report.kinds),
    ]
    for share in shares:
        if share is not None:
            low, high = ends_of(share)
            assert 0 <= low <= share.value + NEARLY
            assert share.value <= high + NEARLY <= 1 + 2 * NEARLY


@given(logs(), st.data())
def test_any_weights_within_their_bounds_have_shares_within_theirs(
    log: Log, data: st.DataObject
) -> None:
    """Light piles too: whatever each weighs, every share lies where the report says."""
    ledger = log.fold()
    report = report_of(ledger)
    true: dict[str, Decimal] = {}
    for pile in ledger.batches:
        bounds = (pile.mass.low_g, pile.mass.high_g) if pile.mass else (Decimal(0), pile.below_g)
        if bounds[1] is not None:
            part = data.draw(st.integers(0, 100))
            grams = bounds[0] + (bounds[1] - bounds[0]) * part / 100
            true[pile.batch.category] = true.get(pile.batch.category, Decimal(0)) + grams
    total = sum(true.values(), Decimal(0))
    for line in report.categories:
        assert (line.share_range is None) == (line.category not in true)
        if line.share_range is not None and total:
            share = true[line.category] / total
            assert line.share_range.low - NEARLY <= share <= line.share_range.high + NEARLY
            if line.share_weight is not None:
                low, high = ends_of(line.share_weight)
                assert line.share_range.low <= low + NEARLY
                assert high <= line.share_range.high + NEARLY


@given(logs())
def test_priors_change_estimates_and_nothing_measured(log: Log) -> None:
    ledger = log.fold()
    with_priors = report_of(ledger)
    without = build_report(ledger, CATEGORIES, PROGRAMME, national=NATIONAL)
    assert (
        replace(
            without,
            estimates=with_priors.estimates,
            count_estimates=with_priors.count_estimates,
            notes=with_priors.notes,
            total=replace(without.total, estimated_g=with_priors.total.estimated_g),
        )
        == with_priors
    )


@given(logs())
def test_every_report_can_be_written(log: Log) -> None:
    report = report_of(log.fold())
    assert json.loads(json.dumps(report_json(report))) == report_json(report)
    assert report_csv(report).count("\r\n") > 1


def shares_of_all(found: list[Mass]) -> tuple[Range | None, ...]:
    """Return the share of each mass in the sum of all."""
    total = sum_masses(found)
    return tuple(share_of(mass, subtract(total, mass)) for mass in found)


@given(masses, st.integers(1, 1000))
def test_shares_do_not_change_with_the_unit(found: list[Mass], times: int) -> None:
    scaled = [Mass(m.value_g * times, m.low_g * times, m.high_g * times) for m in found]
    for before, after in zip(shares_of_all(found), shares_of_all(scaled), strict=True):
        assert (before is None) == (after is None)
        if before is not None and after is not None:
            assert abs(before.value - after.value) < NEARLY
            for one, other in zip(ends_of(before), ends_of(after), strict=True):
                assert abs(one - other) < NEARLY


@given(masses)
def test_shares_follow_a_permutation(found: list[Mass]) -> None:
    assert shares_of_all(found[::-1]) == shares_of_all(found)[::-1]


@given(masses, st.data())
def test_any_masses_within_their_bounds_have_shares_within_theirs(
    found: list[Mass], data: st.DataObject
) -> None:
    true: list[int] = [data.draw(st.integers(int(m.low_g), int(m.high_g))) for m in found]
    total = sum(true)
    shares: tuple[Range | None, ...] = shares_of_all(found)
    for mass, share in zip(true, shares, strict=True):
        if share is not None and total:
            low, high = ends_of(share)
            assert low - NEARLY <= Decimal(mass) / total <= high + NEARLY
