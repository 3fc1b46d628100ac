"""The report of a study: a public page, a technical annex, and both figures' data as files."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, get_args
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from classifier.errors import InvalidEntryError
from classifier.estimators._moments import Estimator
from classifier.report.categories import Names
from classifier.rules.category_parts import Categories
from classifier.study.coverage import load_coverage
from classifier.study.dictionary import CODES
from classifier.study.files import dumped, study_files, study_json, study_zip
from classifier.study.plan import StudyPlan, plan_from, plan_from_text
from classifier.study.report import StudyReport
from classifier.study.words import coverage_texts, kept_within, main_shares, uncertainty
from service.services import Services
from service.studies.usecases import study_report
from service.studies.view import (
    NOTHING,
    annex_tables,
    assumptions,
    by_id,
    difference_sentences,
    in_sentence,
    methods,
    points,
    range_words,
    share_rows,
    unit_word,
    weighed,
    whole,
)
from service.web.charts import bar_chart
from service.web.dependencies import ServicesDep
from service.web.render import page
from service.web.route_marks import route_defs

router = APIRouter(prefix="/studies/{study_id}")
_FIELDS = (
    "level", "estimator", "parts", "strata", "compare", "what_if", "national", "total",
    "standard_error", "unit", "weights", "person_weights",
    "containers", "plan",
)  # fmt: skip
_LISTS = ("parts", "strata")
_LEAST_LEVEL, _MOST_LEVEL = 50.0, 99.9


@router.get("/report", response_class=HTMLResponse)
def show_public(services: ServicesDep, request: Request, study_id: str) -> HTMLResponse:
    """Show the page that anybody can read."""
    report, frame = _worked_out(services, request, study_id)
    return public_page(report, showing="report", **frame)


@router.get("/annex", response_class=HTMLResponse)
def show_annex(services: ServicesDep, request: Request, study_id: str) -> HTMLResponse:
    """Show the annex for those who check."""
    report, frame = _worked_out(services, request, study_id)
    return annex_page(report, services, showing="annex", **frame)


@router.get("/report.json")
def get_json(services: ServicesDep, request: Request, study_id: str) -> Response:
    """Return every figure as JSON."""
    report = study_report(services, study_id, _plan(services, request))
    return Response(dumped(study_json(report)), media_type="application/json")


@router.get("/package.zip")
def get_package(services: ServicesDep, request: Request, study_id: str) -> Response:
    """Return the data package."""
    report = study_report(services, study_id, _plan(services, request))
    return Response(
        study_zip(study_files(report, services.categories)),
        media_type="application/zip",
        headers={"content-disposition": 'attachment; filename="study.zip"'},
    )


def public_page(
    report: StudyReport, *, study_id: str = "", status: int = 200, **frame: Any
) -> HTMLResponse:
    """Return the public page; without a study id it has no links into the service."""
    return page(
        "study_public.html",
        status=status,
        here="studies",
        report=report,
        study_id=study_id,
        route_defs=route_defs(),
        headline=_headline(report),
        weighed=weighed(report.kg),
        counted=whole(report.objects),
        group_chart=_chart(report, "group"),
        route_chart=_chart(report, "route"),
        uncertainty=uncertainty(report),
        differences=difference_sentences(report),
        what_if=_what_if(report),
        **frame,
    )


def annex_page(
    report: StudyReport, services: Services, *, study_id: str = "", status: int = 200, **frame: Any
) -> HTMLResponse:
    """Return the technical annex; without a study id it has no links into the service."""
    names, table = Names(services.categories), load_coverage()
    plan = {key: value for key, value in asdict(report.plan).items() if value not in ("", None)}
    return page(
        "study_annex.html",
        status=status,
        here="studies",
        report=report,
        study_id=study_id,
        counted=whole(report.objects),
        days=_span([sort.days for sort in report.table.sorts]),
        persons=_span([sort.persons for sort in report.table.sorts]),
        sorters=len({name for sort in report.table.sorts for name in sort.sorters}) or NOTHING,
        tables=(tables := annex_tables(report)),
        estimated=any(table.ident != "measured" for table in tables),
        methods=methods(report),
        codes=CODES,
        assumptions=assumptions(report),
        coverage=list(coverage_texts(report)),
        studies=f"{table.studies:,}",
        made_with=table.made_with,
        rare=[names.category(each) for each, kind in report.classes.items() if kind == "rare"],
        unit_word=unit_word(report),
        plan_text=json.dumps(plan, ensure_ascii=False, indent=2),
        **frame,
    )


def _worked_out(
    services: Services, request: Request, study_id: str
) -> tuple[StudyReport, dict[str, Any]]:
    """Return the report under the plan of the form; a refused one shows the default's beside it."""
    typed = {name: request.query_params.get(name, "") for name in _FIELDS}
    refusal, status = "", 200
    try:
        plan = _plan(services, request)
    except InvalidEntryError as error:
        refusal, status, plan = error.message.rstrip("."), 422, StudyPlan()
    query = urlencode({key: value for key, value in typed.items() if value})
    frame = {
        "study_id": study_id.lower(),
        "query": f"?{query}" if query else "",
        "form": {**typed, "level": typed["level"] or "90"},
        "estimators": get_args(Estimator),
        "refusal": refusal,
        "status": status,
    }
    return study_report(services, study_id, plan), frame


def _plan(services: Services, request: Request) -> StudyPlan:
    typed = {name: request.query_params.get(name, "").strip() for name in _FIELDS}
    if typed["plan"]:
        return plan_from_text(typed["plan"], services.categories)
    given: dict[str, Any] = {
        name: typed[name] for name in ("estimator", "compare", "national") if typed[name]
    }
    for name in _LISTS:
        if typed[name]:
            given[name] = _pieces(typed[name])
    if typed["what_if"]:
        given["what_if"] = _category_ids(typed["what_if"], services.categories)
    if typed["containers"]:
        given["streams"] = {"part": typed["containers"]}
    if typed["level"]:
        given["level"] = _level(typed["level"])
    if typed["standard_error"] and not typed["total"]:
        raise InvalidEntryError(
            "a standard error is given and no total: give the total that it belongs to, or neither"
        )
    if typed["total"]:
        given["population"] = {
            "total": _number(typed["total"], "total"),
            "standard_error": _number(typed["standard_error"] or "0", "standard error"),
            "unit": typed["unit"] or "t",
        }
    for name in ("weights", "person_weights"):
        if typed[name]:
            lines = typed[name].splitlines()
            given[name] = dict(_weight(line) for line in lines if line.strip())
    return plan_from(given, services.categories, name="the form")


def _pieces(text: str) -> list[str]:
    return [each.strip() for each in text.split(",") if each.strip()]


def _category_ids(text: str, categories: Categories) -> list[str]:
    """Return the categories of a list of ids or names, with commas between.

    What stands in brackets is left out, for commas stand there, too.
    """
    known = {each.id: each.id for each in categories.categories}
    known |= {_bare(each.name): each.id for each in categories.categories}
    wanted = _pieces(_bare(text))
    for each in wanted:
        if each not in known:
            raise InvalidEntryError(
                f"what if: there is no category {each!r}; write the names as the Guide has them, "
                "with commas between"
            )
    return [known[each] for each in wanted]


def _bare(name: str) -> str:
    return re.sub(r"\s*\([^)]*\)", "", name).casefold()


def _level(text: str) -> float:
    level = _number(text, "confidence")
    if not _LEAST_LEVEL <= level <= _MOST_LEVEL:
        raise InvalidEntryError(
            f"confidence is {text!r}; allowed: {_LEAST_LEVEL:g} to {_MOST_LEVEL:g} per cent, "
            "such as 90"
        )
    return level / 100


def _weight(line: str) -> tuple[str, float]:
    label, equals, size = line.rpartition("=")
    if not equals or not label.strip():
        raise InvalidEntryError(
            f"the weight {line!r} is none; allowed: stratum = size, one a line; write it so"
        )
    return label.strip().strip('"'), _number(size, f"weight of {label.strip()}")


def _number(text: str, what: str) -> float:
    try:
        return float(text.strip())
    except ValueError as error:
        raise InvalidEntryError(
            f"{what} is {text!r}; allowed: a number such as 90 or 1250.5; write it so"
        ) from error


def _chart(report: StudyReport, level: str) -> Markup | str:
    rows = share_rows(report, level)
    return bar_chart(rows, f"Share of the weight by {level}") if rows else ""


def _headline(report: StudyReport) -> list[tuple[str, str, str]]:
    mass = f"{weighed(report.kg)} in all, measured" if report.kg else "none of them weighed"
    boxes = [("Lots sorted", str(report.sorts), mass)]
    for each in report.select("kg_per_person_week", level="total"):
        low = max(each.low or 0.0, 0.0)
        likely = "" if each.high is None else f"likely {low:.1f} to {each.high:.1f} kg"
        boxes.append(("Per person per week", f"{each.value:.1f} kg", likely))
    for each in main_shares(report, "kind"):
        if each.about.id == "recovered":
            boxes.append(
                (
                    "Could be recovered, put in the right place",
                    f"{points(each.value)} %",
                    _likely(range_words(each)),
                )
            )
    for measure, words in (
        ("capture", "Of the recyclables, in the recycling container"),
        ("contamination", "Of the recycling container, not accepted"),
    ):
        for each in report.select(measure):
            boxes.append((words, f"{points(each.value)} %", _likely(range_words(each))))
    return boxes if report.figures else []


def _span(numbers: Sequence[int]) -> str:
    """Return one number, or the least and the most of several."""
    if not numbers:
        return NOTHING
    least, most = min(numbers), max(numbers)
    return str(least) if least == most else f"{least} to {most}"


def _likely(words: str) -> str:
    return words.partition("(")[2].rstrip(")")


def _what_if(report: StudyReport) -> str:
    change = report.select("recovery_potential_change")
    if not change or not report.plan.what_if:
        return ""
    names = by_id(main_shares(report, "category"))
    taken = [in_sentence(names[each].about.name) for each in report.plan.what_if if each in names]
    these = " and ".join(taken) or "more"
    if not change[0].value:
        return (
            f"No more could be recovered if the local rules also accepted {these}: they do so "
            "already, or there was none."
        )
    ends = kept_within(change[0])
    likely = f" (likely {points(ends[0])} to {points(ends[1])})" if ends else ""
    return (
        f"If the local rules also accepted {these}, {points(change[0].value)} "
        f"points more of the weight could be recovered{likely}. What people would really bring is "
        "less."
    )
