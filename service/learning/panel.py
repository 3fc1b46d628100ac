"""What the pages of studies and of sorts show about learning."""

from __future__ import annotations

from typing import Any

from service.learning import usecases as learning
from service.learning.curve import curve_chart, curves, milestones
from service.services import Services

FEWEST_FOR_A_CURVE = 5
MOST_CHOICES = 40


def learning_panel(services: Services, scope_id: str) -> dict[str, Any]:
    """Return what the part of a page about learning shows."""
    state = learning.learning_state(services, scope_id)
    found = curves(state.shipped_losses, state.learned_losses)
    drawn = state.confirmations >= FEWEST_FOR_A_CURVE
    return {
        "state": state,
        "curves": found,
        "chart": curve_chart(found) if drawn else "",
        "milestones": milestones(found),
        "others": _others(services, scope_id),
    }


def _others(services: Services, scope_id: str) -> list[tuple[str, str]]:
    """Return the studies, and the newest sorts outside one, that learning could start from."""
    found = services.log.list_sorts(limit=MOST_CHOICES)
    inside = services.log.studies_of_sorts([sort.id for sort in found])
    named = [(study.id, f"study {study.name}") for study in services.log.studies()]
    named += [(sort.id, f"sort {sort.name}") for sort in found if sort.id not in inside]
    return [(ident, name) for ident, name in named if ident != scope_id]
