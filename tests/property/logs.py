"""Random logs of one sort: items, changes, piles, weighings and voids that fit together."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from classifier.log.ledger import Ledger, fold
from classifier.log.records import Batch, Item, ItemChange, Weighing, WeighingVoid
from tests.unit.rows import (
    a_batch,
    a_change,
    a_sort,
    a_void,
    a_weighing,
    an_item,
    too_light,
)

CATEGORIES = ["pet_bottles", "plastic_film", "food", "textiles", "batteries"]
ROUTES = ["kerbside", "deposit_return", "residual", "special_collection", "organics", None]

categories = st.sampled_from(CATEGORIES)
minutes = st.integers(0, 40)


@dataclass(frozen=True)
class Log:
    """All rows of a sort."""

    items: list[Item]
    changes: list[ItemChange]
    batches: list[Batch]
    weighings: list[Weighing]
    voids: list[WeighingVoid]

    def fold(self) -> Ledger:
        return fold(a_sort(), self.items, self.changes, self.batches, self.weighings, self.voids)


@st.composite
def logs(draw: st.DrawFn) -> Log:
    """Draw a log of up to eight items and five piles."""
    batches = [
        a_batch(f"b{n}", draw(categories), minute=draw(minutes))
        for n in range(draw(st.integers(0, 5)))
    ]
    batch_ids = st.sampled_from([None, *(batch.id for batch in batches)])
    items = [
        an_item(
            f"i{n}",
            draw(categories),
            count=draw(st.integers(1, 30)),
            route=draw(st.sampled_from(ROUTES)),
            batch_id=draw(batch_ids),
            minute=draw(minutes),
            suggested=draw(st.sampled_from([None, *CATEGORIES])),
        )
        for n in range(draw(st.integers(0, 8)))
    ]
    changes = [
        a_change(
            f"c{n}",
            draw(st.sampled_from([item.id for item in items])),
            draw(st.sampled_from(["correct", "correct", "void"])),
            category=draw(st.none() | categories),
            count=draw(st.none() | st.integers(1, 30)),
            minute=draw(minutes),
        )
        for n in range(draw(st.integers(0, 5)) if items else 0)
    ]
    weighings = [
        _weighing(draw, f"w{n}", draw(st.sampled_from([batch.id for batch in batches])))
        for n in range(draw(st.integers(0, 6)) if batches else 0)
    ]
    voids = [a_void(f"v{w.id}", w.id) for w in weighings if draw(st.integers(0, 4)) == 0]
    return Log(items, changes, batches, weighings, voids)


def _weighing(draw: st.DrawFn, weighing_id: str, batch_id: str) -> Weighing:
    load = draw(st.sampled_from([1, 1, 2, 3]))
    if draw(st.integers(0, 3)) == 0:
        return too_light(weighing_id, batch_id, load=load)
    tare = draw(st.integers(0, 300))
    net = draw(st.integers(1, 4000))
    return a_weighing(
        weighing_id,
        batch_id,
        gross=f"{(tare + net) / 1000:.3f}",
        tare=f"{tare / 1000:.3f}",
        minute=draw(minutes),
        contents_left=draw(st.booleans()),
        load=load,
    )
