"""Labelled pictures: from a manifest CSV or a folder per label to a list of examples."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from classifier.domain.errors import DataFileError

PICTURE_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp"})
_BLOCK = 25  # consecutive file numbers of one label which may show one object again


@dataclass(frozen=True, slots=True)
class Example:
    """One labelled picture. `form` and `material` are empty where nobody decided."""

    path: Path
    source: str
    form: str
    material: str
    group: str


def read_examples(path: Path, *, sources: Iterable[str] = ()) -> list[Example]:
    """Read a manifest CSV (or the `manifest.csv` in a folder), else a folder per label.

    Parameters
    ----------
    path:
        A CSV with at least `path` and `form` (paths relative to the CSV), or a folder.
    sources:
        Keep only these sources; empty keeps all.

    Raises
    ------
    DataFileError
        Nothing there, a column missing, or no picture left.
    """
    if path.is_dir() and (path / "manifest.csv").is_file():
        path = path / "manifest.csv"
    if path.is_dir():
        examples = _from_folders(path)
    elif path.is_file():
        examples = _from_csv(path)
    else:
        raise DataFileError(f"{path} is neither a folder nor a manifest CSV", file=str(path))
    wanted = set(sources)
    known = {e.source for e in examples}
    if missing := wanted - known:
        raise DataFileError(
            f"{path} has no source {', '.join(sorted(missing))}; it has {', '.join(sorted(known))}",
            file=str(path),
        )
    kept = [e for e in examples if not wanted or e.source in wanted]
    if not kept:
        raise DataFileError(f"{path} holds no labelled picture", file=str(path))
    return kept


def _from_csv(path: Path) -> list[Example]:
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    columns = set(rows[0]) if rows else set()
    if absent := {"path", "form"} - columns:
        raise DataFileError(
            f"{path} lacks the column {', '.join(sorted(absent))}; "
            "a manifest needs path and form, and may have source, material and group",
            file=str(path),
        )
    return [
        Example(
            path=path.parent / row["path"],
            source=row.get("source") or path.parent.name,
            form=row["form"],
            material=row.get("material") or "",
            group=row.get("group") or _block_group(row),
        )
        for row in rows
    ]


def _block_group(row: dict[str, str]) -> str:
    """Group of a picture whose manifest has none: the run of file numbers, else its own name."""
    if row.get("block"):
        return f"{row.get('source', '')}/{row['block']}"
    stem = re.sub(r"^(train|test|valid|val)_", "", Path(row["path"]).stem)
    numbered = re.fullmatch(r"(.*?)[ _-]?(\d+)", stem)
    if numbered is None:
        return row["path"]
    return f"{Path(row['path']).parent}/{numbered[1]}-{int(numbered[2]) // _BLOCK}"


def _from_folders(root: Path) -> list[Example]:
    return [
        Example(
            path=file,
            source=root.name,
            form=folder.name,
            material="",
            group=_block_group({"path": str(file.relative_to(root))}),
        )
        for folder in sorted(p for p in root.iterdir() if p.is_dir())
        for file in sorted(folder.iterdir())
        if file.suffix.lower() in PICTURE_SUFFIXES
    ]
