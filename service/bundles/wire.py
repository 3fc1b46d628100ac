"""How model bundles look in a request and in an answer."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from service.web.wire import Answer, Id, Request


class BundleOut(Answer):
    """A bundle that can be promoted by `name`; `problem` says why it can't, if so."""

    name: str
    title: str
    shipped: bool
    problem: str


class PromotionOut(Answer):
    """A bundle that answered since then; an empty `bundle` is the one of the settings."""

    bundle: str
    sorter: str
    at: datetime


class BundlesOut(Answer):
    """Which model answers, what could, and what did, the newest first."""

    answering: str | None
    promoted: str
    previous: str | None
    bundles: list[BundleOut]
    history: list[PromotionOut]
    problem: str


class PromoteBundle(Request):
    """A shipped or installed bundle, by name; a resend with the same id changes nothing."""

    promotion_id: Id
    bundle: str = Field(min_length=1, max_length=400)
    sorter: str = ""


class RollBack(Request):
    """Back to what answered before the last promotion."""

    promotion_id: Id
    sorter: str = ""
