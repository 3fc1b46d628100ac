"""How often each interval of a study report holds the truth: `python -m tests.coverage_table`.

Invented studies with zeros, heavy tails, light categories and few sorts (tests/property/
study_generator.py), seeded, 2,000 for each line. `--write` keeps the result as the data that the
technical annex quotes; `--studies 200` is a quick look.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.special import stdtrit

from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.estimators.rates import recovery_potential, recovery_rates
from classifier.estimators.result import Estimate
from classifier.estimators.sample_shares import CategoryMeans, per_person, shares_of_study
from classifier.estimators.strata import Amount, combine_strata, difference, scale_to_population
from classifier.estimators.study_bootstrap import bootstrap_study
from classifier.study.coverage import SHIPPED
from tests.simulated.study_generator import (
    _SIZE_SIGMA,
    KINDS,
    Floats,
    draw_sorts,
    true_mean_shares,
    true_ratio,
)

LEVEL = 0.90
STUDIES = 2000
CLASSES = {
    "always": [k for k, kind in enumerate(KINDS) if kind.found == 1.0],
    "often": [k for k, kind in enumerate(KINDS) if 0.5 <= kind.found < 1.0],
    "rare": [k for k, kind in enumerate(KINDS) if kind.found < 0.5],
}
# The second stratum: other people, with more food and less paper.
OTHER = np.array([1.5, 0.6, 1.0, 0.7, 1.3, 1.0, 0.5, 1.5, 0.9])
WEIGHTS = (0.7, 0.3)
# What part of each category goes into the recycling container, and whether it is accepted there.
RIGHT = np.array([0.02, 0.7, 0.25, 0.7, 0.1, 0.65, 0.15, 0.2, 0.08])
ACCEPTED = np.array([0, 1, 0, 1, 0, 1, 0, 0, 0], dtype=bool)
WHAT_IF = ACCEPTED | (np.arange(9) == 2)
POPULATION = 1000.0
_POPULATION_ERROR = 30.0
# Photographed items: shares of eight categories, and how the network errs.
SHARES = np.array([0.30, 0.22, 0.16, 0.12, 0.09, 0.06, 0.03, 0.02])
_BIAS = np.sqrt(SHARES) / np.sqrt(SHARES).sum()
CALLED = 0.25 * _BIAS[:, None] + 0.75 * np.eye(8)  # P(called = row | true = column)
_PHOTOS = 1000

Covered = Callable[[np.random.Generator, int], Floats]


@dataclass(frozen=True)
class Line:
    """One interval: its measure, its words, the numbers of sorts tried, and one study of it."""

    measure: str
    words: str
    sizes: tuple[int, ...]
    one: Covered
    classes: dict[str, list[int]]


def held(means: CategoryMeans, truth: Floats) -> Floats:
    half = stdtrit(means.df, 0.5 + LEVEL / 2) * np.sqrt(means.variance)
    return np.asarray(np.abs(means.value - truth) <= half, dtype=float)


def holds(estimates: Any, truth: Any) -> Floats:
    pairs = zip(estimates, np.atleast_1d(truth), strict=True)
    return np.array([float(each.low <= value <= each.high) for each, value in pairs])


@lru_cache(maxsize=1)
def truth() -> dict[str, Floats]:
    """Return what is true of the invented population, from a million sorts where need be."""
    generator = np.random.default_rng(99)
    other = draw_sorts(generator, 1_000_000) * OTHER
    other_shares = (other / other.sum(axis=1, keepdims=True)).mean(axis=0)
    mean = true_mean_shares()
    a, u, m, o = (each.sum() for each in streams(generator, 1_000_000))
    ratio = true_ratio()
    return {
        "mean": mean,
        "ratio": ratio,
        "strata": WEIGHTS[0] * mean + WEIGHTS[1] * other_shares,
        "difference": other_shares - mean,
        "rates": np.array([u / (a + u), a / (a + m), (a + u) / (a + u + m + o),
                           a / (a + u + m + o)]),
        "potential": np.array([ratio[ACCEPTED].sum(), ratio[WHAT_IF].sum()]),
    }  # fmt: skip


def streams(generator: np.random.Generator, n: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Return accepted, not accepted, missed and other grams of n households."""
    grams = draw_sorts(generator, n)
    care = np.exp(generator.normal(0, 0.3, (n, 1)))
    part = np.clip(RIGHT * care, 0, 0.97)
    recycling, refuse = grams * part, grams * (1 - part)
    return (
        recycling[:, ACCEPTED].sum(axis=1),
        recycling[:, ~ACCEPTED].sum(axis=1),
        refuse[:, ACCEPTED].sum(axis=1),
        refuse[:, ~ACCEPTED].sum(axis=1),
    )


def _shares(estimator: str, key: str) -> Covered:
    return lambda generator, n: held(
        shares_of_study(draw_sorts(generator, n), estimator=estimator),  # type: ignore[arg-type]
        truth()[key],
    )


def _bootstrap(estimator: str, key: str) -> Covered:
    def one(generator: np.random.Generator, n: int) -> Floats:
        estimates = bootstrap_study(
            [draw_sorts(generator, n)], estimator=estimator, draws=500,  # type: ignore[arg-type]
            level=LEVEL, seed=int(generator.integers(2**31)),
        )  # fmt: skip
        return holds(estimates, truth()[key])

    return one


def _pair(generator: np.random.Generator, n: int) -> tuple[CategoryMeans, CategoryMeans]:
    first = shares_of_study(draw_sorts(generator, n - n // 2))
    return first, shares_of_study(draw_sorts(generator, n // 2) * OTHER)


def _strata(generator: np.random.Generator, n: int) -> Floats:
    return held(combine_strata(_pair(generator, n), WEIGHTS), truth()["strata"])


def _difference(generator: np.random.Generator, n: int) -> Floats:
    one, other = _pair(generator, n)
    return held(difference(other, one), truth()["difference"])


def _population(generator: np.random.Generator, n: int) -> Floats:
    weighed = POPULATION + _POPULATION_ERROR * generator.standard_normal()
    shares = shares_of_study(draw_sorts(generator, n), estimator="ratio of sums")
    totals = scale_to_population(shares, Amount(weighed, _POPULATION_ERROR, "t"))
    return held(totals, POPULATION * truth()["ratio"])


def _person(generator: np.random.Generator, n: int) -> Floats:
    people = np.arange(1, 6)
    chance = np.array([0.28, 0.35, 0.16, 0.15, 0.06])
    persons = generator.choice(people, n, p=chance)
    grams = draw_sorts(generator, n) * persons[:, None] ** 0.8
    # The mean of households' sizes, whose logarithm is centred at 0, is above 1.
    size = np.exp(_SIZE_SIGMA**2 / 2)
    means = size * np.array([kind.grams * kind.found for kind in KINDS])
    true = means * (chance @ people**0.8) / (chance @ people)
    return held(per_person(grams, persons, np.full(n, 7)), true)


def _rates(generator: np.random.Generator, n: int) -> Floats:
    rates = recovery_rates(*streams(generator, n), level=LEVEL)
    estimates = (
        rates.contamination, rates.capture, rates.gross_diversion, rates.net_diversion
    )  # fmt: skip
    return holds(estimates, truth()["rates"])


def _potential(generator: np.random.Generator, n: int) -> Floats:
    answer = recovery_potential(draw_sorts(generator, n), ACCEPTED, WHAT_IF, level=LEVEL)
    now, then = truth()["potential"]
    return holds((answer.now, answer.then, answer.change), np.array([now, then, then - now]))


def _audits(generator: np.random.Generator, n: int) -> Floats:
    true = generator.choice(8, _PHOTOS, p=SHARES)
    above = generator.random(_PHOTOS) > CALLED.cumsum(axis=0)[:, true]
    called = np.minimum(above.sum(axis=0), 7)
    seen = generator.permutation(_PHOTOS)[:n]
    table = np.zeros((8, 8))
    np.add.at(table, (called[seen], true[seen]), 1)
    names = [f"c{k}" for k in range(8)]
    pooled = pool_sparse_strata(table, np.bincount(called, minlength=8), strata=names)
    shares: tuple[Estimate, ...] = post_stratified_counts(
        pooled.confusion, pooled.stratum_counts, categories=names, strata=pooled.strata,
        blind=True, level=LEVEL,
    ).shares  # fmt: skip
    return holds(shares, np.bincount(true, minlength=8) / _PHOTOS)


_SORTS = (5, 10, 20, 50, 100)
_FEWER = (10, 20, 50)
_ALL = {"all": [0]}
LINES = (
    Line("share_mean", "t interval of the mean of sample shares", _SORTS,
         _shares("mean of sample shares", "mean"), CLASSES),
    Line("share_ratio", "t interval of the ratio of sums", _SORTS,
         _shares("ratio of sums", "ratio"), CLASSES),
    Line("share_mean_bootstrap", "bootstrap (percentile) of the mean of sample shares", _FEWER,
         _bootstrap("mean of sample shares", "mean"), CLASSES),
    Line("share_ratio_bootstrap", "bootstrap (percentile) of the ratio of sums", _FEWER,
         _bootstrap("ratio of sums", "ratio"), CLASSES),
    Line("share_strata", "t interval of the mean of shares, two weighted strata", _FEWER,
         _strata, CLASSES),
    Line("share_difference", "Welch interval of a difference of two halves", _FEWER,
         _difference, CLASSES),
    Line("population_total", "t interval of a population total (ratio of sums)", _FEWER,
         _population, CLASSES),
    Line("kg_per_person_week", "t interval of kilograms per person", _FEWER, _person, CLASSES),
    Line("contamination", "t interval of contamination", _FEWER, _rates, {"all": [0]}),
    Line("capture", "t interval of capture", _FEWER, _rates, {"all": [1]}),
    Line("gross_diversion", "t interval of gross diversion", _FEWER, _rates, {"all": [2]}),
    Line("net_diversion", "t interval of net diversion", _FEWER, _rates, {"all": [3]}),
    Line("recovery_potential", "t interval of recovery potential", _FEWER, _potential, _ALL),
    Line("recovery_potential_change", "t interval of a change of recovery potential", _FEWER,
         _potential, {"all": [2]}),
    Line("photographed_items_corrected",
         "Wilson interval of corrected counts (n is the audits of 1,000 photographs)",
         (60, 100, 200), _audits, {"always": [0, 1, 2, 3], "often": [4, 5], "rare": [6, 7]}),
)  # fmt: skip


def coverage(line: Line, n: int, studies: int) -> dict[str, float]:
    """Return coverage in per cent by class of category, over seeded studies."""
    generator = np.random.default_rng(n)
    covered = np.mean([line.one(generator, n) for _ in range(studies)], axis=0)
    return {
        name: round(float(100 * covered[columns].mean()), 1)
        for name, columns in line.classes.items()
    }


def rows(studies: int) -> Iterator[tuple[Line, int, dict[str, float]]]:
    """Yield every line of the table."""
    for line in LINES:
        for n in line.sizes:
            yield line, n, coverage(line, n, studies)


def as_toml(found: list[tuple[Line, int, dict[str, float]]], studies: int) -> str:
    """Return the table as the data that the annex reads."""
    text = (
        "# Coverage of the intervals of a study report, in per cent; made, not written:\n"
        "# python -m tests.coverage_table --write\n\n"
        f'studies = {studies}\nmade_with = "python -m tests.coverage_table --write"\n'
    )
    for line, n, covered in found:
        inner = ", ".join(f"{name} = {value}" for name, value in covered.items())
        text += (
            f'\n[[row]]\nmeasure = "{line.measure}"\nwords = "{line.words}"\n'
            f"level = {LEVEL}\nn = {n}\ncoverage = {{ {inner} }}\n"
        )
    return text


def main() -> int:
    """Print the table; with --write keep it as data."""
    parser = argparse.ArgumentParser(prog="tests.coverage_table")
    parser.add_argument("--studies", type=int, default=STUDIES)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    say = sys.stdout.write
    say(f"Coverage of {100 * LEVEL:g} % intervals, per cent, {options.studies} studies a line\n\n")
    say("| interval | n | nearly always found | often | rare | all |\n|---|---|---|---|---|---|\n")
    found = []
    for line, n, covered in rows(options.studies):
        cells = " | ".join(
            f"{covered[name]:.1f}" if name in covered else ""
            for name in ("always", "often", "rare", "all")
        )
        say(f"| {line.words} | {n} | {cells} |\n")
        sys.stdout.flush()
        found.append((line, n, covered))
    if options.write:
        SHIPPED.write_text(as_toml(found, options.studies), encoding="utf-8")
        say(f"\nwritten to {SHIPPED.name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
