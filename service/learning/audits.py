"""Audits: photos of which a sorter says what they show before seeing what the model says.

Confirmations made after seeing a suggestion lean towards it. Only audits judge the model, and any
accuracy quoted comes from them alone.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from classifier.estimators.intervals import wilson
from classifier.estimators.result import Estimate
from classifier.rules.category_parts import Caution
from classifier.rules.suggestion_case import CAUTION_P
from classifier.rules.suggestion_parts import Suggestion
from service.services import Services
from service.store.rows import CaptureState

_STEPS = 10_000

HAZARD = Caution(
    "audit_hazard",
    "Look before you touch it: it may do harm. If it is sharp, broken glass, a battery or holds "
    "one, under pressure, a chemical, a medicine or something nobody knows, set it aside, don't "
    "sort it by hand, and follow your local rules.",
)
"""The one caution of a hidden suggestion: the same for every hazard, so that it says nothing."""

CHOOSE_FIRST = "Choose what it is from the list; the suggestion is shown afterwards."


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Of how many audits the suggestion agreed with the blind choice; no estimate without one."""

    audits: int
    agreed: int
    estimate: Estimate | None


def is_audit(scope_id: str, capture_id: str, percent: int) -> bool:
    """Tell whether a photo is an audit: drawn by a digest, the same whenever it is asked."""
    digest = hashlib.sha256(f"{scope_id}:{capture_id}".encode()).digest()
    return int.from_bytes(digest[:8], "big") % _STEPS < percent * _STEPS // 100


def is_hidden(state: CaptureState) -> bool:
    """Tell whether the suggestion must not be shown yet: nobody has said what it is.

    Once it was seen it stays so: an undone choice can't be made blind again.
    """
    return state.capture.audit and not state.items


def blind(services: Services, suggestion: Suggestion) -> Suggestion:
    """Return what is shown instead of a hidden suggestion: nothing but a caution, if need be.

    Safety goes before blindness: where a hazard is likely enough that a suggestion would warn of
    one, the caution says that there may be one, though not which.
    """
    hazards = [each for each in suggestion.categories if services.categories.get(each.id).stop]
    warned = suggestion.decision == "stop" or any(each.p >= CAUTION_P for each in hazards)
    return Suggestion(
        decision="unsure",
        forms=(),
        categories=(),
        route=None,
        question=None,
        cautions=(HAZARD,) if warned else (),
        alternatives=(),
        check=(CHOOSE_FIRST,),
        facts=suggestion.facts,
    )


def accuracy(services: Services, scope_id: str) -> Accuracy:
    """Return how often the suggestion agreed with the blind choice, over all audits of a scope."""
    choices = services.log.blind_choices(scope_id)
    judged = [choice for choice in choices if choice.suggested is not None]
    agreed = sum(choice.suggested == choice.chosen for choice in judged)
    return Accuracy(
        audits=len(judged),
        agreed=agreed,
        estimate=wilson(agreed, len(judged)) if judged else None,
    )
