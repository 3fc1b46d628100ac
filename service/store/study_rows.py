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
