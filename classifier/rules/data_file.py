"""TOML data files read so that every mistake is named with its file, its line and its mend.

`tomllib` keeps no line numbers, so `TomlFile` finds them in the text beside the parsed document.
All mistakes of a file are gathered before one `DataFileError` is raised: whoever writes a programme
wants the whole list, not one mistake per run.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from difflib import get_close_matches
from pathlib import Path

from classifier.errors import DataFileError

Key = tuple[str | int, ...]

_ID = re.compile(r"[a-z0-9][a-z0-9_]*\Z")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.\- ]+?)\s*\]")
_KEY = re.compile(r"\s*([\w\-]+(?:\s*\.\s*[\w\-]+)*)\s*=")
_STRING_OR_COMMENT = re.compile(
    r'"""(?:\\.|[^\\])*?"""|' + r"'''.*?'''|" + r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'|#[^\n]*",
    re.DOTALL,
)


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: the line (1-based), what is wrong and how to mend it."""

    line: int
    what: str
    mend: str


@dataclass(slots=True)
class Problems:
    """The mistakes of one file, gathered while it is read."""

    file: str
    found: list[Problem] = field(default_factory=list)

    def add(self, line: int, what: str, mend: str) -> None:
        """Note one mistake."""
        self.found.append(Problem(line, what, mend))

    def raise_any(self) -> None:
        """Raise one `DataFileError` that names all mistakes in the order of their lines.

        Raises
        ------
        DataFileError
            If any mistake was noted; `details` holds file, line and mend of the first, and
            `problems`, one mapping for each.
        """
        if not self.found:
            return
        ordered = sorted(self.found, key=lambda problem: problem.line)
        message = "\n".join(f"{self.file}, line {p.line}: {p.what}. {p.mend}." for p in ordered)
        raise DataFileError(
            message,
            file=self.file,
            line=ordered[0].line,
            mend=ordered[0].mend,
            problems=[{"line": p.line, "what": p.what, "mend": p.mend} for p in ordered],
        )


def did_you_mean(given: str, known: Iterable[str]) -> str:
    """Return a mend for a misspelt id: the nearest known one, or the whole list."""
    names = sorted(known)
    near = get_close_matches(given, names, n=1)
    if near:
        return f'Did you mean "{near[0]}"? Correct the spelling'
    return f"Use one of: {', '.join(names)}"


class TomlFile:
    """A parsed TOML document that knows on which line each key stands.

    Raises
    ------
    DataFileError
        If the text breaks the rules of TOML.
    """

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.problems = Problems(file)
        try:
            document = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            at = _AT_LINE.search(str(error))
            line = int(at.group(1)) if at else text.count("\n") + 1
            what = _AT_LINE.sub("", str(error)).strip()
            self.problems.add(
                line, f"this is no valid TOML: {what}", "Check quotes, brackets and commas there"
            )
            self.problems.raise_any()
        except RecursionError:
            self.problems.add(1, "brackets stand in brackets by the hundred", "Take them out")
            self.problems.raise_any()
        self._lines = _key_lines(text)
        self.end = max(1, text.rstrip().count("\n") + 1)
        self.root = Table(self, (), document)

    def line(self, key: Key) -> int:
        """Return the line of a key, or of the nearest table around it (1 for the file itself)."""
        while key and key not in self._lines:
            key = key[:-1]
        return self._lines.get(key, 1)


class Table:
    """One table of a data file; a reader that notes a mistake returns a harmless stand-in."""

    def __init__(self, file: TomlFile, key: Key, content: Mapping[str, object]) -> None:
        self._file = file
        self._key = key
        self._content = content

    @property
    def line(self) -> int:
        """The line on which the table begins."""
        return self._file.line(self._key)

    def line_of(self, name: str) -> int:
        """Return the line of one key."""
        return self._file.line((*self._key, name))

    def names(self) -> Iterator[str]:
        """Yield the keys of the table in the order of the file."""
        return iter(self._content)

    def fault(self, name: str, what: str, mend: str) -> None:
        """Note a mistake at a key of this table."""
        self._file.problems.add(self.line_of(name), what, mend)

    def only(self, allowed: Sequence[str]) -> None:
        """Note every key that is not among the allowed ones."""
        for name in self._content:
            if name not in allowed:
                self.fault(name, f'unknown key "{name}"', did_you_mean(name, allowed))

    def text(self, name: str, *, needed: bool = True) -> str:
        """Return a text; an absent or empty one is a mistake where it is needed."""
        value = self._content.get(name, "")
        if not isinstance(value, str):
            self.fault(name, f'"{name}" is not a text', f'Write {name} = "..." in quotes')
            return ""
        if needed and not value.strip():
            self.fault(name, f'"{name}" is missing or empty', f'Add {name} = "..."')
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

    def one_of(self, name: str, known: Iterable[str], kind: str) -> str:
        """Return an id that must be known already."""
        value = self.text(name)
        if value:
            self.known(name, value, known, kind)
        return value

    def known(self, name: str, value: str, known: Iterable[str], kind: str) -> bool:
        """Tell whether an id is known, and note it at the key if it isn't."""
        names = tuple(known)
        if value in names:
            return True
        self.fault(name, f'unknown {kind} "{value}"', did_you_mean(value, names))
        return False

    def texts(self, name: str, *, needed: bool = False) -> tuple[str, ...]:
        """Return a list of texts; a single text counts as a list of one."""
        value = self._content.get(name, [])
        values = value if isinstance(value, list) else [value]
        if not all(isinstance(each, str) and each.strip() for each in values):
            self.fault(name, f'"{name}" holds something else than texts', "Put each in quotes")
            return ()
        if needed and not values:
            self.fault(name, f'"{name}" is missing or empty', f'Add {name} = ["...", "..."]')
        return tuple(values)

    def flag(self, name: str) -> bool:
        """Return true or false; absent is false."""
        value = self._content.get(name, False)
        if not isinstance(value, bool):
            self.fault(name, f'"{name}" is neither true nor false', f"Write {name} = true")
            return False
        return value

    def day(self, name: str, *, needed: bool = False) -> date | None:
        """Return a date, or None if the key is absent."""
        value = self._content.get(name)
        if value is None:
            if needed:
                self.fault(name, f'"{name}" is missing', f"Add {name} = 2026-01-31, unquoted")
            return None
        if not isinstance(value, date) or isinstance(value, datetime):
            self.fault(name, f'"{name}" is not a date', f"Write {name} = 2026-01-31, unquoted")
            return None
        return value

    def table(self, name: str) -> Table:
        """Return a table inside this one; absent is empty."""
        value = self._content.get(name, {})
        if not isinstance(value, dict):
            self.fault(name, f'"{name}" is not a table', f"Write {name} = {{ key = value }}")
            value = {}
        return Table(self._file, (*self._key, name), value)

    def tables(self, name: str) -> tuple[Table, ...]:
        """Return the tables of a list `[[name]]`; absent is none."""
        value = self._content.get(name, [])
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            self.fault(name, f'"{name}" is not a list of tables', f"Write [[{name}]] above each")
            return ()
        return tuple(
            Table(self._file, (*self._key, name, place), each) for place, each in enumerate(value)
        )


def read_toml(path: Path) -> TomlFile:
    """Read one data file.

    Raises
    ------
    DataFileError
        If the file is missing, unreadable, not UTF-8 or no TOML.
    """
    try:
        return TomlFile(path.read_text(encoding="utf-8-sig"), path.name)
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise DataFileError(
            f"{path.name}, line 1: the file can't be read: {reason}. "
            "Check its name and rights, and save it as UTF-8.",
            file=path.name,
            line=1,
            mend="Check its name and rights, and save it as UTF-8",
        ) from error


def _key_lines(text: str) -> dict[Key, int]:
    """Map keys of valid TOML to lines; quoted keys are left to the table around them."""
    # Strings and comments are blanked first: they may hold anything that looks like a key.
    blank = _STRING_OR_COMMENT.sub(lambda match: "\n" * match.group().count("\n"), text)
    lines: dict[Key, int] = {}
    sizes: dict[Key, int] = {}
    table: Key = ()
    depth = 0
    for number, line in enumerate(blank.split("\n"), start=1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if depth == 0 and header:
            table = _table_key(header, sizes)
            lines.setdefault(table, number)
            continue
        if depth == 0 and key:
            names = [name.strip() for name in key.group(1).split(".")]
            for end in range(1, len(names) + 1):
                lines.setdefault((*table, *names[:end]), number)
        depth += sum(line.count(mark) for mark in "[{") - sum(line.count(mark) for mark in "]}")
    return lines


def _table_key(header: re.Match[str], sizes: dict[Key, int]) -> Key:
    """Return where a header puts us: list tables are numbered as they come."""
    names = [name.strip() for name in header.group(2).split(".")]
    key: Key = ()
    for name in names[:-1]:
        key = (*key, name)
        if key in sizes:
            key = (*key, sizes[key] - 1)
    key = (*key, names[-1])
    if header.group(1) == "[[":
        sizes[key] = sizes.get(key, 0) + 1
        key = (*key, sizes[key] - 1)
    return key
