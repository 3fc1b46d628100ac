"""What the files of a bundle may measure: a bundle may come from anybody."""

from __future__ import annotations

from pathlib import Path

from classifier.errors import BundleError

MOST_MANIFEST_BYTES = 2_000_000
MOST_CARD_BYTES = 1_000_000
MOST_NETWORK_BYTES = 300_000_000
"""Thirty times the largest of ours."""
MOST_FORMS = 500
MOST_VIEWS = 8
"""Each is one more run of the network for every photo."""
MOST_EMBEDDING = 8_192
LONGEST_TEXT = 4_000
LONGEST_NAME = 80
"""Of a bundle, its version and a form: so much do the columns hold that keep them."""
_DEEPEST = 20


def check_size(path: Path, most: int) -> None:
    """Raise `BundleError` for a file of more than `most` bytes, OSError where it is missing."""
    size = path.stat().st_size
    if size > most:
        raise BundleError(
            f"{path}: has {size:,} bytes; allowed: at most {most:,}; export the bundle again",
            path=str(path),
        )


def fault_of(content: object) -> str:
    """Return what of a parsed JSON document is out of bounds, in words; "" for nothing."""
    level = [content]
    for _ in range(_DEEPEST):
        for text in level:
            if isinstance(text, str) and (fault := fault_of_text(text)):
                return fault
        level = [inner for each in level for inner in _inside(each)]
        if not level:
            return ""
    return f"lists and tables stand more than {_DEEPEST} deep in one another"


def fault_of_text(text: str, longest: int = LONGEST_TEXT) -> str:
    """Return why a text can't be kept and shown, in words; "" where it can."""
    if len(text) > longest:
        return f"{text[:40]!r}... has {len(text):,} characters, more than {longest:,}"
    try:
        text.encode()
    except UnicodeEncodeError:
        return f"{text[:40]!r} holds half of a pair of characters"
    return f"{text[:40]!r} holds a NUL character" if "\0" in text else ""


def _inside(value: object) -> list[object]:
    if isinstance(value, dict):
        return [*value, *value.values()]
    return value if isinstance(value, list) else []
