"""How model bundles look in a request and in an answer."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from service.bundles.usecases import BundlesView
from service.web.wire import Id


class BundleOut(BaseModel):
    """A bundle that can be promoted by `name`; `problem` says why it can't, if so."""

    name: str
    title: str
    shipped: bool
    problem: str


class PromotionOut(BaseModel):
    """A bundle that answered since then; an empty `bundle` is the one of the settings."""

    bundle: str
    sorter: str
    at: datetime


class BundlesOut(BaseModel):
    """Which model answers, what could, and what did, the newest first."""

    answering: str | None
    promoted: str
    previous: str | None
    bundles: list[BundleOut]
    history: list[PromotionOut]
    problem: str

    @classmethod
    def of(cls, view: BundlesView) -> BundlesOut:
        """Build from the use case's view."""
        return cls(
            answering=view.answering,
            promoted=view.promoted,
            previous=view.previous,
            bundles=[
                BundleOut(
                    name=each.name, title=each.title, shipped=each.shipped, problem=each.problem
                )
                for each in view.bundles
            ],
            history=[
                PromotionOut(bundle=each.bundle, sorter=each.sorter, at=each.at)
                for each in view.history
            ],
            problem=view.problem,
        )


class PromoteBundle(BaseModel):
    """A shipped or installed bundle, by name; a resend with the same id changes nothing."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    promotion_id: Id
    bundle: str = Field(min_length=1, max_length=400)
    sorter: str = ""


class RollBack(BaseModel):
    """Back to what answered before the last promotion."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    promotion_id: Id
    sorter: str = ""
