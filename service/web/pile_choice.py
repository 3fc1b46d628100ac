"""What the weighing form offers to weigh, and what it says of a weighing just recorded."""

from __future__ import annotations

from collections.abc import Iterator

from service.usecases.services import Services
from service.usecases.views import BatchLine, PileLine, PilesView
from service.web.render import weight

TO_WEIGH, WEIGHED, UNCOUNTED = "Not weighed yet", "Weighed already", "Nothing counted"
TOO_LIGHT = "below_resolution"


def batch_name(batch: BatchLine, number: int) -> str:
    """Return a batch's label, or its number where it has none."""
    return batch.total.batch.label or f"Batch {number}"


def batch_title(pile: PileLine, batch: BatchLine, number: int) -> str:
    """Return a pile's name, with the batch where there are several or it has a label."""
    if len(pile.batches) == 1 and not batch.total.batch.label:
        return pile.name
    return f"{pile.name}: {batch_name(batch, number)}"


def is_weighed(batch: BatchLine) -> bool:
    """Whether a batch has a weighing that was not taken back."""
    return any(line.void is None for line in batch.weighings)


def pile_options(services: Services, view: PilesView) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what can be weighed, in groups: what is left to weigh comes first.

    None of it is chosen beforehand: a weight would go unnoticed to the pile that stands first.
    """
    groups: dict[str, list[tuple[str, str]]] = {TO_WEIGH: [], WEIGHED: [], UNCOUNTED: []}
    for value, name, count, weighed in _weighables(view):
        counted = f"{name} ({count} counted)"
        groups[WEIGHED if weighed else TO_WEIGH].append((value, counted))
    seen = {pile.category for pile in view.piles}
    groups[UNCOUNTED] = [
        (f"category:{each.id}", each.name)
        for each in services.categories.categories
        if each.id not in seen
    ]
    return [(name, options) for name, options in groups.items() if options]


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
                        f"{_repeat_words(batch)}{_left_words(view)}"
                    )
    return ""


def _weighables(view: PilesView) -> Iterator[tuple[str, str, int, bool]]:
    """Yield value, name, count and whether weighed of each pile, or of its batches."""
    for pile in view.piles:
        if len(pile.batches) < 2:
            weighed = any(map(is_weighed, pile.batches))
            yield f"category:{pile.category}", pile.name, pile.count, weighed
            continue
        for number, batch in enumerate(pile.batches, start=1):
            name = f"{pile.name}: {batch_name(batch, number)}"
            yield f"batch:{batch.total.batch.id}", name, batch.total.count, is_weighed(batch)


def _repeat_words(batch: BatchLine) -> str:
    """Return what a repeat means: whoever weighed a second bucket must not lose half of it."""
    times = sum(1 for line in batch.weighings if line.void is None)
    if times < 2 or batch.total.mass is None:
        return ""
    return (
        f"It is weighed {times} times now, and the mean counts, "
        f"{weight(batch.total.mass.value_g)}. If this was another bucket, void this weighing and "
        "start another batch for it. "
    )


def left_to_weigh(view: PilesView) -> int:
    """Return how many piles, or batches of them, were counted and not weighed."""
    return sum(1 for _, _, count, weighed in _weighables(view) if count and not weighed)


def _left_words(view: PilesView) -> str:
    left = left_to_weigh(view)
    if not left:
        return "Everything that was counted is weighed."
    return f"{left} more to weigh." if left > 1 else "One more to weigh."
