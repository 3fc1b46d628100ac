"""The report as a page that prints on one or two sheets."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from classifier.report.categories import Names
from classifier.report.conversions import Scope
from service.reports import usecases as reports
from service.reports.view import (
    MOST_OVERRULED,
    count_and_weight_rows,
    details_corrected,
    outcome_rows,
    weight_rows,
)
from service.web.charts import bar_chart
from service.web.dependencies import ServicesDep
from service.web.page_support import sort_frame
from service.web.render import page
from service.web.route_marks import route_defs

router = APIRouter(prefix="/sorts/{sort_id}")


@router.get("/report", response_class=HTMLResponse)
def show_report(services: ServicesDep, sort_id: str, weights: Scope | None = None) -> HTMLResponse:
    """Show the report; JSON and CSV hold the same figures."""
    report = reports.report(services, sort_id, weights_from=weights)
    frame = sort_frame(services, report.sort, "report")
    table = report.item_weights
    weights_of, pairs = weight_rows(report), count_and_weight_rows(report)
    outcomes = outcome_rows(report)
    return page(
        "report.html",
        **frame,
        report=report,
        weights=weights,
        item_weights={line.category: line for line in table.lines} if table else {},
        category_name=Names(services.categories).category,
        route_defs=route_defs(),
        most_overruled=MOST_OVERRULED,
        details_corrected=details_corrected(report, services.programmes),
        outcome_chart=outcomes
        and bar_chart(
            outcomes, "What can be recovered and what can not, hatched by route", whole=1.0
        ),
        weight_chart=weights_of
        and bar_chart(weights_of, "Share of the weight by category, hatched by route"),
        pair_chart=pairs
        and bar_chart(
            pairs,
            "Share of the count beside share of the weight, by category",
            heads=("count", "weight"),
        ),
    )
