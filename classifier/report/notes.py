"""What a reader must know about the figures of a report, in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from classifier.log.ledger import Ledger
from classifier.log.piles import BatchTotal
from classifier.report.categories import UNLISTED_GROUP, Names
from classifier.report.lines import CategoryLine, CountLine, EstimatedLine, Note, RouteLine
from classifier.rules.programme import Programme


def objects(count: int) -> str:
    """Return a count with its noun."""
    return f"{count} object" if count == 1 else f"{count} objects"


def ledger_notes(ledger: Ledger, names: Names, programme: Programme) -> Iterator[Note]:
    """Yield notes on the sort as a whole, then on single piles."""
    if not ledger.sort.closed:
        yield Note("open", "The sort is still open: these figures may change.")
    if not any(pile.mass for pile in ledger.batches):
        yield Note("nothing_measured", "No pile was weighed: there are no shares by weight.")
    if not programme.in_force(ledger.sort.sorted_on):
        yield Note(
            "programme_dates",
            f"The rules of {programme.name} were not in force on {ledger.sort.sorted_on}.",
        )
    versions = {item.programme_version for item in ledger.items} - {programme.version}
    if versions:
        yield Note(
            "programme_versions",
            f"Some routes were set under other versions of the rules ({', '.join(sorted(versions))}"
            f"); the current one is {programme.version}.",
        )
    for pile in ledger.batches:
        yield from _pile_notes(pile, names)


def _pile_notes(pile: BatchTotal, names: Names) -> Iterator[Note]:
    what = names.category(pile.batch.category)
    if pile.batch.label:
        what += f", {pile.batch.label!r}"
    if not pile.spread_explained:
        yield Note(
            "spread",
            f"{what}: its weighings differ by {pile.spread_g:.1f} g, more than the scale explains. "
            "Their mean is used; weigh again if you can.",
        )
    if pile.contents_left:
        yield Note(
            "contents_left",
            f"{what}: contents were left inside, so the weight is not of the material alone.",
        )
    if 0 < pile.count_after < pile.count:
        yield Note(
            "counted_after",
            f"{what}: {objects(pile.count_after)} recorded after the last weighing, so the weight "
            "may lack them. Weigh them as a further bucketful.",
        )


def line_notes(
    lines: tuple[CategoryLine, ...],
    kinds: tuple[RouteLine, ...],
    estimates: Iterable[EstimatedLine | CountLine],
    caution: str,
) -> Iterator[Note]:
    """Yield notes on the figures; `caution` is that of the table of prior weights."""
    open_count = sum(line.unweighed_count + line.unplaced_count for line in lines)
    if open_count and any(line.mass for line in lines):
        yield Note(
            "not_weighed",
            f"Not weighed: {objects(open_count)}. They are in no weight and in no share by weight.",
        )
    below_g = sum((line.below_g for line in lines if line.below_g is not None), Decimal(0))
    if below_g:
        yield Note(
            "below_resolution",
            f"Some piles were too light for their scale. Together they weigh less than "
            f"{below_g:.1f} g; they are in no weight and in no share by weight.",
        )
    for line in lines:
        if line.mass and not line.count:
            yield Note("not_counted", f"{line.name}: weighed, but no object was counted.")
        if line.group == UNLISTED_GROUP:
            yield Note(
                "unlisted",
                f"Category {line.category!r} is not in this list of categories; it was recorded "
                "under another version.",
            )
    if any(kind.estimated_split for kind in kinds):
        yield Note(
            "split",
            "Some piles hold objects that go different ways. Their weight is split by counts, "
            "which is an estimate; the bounds of those shares hold however the piles divide.",
        )
    if any(estimate.method == "prior_item_weight" for estimate in estimates):
        yield Note("prior", f"Some figures are estimated from published item weights. {caution}")
