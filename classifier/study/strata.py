"""Which sorts make up which stratum, and what each stratum weighs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.log.records import SortInfo
from classifier.study.plan import StudyPlan, part_of

JOIN = " / "


@dataclass(frozen=True, slots=True, eq=False)
class Stratum:
    """Rows of the table that belong together; `weight` is None where the plan gives none."""

    label: str
    rows: NDArray[np.intp]
    weight: float | None
    person_weight: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Strata:
    """The strata that can be estimated from, and what had to be said about the others."""

    used: tuple[Stratum, ...]
    notes: tuple[str, ...]

    @property
    def weights(self) -> list[float] | None:
        """Sizes of all strata, None if the plan lacks one: then there is no weighted figure."""
        return _all([each.weight for each in self.used])

    @property
    def parts(self) -> tuple[list[NDArray[np.intp]] | None, list[float] | None]:
        """Rows and weights of the strata where they are weighed, else None: all are one sample."""
        if len(self.used) > 1 and self.weights is not None:
            return [each.rows for each in self.used], self.weights
        return None, None

    @property
    def person_weights(self) -> list[float] | None:
        """Persons of all strata, None if the plan lacks one."""
        return _all([each.person_weight for each in self.used])


def label_of(sort: SortInfo, plan: StudyPlan, names: Iterable[str]) -> str:
    """Return what a sort has under the named parts, joined."""
    return JOIN.join(
        part_of(name, plan.parts, stratum=sort.stratum, place=sort.place, sorted_on=sort.sorted_on)
        for name in names
    )


def strata_of(sorts: tuple[SortInfo, ...], plan: StudyPlan) -> Strata:
    """Return the strata of a study; those with a single sort have no error and are left out."""
    members = rows_by(sorts, plan, plan.strata)
    notes = []
    single = [label for label, rows in members.items() if len(rows) < 2]
    if single and len(members) > 1:
        notes.append(
            f"One sort only, so there is no figure of its own for: {', '.join(single)}. Two or "
            "more are needed to know how much sorts differ."
        )
    known = {_plain(label) for label in members}
    unknown = sorted(
        name for name in {*plan.weights, *plan.person_weights} if _plain(name) not in known
    )
    if unknown:
        notes.append(
            f"The plan weighs strata that no sort is in: {', '.join(unknown)}; there are "
            f"{', '.join(members)}."
        )
    used = tuple(
        Stratum(label, rows, _size(plan.weights, label), _size(plan.person_weights, label))
        for label, rows in members.items()
        if len(rows) >= 2
    )
    if len({*members, *plan.weights}) > 1:
        notes += _whole_notes(used, plan)
    return Strata(used, tuple(notes))


_ONE_SAMPLE = (
    "figures of the whole study take all sorts as one random sample, which is wrong if the groups "
    "(strata) were not sampled in proportion to their size."
)


def _whole_notes(used: tuple[Stratum, ...], plan: StudyPlan) -> list[str]:
    """Return what the figures of the whole study speak for, where it is not everything."""
    weights = Strata(used, ()).weights
    if len(used) < 2:
        return [f"Fewer than two groups (strata) have two sorts or more: {_ONE_SAMPLE}"]
    if weights is None:
        lacking = [each.label for each in used if each.weight is None]
        none = f"no weight for {', '.join(lacking)}" if lacking else "every group the weight 0"
        return [f"The plan gives {none}: {_ONE_SAMPLE}"]
    notes = []
    known = {_plain(each.label) for each in used}
    out = {name: size for name, size in plan.weights.items() if _plain(name) not in known and size}
    if out:
        part = sum(out.values()) / sum(plan.weights.values())
        notes.append(
            f"Figures of the whole study speak for {100 * (1 - part):.0f} % of the whole only: "
            f"the plan gives {100 * part:.0f} % to groups (strata) with fewer than two sorts: "
            f"{', '.join(out)}. They may be different."
        )
    if Strata(used, ()).person_weights is None:
        notes.append(
            "Amounts per person take all sorts as one random sample, because the plan does not "
            "say how many persons live in each group (stratum)."
        )
    return notes


def rows_by(
    sorts: tuple[SortInfo, ...], plan: StudyPlan, names: Iterable[str]
) -> dict[str, NDArray[np.intp]]:
    """Return the rows by label, in order of the labels."""
    chosen = tuple(names)
    members: dict[str, list[int]] = defaultdict(list)
    for row, sort in enumerate(sorts):
        members[label_of(sort, plan, chosen)].append(row)
    return {label: np.array(members[label], dtype=np.intp) for label in sorted(members)}


def _size(sizes: Mapping[str, float], label: str) -> float | None:
    return {_plain(name): size for name, size in sizes.items()}.get(_plain(label))


def _plain(label: str) -> str:
    # People write "inner/spring" as well as "inner / spring".
    return "".join(label.split())


def _all(sizes: list[float | None]) -> list[float] | None:
    known = [size for size in sizes if size is not None]
    return known if len(known) == len(sizes) and sum(known) > 0 else None
