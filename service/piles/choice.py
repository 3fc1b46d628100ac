"""What the weighing form offers to weigh, and what it says of a weighing just recorded."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from classifier.log.piles import LoadTotal
from service.piles.usecases import BatchLine, PileLine, PilesView, WeighingLine
from service.services import Services
from service.web.render import weight

TO_WEIGH, WEIGHED, UNCOUNTED = "Not weighed yet", "Weighed already", "Nothing counted"
TOO_LIGHT = "below_resolution"


def batch_name(batch: BatchLine, number: int) -> str:
    """Return a batch's label, or its number where it has none."""
    return batch.total.batch.label or f"Part {number}"


def batch_title(pile: PileLine, batch: BatchLine, number: int) -> str:
    """Return a pile's name, with the batch where there are several or it has a label."""
    if len(pile.batches) == 1 and not batch.total.batch.label:
        return pile.name
    return f"{pile.name}: {batch_name(batch, number)}"


@dataclass(frozen=True, slots=True)
class PileOption:
    """Something that can be weighed; `load` is its last load so far, 0 before it is weighed."""

    value: str
    words: str
    load: int = 0


@dataclass(frozen=True, slots=True)
class LoadLines:
    """The weighings of one load; `total` is what they come to, `None` where all are void."""

    load: int
    weighings: tuple[WeighingLine, ...]
    total: LoadTotal | None


def loads_of(batch: BatchLine) -> list[LoadLines]:
    """Return the weighings of a batch by their load."""
    totals = {total.load: total for total in batch.total.loads}
    of: dict[int, list[WeighingLine]] = defaultdict(list)
    for line in batch.weighings:
        of[line.weighing.load].append(line)
    return [LoadLines(load, tuple(of[load]), totals.get(load)) for load in sorted(of)]


def pile_options(services: Services, view: PilesView) -> list[tuple[str, list[PileOption]]]:
    """Return what can be weighed, in groups: what is left to weigh comes first.

    None of it is chosen beforehand: a weight would go unnoticed to the pile that stands first.
    """
    groups: dict[str, list[PileOption]] = {TO_WEIGH: [], WEIGHED: [], UNCOUNTED: []}
    for value, name, count, load in _weighables(view):
        counted = f"{name} ({count} counted)"
        groups[WEIGHED if load else TO_WEIGH].append(PileOption(value, counted, load))
    seen = {pile.category for pile in view.piles}
    groups[UNCOUNTED] = [
        PileOption(f"category:{each.id}", each.name)
        for each in services.categories.categories
        if each.id not in seen
    ]
    return [(name, options) for name, options in groups.items() if options]


def last_load_of(options: list[tuple[str, list[PileOption]]], value: str) -> int:
    """Return the last load of the pile that is chosen, 0 before it is weighed."""
    return next((each.load for _, group in options for each in group if each.value == value), 0)


def weighed_words(view: PilesView, weighing_id: str) -> str:
    """Return what was recorded by a weighing, and how many piles are left to weigh.

    Empty if the sort holds no such weighing.
    """
    for pile in view.piles:
        for number, batch in enumerate(pile.batches, start=1):
            for line in batch.weighings:
                if line.weighing.id == weighing_id:
                    net = (
                        "too light for the scale"
                        if line.weighing.method == TOO_LIGHT
                        else f"{weight(line.net.value_g)} net"
                    )
                    title = batch_title(pile, batch, number)
                    return (
                        f"The weighing is recorded: {title}, {net}. "
                        f"{_load_words(batch, line.weighing.load)}{_left_words(view)}"
                    )
    return ""


def _weighables(view: PilesView) -> Iterator[tuple[str, str, int, int]]:
    """Yield value, name, count and last load of each pile, or of its batches."""
    for pile in view.piles:
        if len(pile.batches) < 2:
            load = max(map(_last_load, pile.batches), default=0)
            yield f"category:{pile.category}", pile.name, pile.count, load
            continue
        for number, batch in enumerate(pile.batches, start=1):
            name = f"{pile.name}: {batch_name(batch, number)}"
            yield f"batch:{batch.total.batch.id}", name, batch.total.count, _last_load(batch)


def _last_load(batch: BatchLine) -> int:
    return max((total.load for total in batch.total.loads), default=0)


def _load_words(batch: BatchLine, load: int) -> str:
    """Return whether it was a repeat or a further load: neither may pass for the other unseen."""
    loads, mass = batch.total.loads, batch.total.mass
    several = len(loads) > 1
    words = ""
    for total in loads:
        times = len(total.weighings)
        if total.load == load and times > 1 and total.mass is not None:
            what, mean = f"Bucketful {load}" if several else "It", weight(total.mass.value_g)
            words += f"{what} is weighed {times} times now, and the mean counts, {mean}. "
    if several:
        together = "" if mass is None else f", {weight(mass.value_g)} together"
        words += f"{len(loads)} bucketfuls of this pile are added{together}. "
    return words


def left_to_weigh(view: PilesView) -> int:
    """Return how many piles, or batches of them, were counted and not weighed."""
    return sum(1 for _, _, count, load in _weighables(view) if count and not load)


def _left_words(view: PilesView) -> str:
    left = left_to_weigh(view)
    if not left:
        return "Everything that was counted is weighed."
    return f"{left} more to weigh." if left > 1 else "One more to weigh."
