"""From a model's ranked forms to what a person is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from classifier.rules.programme import Programme
from classifier.rules.suggestion import resolve_route, suggest, suggestion_for_category
from classifier.rules.suggestion_json import to_json
from classifier.rules.suggestion_parts import Ranked, RouteAnswer, Suggestion
from service.services import Services
from service.store.rows import CaptureRecord, CaptureState, ModelRecord

NO_MODEL_ADVICE = "Choose what it is from the list by hand; everything else works as usual."

OLD_LIST_ADVICE = (
    "This photo was looked at with an older list of categories. Choose what it is from the list."
)


@dataclass(frozen=True, slots=True)
class ModelName:
    """Which model spoke."""

    name: str
    version: str


def suggestion_of(services: Services, state: CaptureState, programme: Programme) -> Suggestion:
    """Return what to show for a photo under the answers given so far.

    It is worked out from what was recorded: the model's forms, the bundle's own map of that time
    and what had been learned by then, so that an old photo reads the same after the bundle was
    replaced and more was learned.
    """
    capture = state.capture
    if capture.model is None or not _listed(services, capture, capture.model):
        return Suggestion(
            decision="unsure",
            forms=(),
            categories=(),
            route=None,
            question=None,
            cautions=(),
            alternatives=(),
            check=(NO_MODEL_ADVICE if capture.model is None else OLD_LIST_ADVICE,),
            facts=services.categories.known_answers(state.answers),
        )
    return suggest(
        [Ranked(form, p) for form, p in capture.forms],
        capture.model.form_categories,
        services.categories,
        programme,
        capture.model.thresholds,
        facts=state.answers,
        learned=None if capture.learned is None else dict(capture.learned.categories),
    )


def _listed(services: Services, capture: CaptureRecord, model: ModelRecord) -> bool:
    """Tell whether the list still holds all that a photo may show."""
    categories = {each for form, _ in capture.forms for each in model.form_categories.get(form, ())}
    if capture.learned is not None:
        categories.update(category for category, _ in capture.learned.categories)
    return all(map(services.categories.has, categories))


def suggestion_by_hand(
    services: Services, category: str, programme: Programme, facts: Mapping[str, str]
) -> Suggestion:
    """Return what to show for a category that a person chose.

    Raises UnknownIdError for a category, fact or answer that is not there.
    """
    return suggestion_for_category(category, services.categories, programme, facts=facts)


def recorded_route(
    services: Services, category: str, programme: Programme, facts: Mapping[str, str]
) -> RouteAnswer:
    """Return the route under which an item is recorded, the most cautious while a fact is open.

    Raises UnknownIdError for a category, fact or answer that is not there.
    """
    return resolve_route(category, services.categories, programme, facts)


def suggestion_json(
    services: Services,
    suggestion: Suggestion,
    programme_id: str,
    *,
    model: ModelName | None = None,
) -> dict[str, Any]:
    """Return a suggestion in the one JSON shape that the command line shares."""
    return to_json(
        suggestion,
        categories=services.categories,
        programme=services.programme(programme_id),
        model_name=None if model is None else model.name,
        model_version=None if model is None else model.version,
    )
