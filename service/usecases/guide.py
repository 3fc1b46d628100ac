"""The list of categories, each with the routes that a programme gives it."""

from __future__ import annotations

from classifier.domain.programme import Programme
from classifier.domain.suggestion import RouteAnswer, suggestion_for_category
from service.usecases.services import Services
from service.usecases.sorts import programme_name
from service.usecases.views import Guide, GuideLine


def list_categories(services: Services, *, programme_id: str | None = None) -> Guide:
    """Return all categories; with a programme, each with every route it can take.

    Raises UnknownIdError when there is no such programme.
    """
    programme = None if programme_id is None else services.programme(programme_id)
    groups = {group.id: group for group in services.categories.groups}
    lines = tuple(
        GuideLine(
            category=category,
            group=groups[category.group],
            cautions=services.categories.cautions_of(category),
            routes=() if programme is None else _routes(services, programme, category.id),
        )
        for category in services.categories.categories
    )
    return Guide(
        version=services.categories.version,
        programme=None if programme is None else programme_name(programme),
        lines=lines,
        facts=services.categories.facts,
    )


def _routes(services: Services, programme: Programme, category_id: str) -> tuple[RouteAnswer, ...]:
    suggestion = suggestion_for_category(category_id, services.categories, programme)
    return suggestion.alternatives[0].routes
