"""Properties of the fold: order and repetition of rows change nothing, and nothing is lost."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from classifier.log.quantities import Mass, sum_masses
from classifier.log.weighing import net_mass
from tests.property.logs import Log, logs
from tests.unit.rows import a_weighing


@given(logs(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(log: Log, random: Random) -> None:
    shuffled = replace(log, **{name: _shuffled(rows, random) for name, rows in vars(log).items()})
    assert shuffled.fold() == log.fold()


@given(logs())
def test_confirming_twice_equals_once(log: Log) -> None:
    doubled = replace(log, **{name: [*rows, *rows] for name, rows in vars(log).items()})
    assert doubled.fold() == log.fold()


@given(logs())
def test_every_object_is_counted_once(log: Log) -> None:
    ledger = log.fold()
    assert len(ledger.items) + len(ledger.voided) == len(log.items)
    objects = sum(item.count for item in ledger.items)
    assert sum(total.count for total in ledger.categories) == objects
    in_piles = sum(pile.count for pile in ledger.batches)
    loose = sum(item.count for total in ledger.categories for item in total.loose)
    assert in_piles + loose == objects


@given(logs())
def test_every_weighing_stands_or_is_voided(log: Log) -> None:
    ledger = log.fold()
    standing = sum(len(pile.weighings) for pile in ledger.batches)
    assert standing + len(ledger.voided_weighings) == len(log.weighings)


@given(logs())
def test_a_mass_lies_within_its_bounds(log: Log) -> None:
    for pile in log.fold().batches:
        if pile.mass is not None:
            assert 0 <= pile.mass.low_g <= pile.mass.value_g <= pile.mass.high_g
            assert (pile.state, pile.below_g) == ("measured", None)


@given(logs())
def test_loads_weigh_together_what_they_weigh_as_piles_of_their_own(log: Log) -> None:
    """Each load of a pile as a pile for itself: values and bounds have the same sums."""
    piles = {batch.id: batch for batch in log.batches}
    of = {row.id: f"{row.batch_id}/{row.load}" for row in log.weighings}
    apart = replace(
        log,
        batches=[
            replace(piles[own.partition("/")[0]], id=own, label=own) for own in {*of.values()}
        ],
        weighings=[replace(row, batch_id=of[row.id], load=1) for row in log.weighings],
    )
    alone = {pile.batch.id: pile for pile in apart.fold().batches}
    for pile in log.fold().batches:
        parts = [alone[own] for own in {of[row.id] for row in pile.weighings}]
        below = sum((part.below_g for part in parts if part.below_g is not None), Decimal(0))
        masses = [part.mass for part in parts if part.mass is not None]
        if masses:
            whole = sum_masses([*masses, Mass(Decimal(0), Decimal(0), below)])
            assert pile.mass is not None
            for name in ("value_g", "low_g", "high_g"):  # thirds of a gram are rounded at 28 digits
                off = getattr(pile.mass, name) - getattr(whole, name)
                assert abs(off) < Decimal("1e-15")
        else:
            assert (pile.mass, pile.below_g or 0) == (None, below)
        assert pile.spread_explained == all(part.spread_explained for part in parts)


@given(
    st.integers(0, 10**6), st.integers(1, 10**6), st.sampled_from(["0.001", "0.01", "0.05", "0.1"])
)
def test_the_true_net_lies_within_the_bounds(tare_mg: int, net_mg: int, resolution: str) -> None:
    """Simulate the scale: true masses are shown rounded to the resolution (kg, here from mg)."""
    step = Decimal(resolution)
    true_tare, true_net = Decimal(tare_mg) / 10**6, Decimal(net_mg) / 10**6
    tare = (true_tare / step).quantize(Decimal(1)) * step
    gross = ((true_tare + true_net) / step).quantize(Decimal(1)) * step
    if gross > tare:
        shown = a_weighing("w", gross=str(gross), tare=str(tare), resolution=resolution)
        # A tare of exactly 0 stands for "no container", which this scale can't know.
        slack = step * 500 if tare == 0 else 0
        mass = net_mass(shown)
        assert mass.low_g - slack <= true_net * 1000 <= mass.high_g + slack


def _shuffled(rows: list[Any], random: Random) -> list[Any]:
    copy = list(rows)
    random.shuffle(copy)
    return copy
