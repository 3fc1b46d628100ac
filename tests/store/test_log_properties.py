"""Random sequences of entries add up to what a simple model of the sheet says."""

from __future__ import annotations

import tempfile
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from classifier.errors import ClosedSortError, ConflictError
from classifier.log.records import SortInfo
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.sorting import items
from service.sorts import usecases as sorts
from service.wiring import build_services
from tests.fakes import FakeClock, FakePredictor, model_record, new_id
from tests.store.entries import CARDBOARD, counts, enter, start, take

CATEGORIES = (CARDBOARD, "food", "tissue")
CATEGORY = st.sampled_from(CATEGORIES)
COUNT = st.integers(1, 5)
NTH = st.integers(0, 7)
KIND = st.sampled_from(("enter", "photo", "resend", "again", "correct", "undo", "toggle"))
STEP = st.tuples(KIND, NTH, CATEGORY, COUNT)


@dataclass
class Line:
    """A line of the sheet: as first sent, as it stands, and whether it is struck out."""

    sent: dict[str, object]
    category: str
    count: int
    struck: bool = False


@dataclass
class Bench:
    """Does each step in the log and on a sheet of paper, and knows what must be refused."""

    services: Services
    sort: SortInfo
    lines: dict[str, Line] = field(default_factory=dict)
    closed: bool = False

    def totals(self) -> dict[str, int]:
        """Return the sheet's count by category."""
        found: Counter[str] = Counter()
        for line in self.lines.values():
            if not line.struck:
                found[line.category] += line.count
        return dict(found)

    def enter(self, category: str, count: int, capture_id: str | None) -> None:
        """Enter an item under a new id."""
        item_id = new_id()
        sent: dict[str, object] = {"category": category, "count": count, "capture_id": capture_id}
        enter(self.services, self.sort, **sent, item_id=item_id)  # type: ignore[arg-type]
        self.lines[item_id] = Line(sent, category, count)

    def again(self, line: Line, category: str, count: int) -> None:
        """Confirm the photo of an earlier line once more: only after that was undone."""
        photo = line.sent["capture_id"]
        same = [each for each in self.lines.values() if each.sent["capture_id"] == photo]
        if photo is None:
            return
        free = all(each.struck for each in same)
        try:
            self.enter(category, count, str(photo))
            assert free
        except ClosedSortError:
            raise
        except ConflictError:
            assert not free

    def change(self, kind: str, item_id: str, line: Line, category: str, count: int) -> None:
        """Correct or undo a line: not one that is struck out."""
        try:
            if kind == "undo":
                items.undo(self.services, item_id=item_id, change_id=new_id())
            else:
                items.correct(
                    self.services,
                    item_id=item_id,
                    change_id=new_id(),
                    category=category,
                    count=count,
                )
        except ClosedSortError:
            raise
        except ConflictError:
            assert line.struck
            return
        assert not line.struck
        if kind == "undo":
            line.struck = True
        else:
            line.category, line.count = category, count

    def toggle(self) -> None:
        """Close the sort, or reopen it."""
        act = sorts.reopen_sort if self.closed else sorts.close_sort
        self.closed = act(self.services, self.sort.id, event_id=new_id()).closed

    def step(self, kind: str, nth: int, category: str, count: int) -> None:
        """Do one step; a closed sort refuses all but a resend and its reopening."""
        if kind == "toggle":
            self.toggle()
        elif kind in ("enter", "photo"):
            photo = take(self.services, self.sort).id if kind == "photo" else None
            self.enter(category, count, photo)
        elif self.lines:
            item_id = list(self.lines)[nth % len(self.lines)]
            line = self.lines[item_id]
            if kind == "resend":
                enter(self.services, self.sort, **line.sent, item_id=item_id)  # type: ignore[arg-type]
            elif kind == "again":
                self.again(line, category, count)
            else:
                self.change(kind, item_id, line, category, count)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(STEP, max_size=25))
def test_the_log_adds_up_like_a_sheet_of_paper(steps: list[tuple[str, int, str, int]]) -> None:
    """Entering, resending, confirming twice, correcting, undoing, closing, in any order."""
    with tempfile.TemporaryDirectory() as folder:
        model = LoadedModel(FakePredictor(), model_record(), "")
        built = build_services(Settings(data_dir=Path(folder)), model=model)
        bench = Bench(replace(built, clock=FakeClock()), start(built))
        for kind, nth, category, count in steps:
            try:
                bench.step(kind, nth, category, count)
            except ClosedSortError:
                assert bench.closed
                assert kind not in ("resend", "toggle")
            assert counts(built, bench.sort) == bench.totals()
        built.close()
