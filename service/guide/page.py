"""The guide: what belongs on each pile, what looks like it, and where it goes."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from classifier.rules.category_parts import Category
from classifier.rules.programme import Programme
from service.guide.pickers import RouteWay, ways
from service.services import Services
from service.web.dependencies import ServicesDep
from service.web.render import page
from service.web.route_marks import route_defs

router = APIRouter(prefix="/categories")


@dataclass(frozen=True, slots=True)
class Entry:
    """One category of the guide with the ways it goes."""

    category: Category
    ways: tuple[RouteWay, ...]


@dataclass(frozen=True, slots=True)
class Chapter:
    """One group of the guide."""

    id: str
    name: str
    entries: tuple[Entry, ...]


@router.get("", response_class=HTMLResponse)
def show_guide(services: ServicesDep, programme: str = "") -> HTMLResponse:
    """List all piles with their routes under a programme."""
    chosen = _programme(services, programme)
    categories = services.categories
    chapters = [
        Chapter(
            group.id,
            group.name,
            tuple(
                Entry(category, ways(category, chosen, categories))
                for category in categories.in_group(group.id)
            ),
        )
        for group in categories.groups
    ]
    return page(
        "guide.html",
        here="guide",
        programme=chosen,
        programmes=list(services.programmes.values()),
        groups=chapters,
        route_defs=route_defs(),
    )


@router.get("/{category_id}", response_class=HTMLResponse)
def show_category(services: ServicesDep, category_id: str, programme: str = "") -> HTMLResponse:
    """Show one pile: what belongs, what does not, look-alikes, cautions and routes."""
    categories = services.categories
    category = categories.get(category_id)
    chosen = _programme(services, programme)
    return page(
        "category.html",
        here="guide",
        category=category,
        group=next(each for each in categories.groups if each.id == category.group),
        cautions=categories.cautions_of(category),
        handling=categories.handling_of(category),
        look_alikes=[(categories.get(each.category), each.tell) for each in category.look_alikes],
        ways=ways(category, chosen, categories),
        programme=chosen,
        programmes=list(services.programmes.values()),
        route_defs=route_defs(),
    )


def _programme(services: Services, programme_id: str) -> Programme:
    return services.programme(programme_id or next(iter(services.programmes)))
