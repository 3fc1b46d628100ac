"""Plain values read strictly: every mistake is named with its document, its place and its fix.

All mistakes of a document are gathered before one error is raised: whoever writes a programme wants
the whole list, not one mistake per run.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import NoReturn, TypeGuard

from classifier.errors import DataFileError, InvalidQuantityError, TallytareError
from classifier.log.quantities import parse_decimal

Key = tuple[str | int, ...]

_TEXT, _TEXTS, _TABLE = '"..."', '["...", "..."]', "{ key = value }"
_ID = re.compile(r"[a-z0-9][a-z0-9_]*\Z")


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: the line (1-based, None where lines are not known), what is wrong, its fix."""

    line: int | None
    what: str
    fix: str


@dataclass(slots=True)
class Problems:
    """The mistakes of one document, gathered while it is read; `error` is raised for them."""

    file: str
    error: type[TallytareError] = DataFileError
    found: list[Problem] = field(default_factory=list)

    def add(self, line: int | None, what: str, fix: str) -> None:
        """Note one mistake."""
        self.found.append(Problem(line, what, fix))

    def refuse(self, line: int | None, what: str, fix: str) -> NoReturn:
        """Note one mistake that ends the reading, and raise the error."""
        self.add(line, what, fix)
        self.raise_any()
        raise AssertionError("a mistake was noted")  # pragma: no cover - raise_any has raised

    def raise_any(self) -> None:
        """Raise one error that names all mistakes in the order of their lines.

        Raises
        ------
        TallytareError
            Of the kind `error`, if any mistake was noted; `details` holds file, line and fix (under
            the key "mend") of the first, and `problems`, one mapping for each.
        """
        if not self.found:
            return
        ordered = sorted(self.found, key=lambda problem: problem.line or 0)
        raise self.error(
            "\n".join(f"{self.file}{_at(p.line)}: {p.what}. {p.fix}." for p in ordered),
            file=self.file,
            line=ordered[0].line,
            mend=ordered[0].fix,
            problems=[{"line": p.line, "what": p.what, "mend": p.fix} for p in ordered],
        )


def _at(line: int | None) -> str:
    return "" if line is None else f", line {line}"


def did_you_mean(given: str, known: Iterable[str]) -> str:
    """Return a fix for a misspelt id: the nearest known one, or the whole list."""
    names = sorted(filter(None, known))
    near = get_close_matches(given, names, n=1)
    if near:
        return f'Did you mean "{near[0]}"? Correct the spelling'
    return f"Use one of: {', '.join(names)}"


class Document:
    """Plain values with the mistakes found in them; `error` is what they are raised as.

    Raises
    ------
    TallytareError
        Of the kind `error`, if `content` is no mapping.
    """

    def __init__(
        self, content: object, name: str, error: type[TallytareError] = DataFileError
    ) -> None:
        self.name = name
        self.problems = Problems(name, error)
        if not isinstance(content, Mapping):
            self.problems.refuse(None, f"it is {_shown(content)}", "Give keys with values")
        self.root = Table(self, (), content)

    def line(self, key: Key) -> int | None:  # noqa: ARG002
        """Return the line of a key, None where lines are not known."""
        return None

    def sample(self, name: str, value: str) -> str:
        """Return a key with a value as this kind of document writes it."""
        return f'"{name}": {value.replace(" = ", ": ")}'


class Table:
    """One table of a document; a reader that notes a mistake returns a harmless stand-in."""

    def __init__(self, file: Document, key: Key, content: Mapping[str, object]) -> None:
        self.file = file
        self._key = key
        self.content = content

    @property
    def line(self) -> int:
        """The line on which the table begins, 0 where lines are not known."""
        return self.file.line(self._key) or 0

    def line_of(self, name: str) -> int:
        """Return the line of one key, 0 where lines are not known."""
        return self.file.line((*self._key, name)) or 0

    def names(self) -> Iterator[str]:
        """Yield the keys of the table in the order of the file."""
        return iter(self.content)

    def get(self, name: str) -> object:
        """Return the value of a key as it stands, None without one."""
        return self.content.get(name)

    def fault(self, name: str, what: str, fix: str) -> None:
        """Note a mistake at a key of this table; without lines it is named by its whole path."""
        line = self.file.line((*self._key, name))
        if line is None and self._key:
            what = f"{_path(self._key)}: {what}"
        self.file.problems.add(line, what, fix)

    def refuse(self, name: str, allowed: str) -> None:
        """Note that the value of a key is not what is allowed, or that it is missing."""
        there = name in self.content
        what = f'"{name}" is {_shown(self.content[name])}' if there else f'"{name}" is missing'
        self.fault(name, what, f"Allowed: {allowed}")

    def only(self, allowed: Iterable[str]) -> None:
        """Note every key that is not among the allowed ones."""
        known = tuple(allowed)
        for name in self.content:
            if name not in known:
                self.fault(name, f'unknown key "{name}"', did_you_mean(name, known))

    def _write(self, name: str, wrong: str, value: str, how: str = "") -> None:
        """Note a mistake whose fix is a key with a value such as this."""
        verb = "Add" if wrong.startswith("is missing") else "Write"
        self.fault(name, f'"{name}" {wrong}', f"{verb} {self.file.sample(name, value)}{how}")

    def text(self, name: str, *, needed: bool = True) -> str:
        """Return a text; an absent or empty one is a mistake where it is needed."""
        value = self.content.get(name, "")
        if not isinstance(value, str):
            self._write(name, "is not a text", _TEXT, " in quotes")
            return ""
        if needed and not value.strip():
            self._write(name, "is missing or empty", _TEXT)
        return value.strip()

    def identifier(self, name: str = "id") -> str:
        """Return an id: small letters, digits and underscores."""
        value = self.text(name)
        if value and not _ID.match(value):
            self.fault(
                name,
                f'"{value}" is no id',
                "Use small letters, digits and underscores, beginning with a letter or digit",
            )
        return value

    def file_name(self, name: str) -> str:
        """Return the name of a file beside this one, never a path elsewhere."""
        value = self.text(name)
        if Path(value).name != value or "\\" in value:
            self.refuse(name, "the name of a file in the same directory")
        return value

    def one_of(self, name: str, known: Iterable[str], kind: str, default: str | None = None) -> str:
        """Return an id that must be known already; an absent one is a mistake without a default."""
        if default is not None and name not in self.content:
            return default
        value = self.text(name, needed=default is None)
        if value:
            self.known(name, value, known, kind)
        return value or default or ""

    def known(self, name: str, value: str, known: Iterable[str], kind: str) -> bool:
        """Tell whether an id is known, and note it at the key if it isn't."""
        names = tuple(known)
        if value in names:
            return True
        self.fault(name, f'unknown {kind} "{value}"', did_you_mean(value, names))
        return False

    def texts(
        self, name: str, *, needed: bool = False, default: tuple[str, ...] = ()
    ) -> tuple[str, ...]:
        """Return a list of texts; a single text counts as a list of one."""
        value = self.content.get(name, list(default))
        values = value if isinstance(value, list) else [value]
        if not all(isinstance(each, str) and each.strip() for each in values):
            self.fault(name, f'"{name}" holds something else than texts', "Put each in quotes")
            return ()
        if needed and not values:
            self._write(name, "is missing or empty", _TEXTS)
        return tuple(str(each).strip() for each in values)

    def some_of(
        self, name: str, known: Iterable[str], kind: str, default: tuple[str, ...] = ()
    ) -> tuple[str, ...]:
        """Return a list of ids that must be known already."""
        names = tuple(known)
        return tuple(
            value
            for value in self.texts(name, default=default)
            if self.known(name, value, names, kind)
        )

    def flag(self, name: str) -> bool:
        """Return true or false; absent is false."""
        value = self.content.get(name, False)
        if not isinstance(value, bool):
            self._write(name, "is neither true nor false", "true")
            return False
        return value

    def number(
        self,
        name: str,
        least: float,
        most: float = math.inf,
        *,
        default: float | None = None,
        above: bool = False,
    ) -> float:
        """Return a finite number from `least` (or `above` it) to `most`."""
        value = self.content.get(name, default)
        if not _is_number(value) or not least <= value <= most or (above and value <= least):
            end = "" if most == math.inf else f" to {most:g}"
            self.refuse(name, f"a number {'above' if above else 'from'} {least:g}{end}")
            return least
        return float(value)

    def whole(
        self, name: str, least: int = 0, most: float = math.inf, *, default: int | None = None
    ) -> int:
        """Return a whole number from `least` to `most`."""
        value = self.content.get(name, default)
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            end = " or more" if most == math.inf else f" to {most:g}"
            self.refuse(name, f"a whole number, {least}{end}")
            return least
        return value

    def numbers(self, name: str) -> tuple[float, ...]:
        """Return a list of finite numbers."""
        value = self.content.get(name)
        if not isinstance(value, list) or not all(map(_is_number, value)):
            self.refuse(name, "a list of numbers")
            return ()
        return tuple(float(each) for each in value)

    def positive(self, name: str) -> Decimal:
        """Return the exact number above 0 that is written as text: TOML floats would be rounded."""
        text = self.text(name)
        try:
            value = parse_decimal(text, what=name) if text else Decimal(0)
        except InvalidQuantityError:
            value = Decimal(0)
        if value <= 0:
            self._write(name, "is not a number above 0", '"1.25"', ", in quotes and with a point")
            return Decimal(1)
        return value

    def amount(self, name: str) -> Decimal:
        """Return an exact number above 0 that may be absent and is then 0."""
        return self.positive(name) if name in self.content else Decimal(0)

    def day(self, name: str, *, needed: bool = False) -> date | None:
        """Return a date, or None if the key is absent."""
        value = self.content.get(name)
        if value is None:
            if needed:
                self._write(name, "is missing", "2026-01-31", ", unquoted")
            return None
        if not isinstance(value, date) or isinstance(value, datetime):
            self._write(name, "is not a date", "2026-01-31", ", unquoted")
            return None
        return value

    def table(self, name: str) -> Table:
        """Return a table inside this one; absent is empty."""
        value = self.content.get(name, {})
        if not isinstance(value, Mapping):
            self._write(name, "is not a table", _TABLE)
            value = {}
        return Table(self.file, (*self._key, name), value)

    def tables(self, name: str, *, needed: bool = False) -> tuple[Table, ...]:
        """Return the tables of a list `[[name]]`; absent is none, a mistake where one is needed."""
        value = self.content.get(name, [])
        if needed and not value:
            self.refuse(name, "a list of one or more tables")
        if not isinstance(value, list) or not all(isinstance(each, Mapping) for each in value):
            self._write(name, "is not a list of tables", f"[{_TABLE}]")
            return ()
        return tuple(
            Table(self.file, (*self._key, name, place), each) for place, each in enumerate(value)
        )


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _path(key: Key) -> str:
    """Return where a table stands, as `forms[0].categories`."""
    return "".join(f"[{each}]" if isinstance(each, int) else f".{each}" for each in key)[1:]


def _shown(value: object, limit: int = 80) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= limit else text[: limit - 3] + "..."
