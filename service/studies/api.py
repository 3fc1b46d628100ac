"""Studies in the JSON interface."""

from __future__ import annotations

from fastapi import APIRouter

from service.sorts import studies
from service.studies.wire import NewStudy, SortStudy, StudyOut
from service.web.dependencies import ServicesDep

router = APIRouter()


@router.get("/studies")
def get_studies(services: ServicesDep) -> list[StudyOut]:
    """List studies, the newest first, each with its sorts."""
    return [StudyOut.model_validate(line) for line in studies.list_studies(services)]


@router.post("/studies", status_code=201)
def post_study(services: ServicesDep, body: NewStudy) -> StudyOut:
    """Start a study."""
    study = studies.create_study(services, **body.model_dump())
    return StudyOut.model_validate(studies.get_study(services, study.id))


@router.get("/studies/{study_id}")
def get_study(services: ServicesDep, study_id: str) -> StudyOut:
    """Return a study with its sorts."""
    return StudyOut.model_validate(studies.get_study(services, study_id))


@router.post("/sorts/{sort_id}/study")
def post_sort_study(services: ServicesDep, sort_id: str, body: SortStudy) -> StudyOut | None:
    """Put a sort into a study, or take it out; what it confirmed teaches where it is now."""
    studies.place_sort(services, sort_id=sort_id, **body.model_dump())
    study = services.log.study_of_sort(sort_id)
    return None if study is None else StudyOut.model_validate(studies.get_study(services, study.id))
