"""Where learned heads are kept in memory, and the one thread that fits them.

A head is a function of the log, so that any of this may be forgotten at any time: what is asked
for again is rebuilt. Requests only read what was fitted last; they never wait for a fit, except
the first photo after a start, which waits a little for the first head.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass

from classifier.errors import TallytareError
from classifier.learning.learner import Learner, Snapshot
from classifier.learning.score import Prequential
from service.store.rows import LearningMark

logger = logging.getLogger("tallytare")

MOST_SCOPES = 16
"""Scopes kept in memory; one of 40 categories, 1,280 features and 5,000 photos takes some 30 MB."""


@dataclass(frozen=True, slots=True)
class PhotoKey:
    """What of a confirmed photo decides what is learned from it."""

    capture_id: str
    category: str
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """All that a scope has learned up to a mark of its log.

    `stages` are learners as they stood after fewer confirmations, the newest last, to go on from
    when what came after them was undone or corrected. Nothing in it is changed any more.
    """

    mark: LearningMark
    model: str
    start_id: str
    stages: tuple[Learner, ...]
    learned: tuple[PhotoKey, ...]
    last_seq: int
    left_out: int
    start_problem: str
    snapshot: Snapshot
    prequential: Prequential


Work = Callable[[Course | None], Course]


class HeadCache:
    """Courses by scope, the least used forgotten first, and the worker that brings them on."""

    def __init__(self, most: int = MOST_SCOPES) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._courses: OrderedDict[str, Course] = OrderedDict()
        self._queued: dict[str, Future[None]] = {}
        self._running: set[Future[None]] = set()
        self._worker = ThreadPoolExecutor(1, "learning")
        self._closed = False

    @property
    def closed(self) -> bool:
        """Whether long work should stop."""
        return self._closed

    def course(self, scope_id: str) -> Course | None:
        """Return what a scope has learned, as far as it is in memory."""
        with self._lock:
            course = self._courses.get(scope_id)
            if course is not None:
                self._courses.move_to_end(scope_id)
            return course

    def bring_on(self, scope_id: str, work: Work) -> Future[None]:
        """Have the worker do `work` on a scope; what already waits for its turn serves too."""

        def turn() -> None:
            with self._lock:
                self._queued.pop(scope_id, None)
                before = self._courses.get(scope_id)
            try:
                course = work(before)
            except TallytareError as error:
                logger.warning("learning of %s waits: %s", scope_id, error.message)
                return
            except Exception:
                logger.exception("learning of %s failed", scope_id)
                return
            self._keep(scope_id, course)

        with self._lock:
            waiting = self._queued.get(scope_id)
            if waiting is not None:
                return waiting
            if self._closed:
                done: Future[None] = Future()
                done.set_result(None)
                return done
            future = self._worker.submit(turn)
            if not future.done():
                self._queued[scope_id] = future
            self._running.add(future)
        future.add_done_callback(self._forget)
        return future

    def settle(self, timeout_s: float = 60.0) -> None:
        """Wait until the worker has nothing left to do; for exports and tests."""
        with self._lock:
            pending = set(self._running)
        wait(pending, timeout_s)

    def close(self) -> None:
        """Stop; what runs ends at its next confirmation."""
        with self._lock:  # nobody is about to hand in work that the worker would refuse
            self._closed = True
        self._worker.shutdown(wait=False, cancel_futures=True)

    def _forget(self, future: Future[None]) -> None:
        with self._lock:
            self._running.discard(future)

    def _keep(self, scope_id: str, course: Course) -> None:
        with self._lock:
            self._courses[scope_id] = course
            self._courses.move_to_end(scope_id)
            while len(self._courses) > self._most:
                self._courses.popitem(last=False)
