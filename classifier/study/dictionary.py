"""What the columns and measures of a study's tables mean: the data dictionary of its package."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from classifier.report.dictionary import read_own_csv
from classifier.report.routes import KIND_NAMES
from classifier.study.figures import Basis

_DATA = Path(__file__).with_name("data")
BASES: tuple[str, ...] = get_args(Basis)
_ALLOWED = {"basis": BASES, "interval": ("confidence", "scale"), "kind": tuple(KIND_NAMES)}
"""Texts that a column takes, by its name."""
MEASURES = {
    row["measure"]: (row["unit"], row["meaning"]) for row in read_own_csv(_DATA / "measures.csv")
}
"""Unit and meaning of every measure."""
CODES = (
    "A: seen in a stored copy and recomputed with the same answer. B: seen, not recomputed. C: "
    "from memory, and passes an arithmetic check. D: from memory: look it up before citing. OWN: "
    "our own derivation, not published."
)
"""What the confidence codes beside sources mean."""


def _schemas() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for row in read_own_csv(_DATA / "columns.csv"):
        schema = found.setdefault(row["table"], {"fields": [], "missingValues": [""]})
        schema["fields"].append(_field(row))
        if row["value"] == "key":
            schema.setdefault("primaryKey", []).append(row["name"])
    return found


def _field(row: Mapping[str, str]) -> dict[str, Any]:
    """Return a column as a field of a Table Schema."""
    constraints: dict[str, Any] = {} if row["value"] == "optional" else {"required": True}
    if row["name"] in _ALLOWED:
        constraints["enum"] = list(_ALLOWED[row["name"]])
    found = {"name": row["name"], "type": row["type"], "description": row["meaning"]}
    return {**found, "constraints": constraints} if constraints else found


SCHEMAS = _schemas()
"""The Table Schema of each table of the package, by its name."""


def column_names(table: str) -> list[str]:
    """Return the columns of a table in order."""
    return [field["name"] for field in SCHEMAS[table]["fields"]]
