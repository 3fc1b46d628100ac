"""A study as files: tidy CSV with its schema as a Data Package, and JSON.

The package follows the Data Package and Table Schema standards of Frictionless Data
(specs.frictionlessdata.io). Every estimate can be worked out again from its tables and the plan in
datapackage.json. Names and places of sorts are left out of it on purpose: a table that is handed on
must not say what is in whose bin.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import Any

from classifier.csv_text import csv_text
from classifier.report.categories import Names
from classifier.report.routes import kind_of, route_name
from classifier.rules.category_parts import Categories
from classifier.study.dictionary import CODES, MEASURES, SCHEMAS, column_names
from classifier.study.figures import Figure
from classifier.study.report import StudyReport

Row = dict[str, Any]
_DIGITS = 9
_ZIP_DAY = (1980, 1, 1, 0, 0, 0)
"""Files of one study are the same byte for byte, whenever they are made."""


def figure_rows(report: StudyReport) -> list[Row]:
    """Return one row a figure, with every column of the table of figures."""
    return [
        {"study": report.name, **_json_row(each), "assumptions": "; ".join(each.assumptions)}
        for each in report.figures
    ]


def study_json(report: StudyReport) -> Row:
    """Return everything that a report says as plain values."""
    plan = report.plan
    return {
        "study": report.name,
        "plan": asdict(plan),
        "sorts": report.sorts,
        "first_day": report.first_day.isoformat() if report.first_day else None,
        "last_day": report.last_day.isoformat() if report.last_day else None,
        "places": report.places,
        "persons": report.persons,
        "objects": report.objects,
        "kg_measured": _number(report.kg),
        "strata": [asdict(each) for each in report.strata],
        "programmes": list(report.programmes),
        "categories_version": report.categories_version,
        "notes": list(report.notes),
        "coverage_shortfalls": [asdict(each) for each in report.coverage],
        "classes": dict(report.classes),
        "figures": [_json_row(each) for each in report.figures],
    }


def study_files(report: StudyReport, categories: Categories) -> dict[str, str]:
    """Return the files of the data package by name: five tables and datapackage.json."""
    tables: list[tuple[str, str, Iterable[Row]]] = [
        ("figures", "Every figure of the report", figure_rows(report)),
        ("sorts", "The sorts, without names and places", _sorts(report)),
        ("masses", "What was weighed and counted in each sort", _masses(report, categories)),
        ("routes", "Where that could go, by the rules of the sort's programme", _routes(report)),
        ("measures", "What the measures of the figures mean", _measures(report)),
    ]
    files = {f"{name}.csv": _csv(name, rows) for name, _, rows in tables}
    package = {
        "profile": "tabular-data-package",
        "name": _slug(report.name),
        "title": report.name,
        "description": "Composition of discards: figures of a study with what each rests on. "
        + " ".join(report.notes),
        "keywords": ["waste", "composition", "sorting"],
        "plan": asdict(report.plan),
        "programmes": list(report.programmes),
        "categories_version": report.categories_version,
        "notes": list(report.notes),
        "codes_of_sources": CODES,
        "resources": [_resource(name, title) for name, title, _ in tables],
    }
    return {**files, "datapackage.json": dumped(package)}


def _resource(name: str, title: str) -> Row:
    of_a_sort = {"fields": "sort", "reference": {"resource": "sorts", "fields": "sort"}}
    keys = {"foreignKeys": [of_a_sort]} if name in ("masses", "routes") else {}
    return {
        "profile": "tabular-data-resource",
        "name": name,
        "title": title,
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "header": True},
        "schema": {**SCHEMAS[name], **keys},
    }


def study_zip(files: Mapping[str, str]) -> bytes:
    """Return files as one zip archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(zipfile.ZipInfo(name, _ZIP_DAY), text.encode("utf-8"))
    return out.getvalue()


def dumped(value: Any) -> str:
    """Return plain values as JSON text."""
    return json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _json_row(each: Figure) -> Row:
    return {
        "stratum": each.stratum,
        "level": each.about.level,
        "id": each.about.id,
        "name": each.about.name,
        "measure": each.measure,
        "basis": each.basis,
        "unit": each.unit,
        "value": _number(each.value),
        "low": _number(each.low),
        "high": _number(each.high),
        "interval": each.kind or None,
        "confidence": each.level,
        "n": each.n,
        "method": each.method or None,
        "assumptions": list(each.assumptions),
        "source": each.source or None,
    }


def _sorts(report: StudyReport) -> Iterator[Row]:
    places: dict[str, int] = {}
    for number, sort in enumerate(report.table.sorts, start=1):
        place = places.setdefault(sort.place, len(places) + 1) if sort.place else None
        yield {
            "sort": number,
            "stratum": sort.stratum,
            "place_number": place,
            "sorted_on": sort.sorted_on,
            "days": sort.days,
            "persons": sort.persons,
            "programme": sort.programme_id,
        }


def _masses(report: StudyReport, categories: Categories) -> Iterator[Row]:
    table, names = report.table, Names(categories)
    shown = (table.grams > 0) | (table.high > 0) | (table.objects > 0) | table.unweighed
    for row, column in zip(*shown.nonzero(), strict=True):
        category = table.categories[column]
        yield {
            "sort": int(row) + 1,
            "category": category,
            "name": names.category(category),
            "net_g": _number(float(table.grams[row, column])),
            "low_g": _number(float(table.low[row, column])),
            "high_g": _number(float(table.high[row, column])),
            "objects": int(table.objects[row, column]),
            "unweighed": "true" if table.unweighed[row, column] else "false",
        }


def _routes(report: StudyReport) -> Iterator[Row]:
    table = report.table
    shown = (table.by_route > 0) | (table.objects_by_route > 0)
    for at in zip(*shown.nonzero(), strict=True):
        row, column, way = (int(each) for each in at)
        route = table.routes[way]
        yield {
            "sort": row + 1,
            "category": table.categories[column],
            "route": route,
            "name": route_name(route),
            "kind": kind_of(route),
            "net_g": _number(float(table.by_route[at])),
            "split_g": _number(float(table.split[at])),
            "objects": int(table.objects_by_route[at]),
        }


def _measures(report: StudyReport) -> Iterator[Row]:
    for measure in dict.fromkeys(each.measure for each in report.figures):
        unit, meaning = MEASURES[measure]
        yield {"measure": measure, "unit": unit, "meaning": meaning}


def _csv(table: str, rows: Iterable[Row]) -> str:
    columns = column_names(table)
    return csv_text(columns, ([row[column] for column in columns] for row in rows))


def _number(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{_DIGITS}g}")


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-.") or "study"
