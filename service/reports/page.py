"""The report as a page that prints on one or two sheets."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from classifier.report.categories import Names
from classifier.report.conversions import Scope
from service.reports import usecases as reports
from service.reports.view import (
    MOST_OVERRULED,
    details_corrected,
    fold_bars,
    fold_pairs,
    outcome_bars,
    share_pairs,
    weight_bars,
)
from service.web.charts import outcome_chart, pair_chart, weight_chart
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
    bars, pairs = weight_bars(report), share_pairs(report)
    outcomes = outcome_bars(report)
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
        outcome_charts={
            "wide": outcome_chart(outcomes),
            "narrow": outcome_chart(outcomes, narrow=True),
            "on-paper": outcome_chart(outcomes, ident="outcome-paper"),
        }
        if outcomes
        else {},
        weight_charts={
            "wide": weight_chart(bars),
            "narrow": weight_chart(fold_bars(bars), narrow=True),
            "on-paper": weight_chart(fold_bars(bars), ident="weight-paper"),
        }
        if bars
        else {},
        pair_charts={
            "wide": pair_chart(pairs),
            "narrow": pair_chart(fold_pairs(pairs), narrow=True),
            "on-paper": pair_chart(fold_pairs(pairs), ident="pairs-paper"),
        }
        if pairs
        else {},
    )
