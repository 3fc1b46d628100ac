"""The interface's own description (OpenAPI), corrected where FastAPI can't know better."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

_METHODS = ("get", "post", "put", "patch", "delete")


def describe(app: FastAPI) -> None:
    """Make the app's description say that every error is JSON, also where a success is not."""
    generated = app.openapi

    def corrected() -> dict[str, Any]:
        if app.openapi_schema is None:
            for operation in _operations(generated()):
                for status, answer in operation["responses"].items():
                    if not status.startswith("2"):
                        _as_json(answer)
        return generated()

    app.openapi = corrected  # type: ignore[method-assign]


def _operations(schema: dict[str, Any]) -> list[dict[str, Any]]:
    paths = schema["paths"].values()
    return [path[method] for path in paths for method in _METHODS if method in path]


def _as_json(answer: dict[str, Any]) -> None:
    answer["content"] = {"application/json": {"schema": {"$ref": "#/components/schemas/ErrorOut"}}}
