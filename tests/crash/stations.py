"""Stations that enter at the same time, send again until they are answered, and keep account."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.crash.wire import Cut, NoAnswerError, Request, json_request, photo_request, send
from tests.fakes import jpeg, new_id

CATEGORIES = ("corrugated_cardboard", "food", "garden", "pet_bottles", "steel_cans", "tissue")
_RETRY_S = 0.1
_CONFLICT = 409


@dataclass
class EnteredItem:
    """An item as the station knows it."""

    sort_id: str
    capture_id: str | None
    category: str
    count: int
    undone: bool = False


@dataclass
class Account:
    """Everything that was acknowledged to the stations, and how often they had to send."""

    sorts: list[str] = field(default_factory=list)
    photos: dict[str, str] = field(default_factory=dict)
    items: dict[str, EnteredItem] = field(default_factory=dict)
    changes: set[str] = field(default_factory=set)
    weighings: dict[str, bool] = field(default_factory=dict)
    """Id, and whether it counts: not once it was voided."""
    voids: set[str] = field(default_factory=set)
    refused: set[str] = field(default_factory=set)
    """Items that are known to have lost their photo to another station."""
    sent: int = 0
    resent: int = 0
    cut: int = 0
    refusals: int = 0
    """Answers that said that the server could not, such as a full disk."""
    troubles: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def acknowledged(self) -> int:
        """Entries that must be in the store."""
        return (
            len(self.sorts)
            + len(self.photos)
            + len(self.items)
            + len(self.changes)
            + len(self.weighings)
            + len(self.voids)
        )


class Station:
    """One device: enters at random, shares its photos with the others so that two may confirm."""

    def __init__(
        self,
        account: Account,
        ports: Sequence[int],
        *,
        seed: int,
        stop: threading.Event,
        cut_share: float = 0.1,
        pause_s: float = 0.0,
    ) -> None:
        self._account = account
        self._ports = ports
        self._chance = random.Random(seed)
        self._stop = stop
        self._cut_share = cut_share
        self._pause_s = pause_s
        self._mine: list[str] = []
        self._weighed: list[str] = []
        self._port = self._chance.choice(self._ports)
        self.thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        steps: list[tuple[Callable[[], None], int]] = [
            (self._photo, 25),
            (self._confirm_photo, 20),
            (self._confirm, 25),
            (self._correct, 10),
            (self._undo, 5),
            (self._weigh, 10),
            (self._void, 5),
        ]
        weights = [weight for _, weight in steps]
        try:
            while not self._stop.is_set():
                (step,) = self._chance.choices([step for step, _ in steps], weights)
                step()
                time.sleep(self._pause_s)
        except Exception as error:
            with self._account.lock:
                self._account.troubles.append(repr(error))

    def _ask(self, request: Request, *, may_conflict: bool = False) -> Any:
        """Send until there is an answer; None for a conflict that may be."""
        account = self._account
        first = True
        while True:
            cut: Cut = None
            if self._chance.random() < self._cut_share:
                cut = self._chance.choice(("half", "answer"))
            with account.lock:
                account.sent += 1
                account.resent += not first
                account.cut += cut is not None
            first = False
            try:
                answer = send(self._port, request, cut)
            except NoAnswerError:
                self._port = self._chance.choice(self._ports)
                time.sleep(_RETRY_S)
                continue
            if answer.status in (200, 201):
                return answer.body
            if answer.status == _CONFLICT and may_conflict:
                return None
            if answer.status < 500 and answer.status not in (408, 429):
                raise AssertionError(f"{request.path}: {answer.status} {answer.body}")
            with account.lock:
                account.refusals += 1
            self._port = self._chance.choice(self._ports)
            time.sleep(_RETRY_S)

    def start_sort(self) -> None:
        """Start another sort, which all stations then fill."""
        sort_id = new_id()
        sent = {
            "sort_id": sort_id,
            "name": f"Sort {sort_id[:4]}",
            "sorted_on": "2026-05-01",
            "days": 7,
            "persons": 2,
            "programme_id": "alder_valley",
        }
        self._ask(json_request("/api/sorts", sent))
        with self._account.lock:
            self._account.sorts.append(sort_id)

    def _sort(self) -> str:
        # The newest two: an answer holds the tally of its sort, which must not grow for ever.
        return self._chance.choice(self._account.sorts[-2:])

    def _photo(self) -> None:
        capture_id, sort_id = new_id(), self._sort()
        picture = jpeg(self._chance.randrange(250))
        self._ask(photo_request(f"/api/sorts/{sort_id}/captures", capture_id, picture))
        with self._account.lock:
            self._account.photos[capture_id] = sort_id

    def _confirm_photo(self) -> None:
        with self._account.lock:
            recent = list(self._account.photos.items())[-12:]
        if recent:
            capture_id, sort_id = self._chance.choice(recent)
            self._enter(sort_id, capture_id)

    def _confirm(self) -> None:
        self._enter(self._sort(), None)

    def _enter(self, sort_id: str, capture_id: str | None) -> None:
        item_id = new_id()
        category, count = self._chance.choice(CATEGORIES), self._chance.randint(1, 5)
        sent = {
            "item_id": item_id,
            "capture_id": capture_id,
            "category": category,
            "count": count,
            "sorter": self.thread.name,
        }
        answer = self._ask(
            json_request(f"/api/sorts/{sort_id}/items", sent), may_conflict=capture_id is not None
        )
        with self._account.lock:
            if answer is None:
                self._account.refused.add(item_id)
            else:
                self._account.items[item_id] = EnteredItem(sort_id, capture_id, category, count)
                self._mine.append(item_id)

    def _correct(self) -> None:
        if not self._mine:
            return
        item = self._account.items[item_id := self._chance.choice(self._mine)]
        category, count = self._chance.choice(CATEGORIES), self._chance.randint(1, 5)
        change_id = new_id()
        sent = {"change_id": change_id, "category": category, "count": count}
        self._ask(json_request(f"/api/items/{item_id}/corrections", sent))
        with self._account.lock:
            item.category, item.count = category, count
            self._account.changes.add(change_id)

    def _undo(self) -> None:
        if not self._mine:
            return
        item_id = self._mine.pop(self._chance.randrange(len(self._mine)))
        change_id = new_id()
        self._ask(json_request(f"/api/items/{item_id}/undo", {"change_id": change_id}))
        with self._account.lock:
            self._account.items[item_id].undone = True
            self._account.changes.add(change_id)

    def _weigh(self) -> None:
        weighing_id = new_id()
        sent = {
            "weighing_id": weighing_id,
            "category": self._chance.choice(CATEGORIES),
            "method": "container",
            "gross": f"{self._chance.uniform(0.5, 9):.2f}",
            "tare": "0.25",
            "unit": "kg",
            "resolution": "0.01",
        }
        self._ask(json_request(f"/api/sorts/{self._sort()}/weighings", sent))
        with self._account.lock:
            self._account.weighings[weighing_id] = True
            self._weighed.append(weighing_id)

    def _void(self) -> None:
        if not self._weighed:
            return
        weighing_id = self._weighed.pop(self._chance.randrange(len(self._weighed)))
        void_id = new_id()
        sent = {"void_id": void_id, "reason": "wrong bag"}
        self._ask(json_request(f"/api/weighings/{weighing_id}/void", sent))
        with self._account.lock:
            self._account.weighings[weighing_id] = False
            self._account.voids.add(void_id)
