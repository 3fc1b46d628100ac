"""One object of a JSON file, read strictly.

Every mistake becomes a `BundleError` that names the file, the key, what stands there and what may.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from classifier.errors import BundleError


@dataclass(frozen=True, slots=True)
class Table:
    """One JSON object of the manifest, with its file and key for messages."""

    path: Path
    key: str
    content: Any

    def __post_init__(self) -> None:
        if not isinstance(self.content, dict):
            where = self.key or "the file"
            raise BundleError(
                f"{self.path}: {where} is {_shown(self.content)}; allowed: a JSON object; mend it",
                path=str(self.path),
                key=self.key,
            )

    def fail(self, key: str, value: object, allowed: str) -> NoReturn:
        """Raise `BundleError` for the value at `key`."""
        where = f"{self.key}.{key}" if self.key else key
        raise BundleError(
            f"{self.path}: {where} is {_shown(value)}; allowed: {allowed}; mend it, or export the "
            "bundle again",
            path=str(self.path),
            key=where,
        )

    def get(self, key: str, allowed: str) -> Any:
        """Return the value at `key`, of any kind."""
        if key not in self.content:
            where = f"{self.key}.{key}" if self.key else key
            raise BundleError(
                f"{self.path}: {where} is missing; allowed: {allowed}; add it, or export the "
                "bundle again",
                path=str(self.path),
                key=where,
            )
        return self.content[key]

    def table(self, key: str) -> Table:
        """Return the object at `key`."""
        inner = f"{self.key}.{key}" if self.key else key
        return Table(self.path, inner, self.get(key, "a JSON object"))

    def tables(self, key: str) -> list[Table]:
        """Return the objects in the list at `key`, one or more."""
        value = self.get(key, "a list of objects")
        if not isinstance(value, list) or not value:
            self.fail(key, value, "a list of one or more objects")
        inner = f"{self.key}.{key}" if self.key else key
        return [Table(self.path, f"{inner}[{index}]", each) for index, each in enumerate(value)]

    def text(self, key: str) -> str:
        """Return the text at `key`, not empty."""
        value = self.get(key, "a text")
        if not isinstance(value, str) or not value.strip():
            self.fail(key, value, "a text that is not empty")
        return value

    def file_name(self, key: str) -> str:
        """Return the name of a file beside this one, never a path elsewhere."""
        value = self.text(key)
        if Path(value).name != value or "\\" in value:
            self.fail(key, value, "the name of a file in the same directory")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        """Return the finite number at `key`, in `low`..`high`."""
        allowed = f"a number in {low:g}..{high:g}"
        value = self.get(key, allowed)
        if not _is_number(value) or not low <= value <= high:
            self.fail(key, value, allowed)
        return float(value)

    def numbers(self, key: str) -> tuple[float, ...]:
        """Return the finite numbers in the list at `key`."""
        value = self.get(key, "a list of numbers")
        if not isinstance(value, list) or not all(map(_is_number, value)):
            self.fail(key, value, "a list of numbers")
        return tuple(float(each) for each in value)

    def whole(self, key: str) -> int:
        """Return the whole number at `key`, 0 or more."""
        value = self.get(key, "a whole number")
        if not isinstance(value, int) or isinstance(value, bool) or value < 0:
            self.fail(key, value, "a whole number, 0 or more")
        return value


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _shown(value: object, limit: int = 80) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= limit else text[: limit - 3] + "..."
