"""TOML and JSON files whose mistakes are named with file, line and fix.

`tomllib` keeps no line numbers, so `TomlFile` finds them in the text beside the parsed document; in
JSON a mistake is named by its key.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from classifier.errors import DataFileError, TallytareError
from classifier.rules.data_table import Document, Key, Problems

_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_HEADER = re.compile(r"\s*(\[\[?)\s*([\w.\- ]+?)\s*\]")
_KEY = re.compile(r"\s*([\w\-]+(?:\s*\.\s*[\w\-]+)*)\s*=")
_STRING_OR_COMMENT = re.compile(
    r'"""(?:\\.|[^\\])*?"""|' + r"'''.*?'''|" + r'"(?:\\.|[^"\\\n])*"|' + r"'[^'\n]*'|#[^\n]*",
    re.DOTALL,
)


class JsonFile(Document):
    """A parsed JSON document.

    Raises
    ------
    TallytareError
        Of the kind `error`, if the text is no JSON or no JSON object.
    """

    def __init__(self, text: str, name: str, error: type[TallytareError] = DataFileError) -> None:
        try:
            content = json.loads(text)
        except (ValueError, RecursionError) as wrong:
            Problems(name, error).refuse(
                None, f"it can't be read as JSON: {wrong}", "Correct or restore the file"
            )
        super().__init__(content, name, error)


class TomlFile(Document):
    """A parsed TOML document that knows on which line each key stands.

    Raises
    ------
    TallytareError
        Of the kind `error`, if the text breaks the rules of TOML.
    """

    def __init__(self, text: str, name: str, error: type[TallytareError] = DataFileError) -> None:
        problems = Problems(name, error)
        try:
            document = tomllib.loads(text)
        except tomllib.TOMLDecodeError as wrong:
            at = _AT_LINE.search(str(wrong))
            line = int(at.group(1)) if at else text.count("\n") + 1
            what = _AT_LINE.sub("", str(wrong)).strip()
            problems.refuse(
                line, f"this is no valid TOML: {what}", "Check quotes, brackets and commas there"
            )
        except RecursionError:
            problems.refuse(1, "brackets stand in brackets by the hundred", "Take them out")
        self._lines = _key_lines(text)
        self.end = max(1, text.rstrip().count("\n") + 1)
        super().__init__(document, name, error)

    def sample(self, name: str, value: str) -> str:
        """Return a key with a value as TOML writes it."""
        return f"[[{name}]] above each" if value.startswith("[{") else f"{name} = {value}"

    def line(self, key: Key) -> int:
        """Return the line of a key, or of the nearest table around it (1 for the file itself)."""
        while key and key not in self._lines:
            key = key[:-1]
        return self._lines.get(key, 1)


def read_toml(path: Path, error: type[TallytareError] = DataFileError) -> TomlFile:
    """Read one data file.

    Raises
    ------
    TallytareError
        Of the kind `error`, if the file is missing, unreadable, not UTF-8 or no TOML.
    """
    return TomlFile(read_text(path, error), path.name, error)


def read_text(path: Path, error: type[TallytareError] = DataFileError) -> str:
    """Return the text of a file, without the byte order mark of a Windows editor.

    Raises
    ------
    TallytareError
        Of the kind `error`, if the file is missing, unreadable or not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as wrong:
        reason = wrong.strerror if isinstance(wrong, OSError) else "it is not UTF-8 text"
        Problems(path.name, error).refuse(
            1,
            f"the file can't be read: {reason}",
            "Check its name and rights, and save it as UTF-8",
        )


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
