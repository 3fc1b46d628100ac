"""Categories and local rules in the JSON interface."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.guide import usecases as guide
from service.guide.wire import CategoriesOut, ProgrammeOut
from service.web.dependencies import ServicesDep

router = APIRouter()

LONGEST_SEARCH = 200


@router.get("/programmes")
def get_programmes(services: ServicesDep) -> list[ProgrammeOut]:
    """List the programmes that a sort can be started under."""
    return [ProgrammeOut.model_validate(each) for each in guide.list_programmes(services)]


@router.get("/categories")
def get_categories(
    services: ServicesDep,
    programme: Annotated[str | None, Query()] = None,
    q: Annotated[str, Query(max_length=LONGEST_SEARCH)] = "",
) -> CategoriesOut:
    """List categories and facts; with a programme, each with the routes it can take.

    With `q`, only the categories that these words may mean, the likeliest first and hazards before
    others that fit alike; none where nothing is called that.
    """
    found = guide.list_categories(services, programme_id=programme, word=q)
    return CategoriesOut.model_validate(found)
