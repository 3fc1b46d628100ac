"""How learning looks in requests and answers."""

from __future__ import annotations

from pydantic import BaseModel, Field, StrictBool

from service.learning.usecases import LearningState
from service.web.wire import (
    Id,
    Line,
    Request,
    Sorter,
    Whole,
)


class LearningChange(Request):
    """Whether confirmations change suggestions, and what share of photos is judged blind."""

    change_id: Id
    learns: StrictBool
    audit_percent: Whole = Field(ge=0, le=100)
    sorter: Sorter = ""


class LearningStart(Request):
    """What learning starts from: a head in base64, another study or sort, or the shipped model.

    Give `head` with a `name`, or `from_scope`, or neither for the shipped model.
    """

    start_id: Id
    head: str | None = None
    name: Line = ""
    from_scope: Id | None = None
    sorter: Sorter = ""


class AccuracyOut(BaseModel):
    """How often the suggestion agreed with a blind choice; null figures where there is no audit.

    `value` is `agreed / audits`, `low` and `high` its Wilson interval at `level`.
    """

    audits: int
    agreed: int
    value: float | None
    low: float | None
    high: float | None
    level: float | None


class LearningOut(BaseModel):
    """How learning in place stands in a study, or in a sort outside one.

    Losses are -log p of the confirmed category (nats), one a confirmation in the order of the log,
    each photo predicted before it was learned from. `trusted`: what was learned answers, else the
    shipped model. `ready` is false while the first head after a start is being built.
    """

    scope_id: str
    name: str
    is_study: bool
    learns: bool
    audit_percent: int
    model: str | None
    ready: bool
    up_to_date: bool
    confirmations: int
    left_out: int
    trusted: bool
    shipped_losses: list[float]
    learned_losses: list[float]
    start: str | None
    start_problem: str
    accuracy: AccuracyOut

    @classmethod
    def of(cls, state: LearningState) -> LearningOut:
        """Build from the use case's view."""
        estimate = state.accuracy.estimate
        return cls(
            scope_id=state.scope.id,
            name=state.scope.name,
            is_study=state.scope.is_study,
            learns=state.learns,
            audit_percent=state.audit_percent,
            model=state.model,
            ready=state.ready,
            up_to_date=state.up_to_date,
            confirmations=state.confirmations,
            left_out=state.left_out,
            trusted=state.trusted,
            shipped_losses=[round(loss, 6) for loss in state.shipped_losses],
            learned_losses=[round(loss, 6) for loss in state.learned_losses],
            start=state.start,
            start_problem=state.start_problem,
            accuracy=AccuracyOut(
                audits=state.accuracy.audits,
                agreed=state.accuracy.agreed,
                value=None if estimate is None else estimate.value,
                low=None if estimate is None else estimate.low,
                high=None if estimate is None else estimate.high,
                level=None if estimate is None else estimate.level,
            ),
        )
