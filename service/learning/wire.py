"""How learning looks in requests and answers."""

from __future__ import annotations

from functools import partial
from typing import Annotated

from pydantic import AfterValidator, Field, StrictBool

from service.web.wire import Answer, Id, Line, Request, Sorter, Whole


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


Loss = Annotated[float, AfterValidator(partial(round, ndigits=6))]


class AccuracyOut(Answer):
    """How often the suggestion agreed with a blind choice; null figures where there is no audit.

    `value` is `agreed / audits`, `low` and `high` its Wilson interval at `level`.
    """

    within = ("estimate",)
    audits: int
    agreed: int
    value: float | None
    low: float | None
    high: float | None
    level: float | None


class LearningOut(Answer):
    """How learning in place stands in a study, or in a sort outside one.

    Losses are -log p of the confirmed category (nats), one a confirmation in the order of the log,
    each photo predicted before it was learned from. `trusted`: what was learned answers, else the
    shipped model. `ready` is false while the first head after a start is being built.
    """

    within = ("scope",)
    scope_id: str = Field(validation_alias="id")
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
    shipped_losses: list[Loss]
    learned_losses: list[Loss]
    start: str | None
    start_problem: str
    accuracy: AccuracyOut
