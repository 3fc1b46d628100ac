"""The report of a sort in the JSON interface, as JSON and CSV."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from classifier.report.as_json import report_json
from classifier.report.conversions import Scope
from classifier.report.rows import dictionary_csv, report_csv
from service.reports import usecases as reports
from service.web.dependencies import ServicesDep

router = APIRouter()

WeightsFrom = Scope | None
"""Sort, study or store: over which sorts mean item weights are pooled; else the study, if any."""


class CsvResponse(Response):
    """CSV, for the description of the interface too."""

    media_type = "text/csv"


@router.get("/sorts/{sort_id}/report")
@router.get("/sorts/{sort_id}/report.json")
def get_report(services: ServicesDep, sort_id: str, weights: WeightsFrom = None) -> dict[str, Any]:
    """Return the report as JSON; `weights` says which sorts mean item weights are from."""
    return report_json(reports.report(services, sort_id, weights_from=weights))


@router.get("/sorts/{sort_id}/report.csv", response_class=CsvResponse)
def get_report_csv(services: ServicesDep, sort_id: str, weights: WeightsFrom = None) -> Response:
    """Return the report as tidy CSV; `weights` as for JSON."""
    return _csv(report_csv(reports.report(services, sort_id, weights_from=weights)), "report.csv")


@router.get("/data-dictionary.csv", response_class=CsvResponse)
def get_data_dictionary() -> Response:
    """Return what each column of the report's CSV holds."""
    return _csv(dictionary_csv(), "data-dictionary.csv")


def _csv(text: str, name: str) -> Response:
    return CsvResponse(text, headers={"content-disposition": f'attachment; filename="{name}"'})
