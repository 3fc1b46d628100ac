"""A suggestion as JSON: the one shape that the command line and the HTTP API share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from classifier.errors import TallytareError
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.suggestion_parts import Alternative, Question, RouteAnswer, Suggestion

_DIGITS = 6


def to_json(
    suggestion: Suggestion,
    *,
    categories: Categories,
    programme: Programme,
    model_name: str | None,
    model_version: str | None,
    file: str | None = None,
) -> dict[str, Any]:
    """Return the suggestion as JSON values.

    `file` is the photo's path as it was given, null for a photo that came over HTTP; `model` is
    null for a category that a person chose without a photo. Probabilities have 6 digits.
    """
    return {
        "file": file,
        "forms": [{"id": form.id, "p": round(form.p, _DIGITS)} for form in suggestion.forms],
        "categories": [
            {"id": each.id, "p": round(each.p, _DIGITS)} for each in suggestion.categories
        ],
        "decision": suggestion.decision,
        "route": _route(suggestion.route) if suggestion.route else None,
        "question": _question(suggestion.question) if suggestion.question else None,
        "cautions": [{"id": each.id, "text": each.text} for each in suggestion.cautions],
        "check": list(suggestion.check),
        "alternatives": [_alternative(each) for each in suggestion.alternatives],
        "facts": dict(suggestion.facts),
        **_versions(categories, programme, model_name, model_version),
        "error": None,
    }


def error_json(
    error: TallytareError,
    *,
    categories: Categories,
    programme: Programme,
    model_name: str | None,
    model_version: str | None,
    file: str | None = None,
) -> dict[str, Any]:
    """Return the same shape for a photo of which nothing could be said: decision "error"."""
    return {
        "file": file,
        "forms": [],
        "categories": [],
        "decision": "error",
        "route": None,
        "question": None,
        "cautions": [],
        "check": [],
        "alternatives": [],
        "facts": {},
        **_versions(categories, programme, model_name, model_version),
        "error": {"code": error.code, "message": error.message},
    }


def _versions(
    categories: Categories,
    programme: Programme,
    model_name: str | None,
    model_version: str | None,
) -> Mapping[str, Any]:
    return {
        "model": {"name": model_name, "version": model_version} if model_name else None,
        "categories_version": categories.version,
        "programme": {
            "id": programme.id,
            "name": programme.name,
            "version": programme.version,
            "valid_from": programme.valid_from.isoformat(),
            "statement": programme.statement,
        },
    }


def _route(route: RouteAnswer) -> dict[str, Any]:
    return {
        "id": route.route,
        "name": route.name,
        "condition": route.condition,
        "note": route.note,
        "p": round(route.p, _DIGITS),
        "when": route.when,
    }


def _question(question: Question) -> dict[str, Any]:
    return {
        "fact": question.fact,
        "text": question.text,
        "how": question.how,
        "answers": [{"id": answer, "label": label} for answer, label in question.answers],
    }


def _alternative(alternative: Alternative) -> dict[str, Any]:
    return {
        "category": alternative.category,
        "name": alternative.name,
        "p": round(alternative.p, _DIGITS),
        "routes": [_route(route) for route in alternative.routes],
        "question": alternative.question,
    }
