"""Records about studies and about what they learn from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Study:
    """Sorts that belong together."""

    id: str
    name: str
    created_at: datetime


@dataclass(frozen=True, slots=True)
class LearningSettings:
    """How a scope learns: whether at all, and what share of photos is judged blind (per cent)."""

    learns: bool
    audit_percent: int


@dataclass(frozen=True, slots=True)
class LearnedStart:
    """An exported head that a scope starts from, with the name under which it was taken over."""

    id: str
    name: str
    content: bytes
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ConfirmedPhoto:
    """A photo that a standing item was confirmed from, as learning in place needs it.

    `vector` holds little-endian 16-bit floats, `category` what it is after corrections and review,
    `model_id` the model that looked; `group` is shared by photos of one object, if told.
    """

    seq: int
    capture_id: str
    sort_id: str
    vector: bytes
    forms: tuple[tuple[str, float], ...]
    model_id: str
    category: str
    audit: bool
    group: str | None


@dataclass(frozen=True, slots=True)
class LearningMark:
    """How far the log of a scope had come: two equal marks saw the same confirmations.

    `items` holds the last item of each sort; `others` the last correction of each sort, the last
    review and withdrawal of all, and the last head that the scope was started from.
    """

    items: tuple[tuple[str, int], ...]
    others: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BlindChoice:
    """An audit: what the sorter chose first, and what was on top of the hidden suggestion."""

    capture_id: str
    chosen: str
    suggested: str | None
