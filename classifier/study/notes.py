"""What a reader must know about the sorts of a study, in plain words."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise

from classifier.log.records import SortInfo
from classifier.report.categories import Names
from classifier.rules.category_parts import Categories
from classifier.study.coverage import load_coverage
from classifier.study.figures import Figure
from classifier.study.plan import StudyPlan, texts_of
from classifier.study.shares import SHARE
from classifier.study.table import StudyTable

_SEVERAL = 4
"""So many sorts should not have most of the weight in one (common practice, no source)."""


def table_notes(table: StudyTable) -> Iterator[str]:
    """Yield what is to be said of all sorts: open ones, light piles, mixed piles, programmes."""
    still_open = sum(not sort.closed for sort in table.sorts)
    if still_open:
        yield f"{sorts_are(still_open)} still open: these figures may change."
    light = int(((table.grams == 0) & (table.high > 0)).sum())
    if light:
        yield (
            f"{light} times a category was too light for the scale: it counts as 0 in the "
            "estimates. The bounds of the scales, in the annex, say how much it may be at most."
        )
    if table.contents_left:
        yield f"Piles weighed with contents left in: {table.contents_left}."
    if table.split.any():
        part = 100 * table.split.sum() / table.grams.sum()
        words = f"{part:.0f}" if part >= 1 else "Less than 1"
        yield (
            f"{words} % of the weight is of piles whose objects go different ways. It is split "
            "among routes by counts, which is an estimate; the annex marks those figures."
        )
    of_sort = table.grams.sum(axis=1)
    if len(of_sort) >= _SEVERAL and of_sort.max() > of_sort.sum() / 2:
        yield (
            f"One sort holds {100 * of_sort.max() / of_sort.sum():.0f} % of all the weight: ratios "
            "of sums and amounts per person are mostly its own. Look at its readings again."
        )
    programmes = {sort.programme_id for sort in table.sorts}
    if len(programmes) > 1:
        yield (
            f"The sorts were done under {len(programmes)} programmes: where a thing can go, and so "
            "what can be recovered, is by the rules of its own sort."
        )


def parts_notes(table: StudyTable, plan: StudyPlan) -> Iterator[str]:
    """Yield a caution where strata have more parts than the plan names; a plan may name none."""
    known = len(plan.parts)
    more = [sort.stratum for sort in table.sorts if any(texts_of(sort.stratum, plan.parts)[known:])]
    if known and more:
        yield (
            f"The plan names {known} parts of a kind of place (stratum): {', '.join(plan.parts)}. "
            f"{len(more)} of {sorts(len(table.sorts))} have more, such as {more[0]!r}: what "
            "follows is not used, and sorts that differ in nothing else count as one group. "
            "Name every part in the plan."
        )


def units_of(plan: StudyPlan) -> str:
    """Name what the estimates count: a household's two containers are joined to one."""
    return "households" if plan.streams else "sorts"


def few_lots_notes(figures: Iterable[Figure], plan: StudyPlan) -> Iterator[str]:
    """Yield a caution where shares rest on fewer lots than their intervals were ever tried with.

    Two lots that happen to be alike make a range of next to nothing.
    """
    measure = SHARE[plan.estimator]
    n = max((each.n or 0 for each in figures if each.measure == measure), default=0)
    tried = min(row.n for row in load_coverage().rows if row.measure == measure)
    if 0 < n < tried:
        yield (
            f"Only {n} {units_of(plan)} are behind the estimates; their ranges were tried in "
            f"invented studies of {tried} and more. Lots that happen to be alike make a range look "
            "narrow."
        )


def unweighed_notes(table: StudyTable, categories: Categories) -> Iterator[str]:
    """Yield what was found and not weighed in the sorts that estimates are worked out from."""
    names = Names(categories)
    affected = [
        f"{names.category(category)} (in {sorts(int(number))})"
        for category, number in zip(table.categories, table.unweighed.sum(axis=0), strict=True)
        if number
    ]
    if affected:
        yield (
            "Found and not, or not wholly, weighed, so that their shares by weight are too low and "
            f"all others too high: {', '.join(affected)}."
        )


def same_days_notes(table: StudyTable) -> Iterator[str]:
    """Yield a caution where several sorts of one place hold discards of the same days."""
    of_place: dict[str, list[SortInfo]] = defaultdict(list)
    for sort in table.sorts:
        if sort.place:
            of_place[sort.place].append(sort)
    found = 0
    for own in of_place.values():
        own.sort(key=lambda sort: sort.sorted_on)
        found += any(
            (later.sorted_on - sort.sorted_on).days < later.days for sort, later in pairwise(own)
        )
    if found and len(of_place) > 1:
        yield (
            "Places with several sorts of the same days, as when the containers of a household "
            f"are sorted apart: {found}. They are taken as different households, until the plan "
            "says which are the containers of one: in the mean of shares each container counts "
            "alike, however little it holds, and persons count more than once, so that amounts per "
            "person come out too low."
        )


def place_notes(table: StudyTable) -> Iterator[str]:
    """Yield a note where several sorts are of one place, if places tell sorts apart at all."""
    times = Counter(sort.place for sort in table.sorts if sort.place)
    several = sum(number > 1 for number in times.values())
    if several and len(times) > 1:
        yield (
            f"Places with more than one sort: {several}. The intervals take all sorts as "
            "independent; sorts of one household resemble each other, so that with the same "
            "households they are likely too narrow."
        )


def sorts(number: int) -> str:
    """Return a number of sorts in words."""
    return "1 sort" if number == 1 else f"{number} sorts"


def sorts_are(number: int) -> str:
    """Return a number of sorts with its verb."""
    return f"{sorts(number)} {'is' if number == 1 else 'are'}"
