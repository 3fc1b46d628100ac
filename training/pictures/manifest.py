"""Labelled pictures: from a manifest CSV or a folder per label to a list of examples."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import DataFileError
from classifier.examples.listing import read_listing
from classifier.examples.splits import SPLITS
from training.pictures.corrections import correct, load_corrections, report
from training.pictures.notes import tell

_SAME_MATERIAL = {"food_organics": "food"}  # as one origin writes it: as the project does
_BLOCK = 25  # consecutive file numbers of one label which may show one object again


@dataclass(frozen=True, slots=True)
class Example:
    """One labelled picture. `form` and `material` are empty where nobody decided.

    `split` is train, calibrate or test where the manifest says so, else empty: then it is drawn.
    `corrected` says that the label is not that of the manifest: `training.pictures.corrections`
    changed it.
    """

    path: Path
    source: str
    form: str
    material: str
    group: str
    split: str = ""
    corrected: bool = False


def read_examples(path: Path, *, sources: Iterable[str] = (), split: str = "") -> list[Example]:
    """Read a manifest CSV (or the `manifest.csv` in a folder), else a folder per label.

    Parameters
    ----------
    path:
        A CSV with at least `path` and `form`, `label` or `category` (paths relative to the CSV;
        `classifier.examples.listing` says how it may be written), or a folder.
        `tallytare examples export` writes such a folder, with groups and splits. Known mistakes of
        labels are corrected while a CSV is read (`training.pictures.corrections`); stderr says how
        many.
    sources:
        Keep only these sources; empty keeps all.
    split:
        Keep only the pictures of this split of the manifest; empty keeps all.

    Raises
    ------
    DataFileError
        Nothing there, no table, a column missing, an unknown source or split, a group in two
        splits, or no picture.
    """
    if path.is_dir() and (path / "manifest.csv").is_file():
        path = path / "manifest.csv"
    if path.is_dir():
        examples = _from_folders(path)
    elif path.is_file():
        examples = _from_csv(path)
    else:
        raise DataFileError(f"{path} is neither a folder nor a manifest CSV", file=str(path))
    if not examples:
        raise DataFileError(
            f"{path} holds no labelled picture; put those of each label into a folder that bears "
            "its name, or give a manifest CSV",
            file=str(path),
        )
    wanted = set(sources)
    require_sources(examples, wanted)
    kept = [e for e in examples if not wanted or e.source in wanted]
    if split and not any(e.split == split for e in kept):
        raise DataFileError(
            f"{path}: no picture lies in the split {split!r}; the manifest has "
            f"{', '.join(sorted({e.split for e in kept} - {''})) or 'no splits'}",
            file=str(path),
        )
    return [e for e in kept if not split or e.split == split]


def require_sources(examples: Iterable[Example], wanted: Iterable[str]) -> None:
    """Raise DataFileError for a source that no picture comes from."""
    known = {e.source for e in examples}
    if missing := set(wanted) - known:
        raise DataFileError(
            f"no picture comes from the source {', '.join(sorted(missing))}; "
            f"there are pictures from {', '.join(sorted(known))}"
        )


def read_sets(paths: Sequence[Path]) -> list[Example]:
    """Read several sets of labelled pictures as one.

    Raises
    ------
    DataFileError
        As `read_examples`, or a group that two sets share: splits could not keep it together.
    """
    found: list[Example] = []
    set_of: dict[str, Path] = {}
    for path in paths:
        examples = read_examples(path)
        for example in examples:
            if set_of.setdefault(example.group, path) != path:
                raise DataFileError(
                    f"{path} and {set_of[example.group]} both hold a group {example.group!r}; "
                    "rename it in one of them, or join them in one manifest",
                    file=str(path),
                )
        found += examples
    return found


def _from_csv(path: Path) -> list[Example]:
    listed = read_listing(path)
    unique = {each.path: each for each in listed}
    if repeated := len(listed) - len(unique):
        tell(f"{path}: rows that name a picture of an earlier row, left out: {repeated}\n")
    rows = [{**each.cells, "label": each.label} for each in unique.values()]
    corrected = correct(rows, path.parent, "label", load_corrections())
    tell(report(corrected.applied, corrected.misfits))
    examples = [
        Example(
            path=path.parent / row["path"],
            source=row.get("source") or path.resolve().parent.name,
            form=row["label"],
            material=_SAME_MATERIAL.get(row.get("material", ""), row.get("material", "")),
            group=row.get("group") or _block_group(row),
            split=row.get("split") or "",
            corrected=row is not given,
        )
        for given, row in zip(rows, corrected.rows, strict=True)
    ]
    _check_splits(examples, path)
    return examples


def _check_splits(examples: Iterable[Example], path: Path) -> None:
    """Refuse splits that nothing is done with, and groups that would be learned and judged by."""
    split_of: dict[str, str] = {}
    for example in examples:
        if example.split not in ("", *SPLITS):
            raise DataFileError(
                f"{path}: the split {example.split!r} of {example.path.name} is none of "
                f"{', '.join(SPLITS)}; name one of these, or leave it empty to have it drawn",
                file=str(path),
            )
        known = split_of.setdefault(example.group, example.split)
        if known != example.split:
            raise DataFileError(
                f"{path}: the group {example.group!r} lies in the splits {known or 'none'} and "
                f"{example.split or 'none'}; pictures of one object must share a split",
                file=str(path),
            )


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
    """Every file that lies in a folder is meant as a picture: what isn't one is named later."""
    return [
        Example(
            path=file,
            source=root.resolve().name,
            form=folder.name,
            material="",
            group=_block_group({"path": str(file.relative_to(root))}),
        )
        for folder in _visible(root)
        if folder.is_dir()
        for file in _visible(folder)
        if file.is_file()
    ]


def _visible(folder: Path) -> list[Path]:
    return sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
