"""Which model bundle answers: one row each time that another one was chosen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select

from service.store.append import record_once
from service.store.part import LogPart
from service.store.rows import record, said
from service.store.tables import promotions


@dataclass(frozen=True, slots=True)
class Promotion:
    """A bundle, by its folder among those installed, that answers since then.

    An empty `bundle` stands for the one that the settings name.
    """

    id: str
    bundle: str
    sorter: str
    at: datetime


class PromotionLog(LogPart):
    """The part of the log that is about the choice of the model."""

    def add_promotion(self, promotion: Promotion) -> None:
        """Record a choice; a resend changes nothing.

        Raises ConflictError when the id already belongs to another choice.
        """
        self._database.write(
            lambda connection: record_once(
                connection, promotions, promotion, said(promotion), "promotion"
            )
        )

    def promoted_bundle(self) -> str:
        """Return the bundle that answers; empty where none was promoted or all were taken back."""
        newest = select(func.max(promotions.c.seq)).scalar_subquery()
        found = self._firsts(select(promotions.c.bundle).where(promotions.c.seq == newest))
        return found[0] if found else ""

    def list_promotions(self) -> tuple[Promotion, ...]:
        """Return all choices, the oldest first."""
        rows = self._rows(select(promotions).order_by(promotions.c.seq))
        return tuple(record(Promotion, row) for row in rows)
