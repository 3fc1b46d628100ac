"""A folder of labelled pictures, as somebody else may have made it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from classifier.errors import DataFileError, InvalidEntryError
from classifier.examples.listing import read_listing
from service.examples.origin import digests_in

PICTURE_SUFFIXES = frozenset(
    ".jpg .jpeg .jpe .jfif .png .webp .gif .bmp .tif .tiff .heic .heif .avif".split()
)
MOST_LINES = 100_000
"""Of a manifest."""
_LABEL_COLUMNS = ("label", "form", "category")


@dataclass(frozen=True, slots=True)
class FolderPicture:
    """A file of the folder, its label and, if known, which object it shows.

    `made_from` holds SHA-256 digests of the files of other stores that it was made from.
    """

    file: Path
    path: str
    label: str
    group: str = ""
    made_from: tuple[str, ...] = ()


def read_pictures(folder: Path, *, called: str = "") -> tuple[list[FolderPicture], list[str]]:
    """Return the labelled pictures of a folder: by its manifest.csv, else by folder per label.

    With them come the paths of pictures that lie in no label's folder, or deeper in it; a manifest
    leaves out what it does not list. Messages name the folder `called`, else by its path.

    Raises InvalidEntryError when there is no such folder or nothing in it, DataFileError for a
    manifest that can't be read or leads out of the folder.
    """
    place = called or str(folder)
    if not folder.is_dir():
        raise InvalidEntryError(
            f"{place} is no folder: give one with a folder per label, or with a manifest.csv"
        )
    manifest = folder / "manifest.csv"
    if manifest.is_file():
        name = f"in {called}, {manifest.name}" if called else str(manifest)
        found, astray = _listed(folder, manifest, name), []
    else:
        found, astray = _in_folders(folder), _astray(folder)
    if not found and not any("/" in path for path in astray):
        raise InvalidEntryError(
            f"{place} holds no labelled picture: put the pictures of each label into a folder "
            "with its name"
        )
    return found, astray


def _in_folders(root: Path) -> list[FolderPicture]:
    return [
        FolderPicture(file, file.relative_to(root).as_posix(), folder.name)
        for folder in _visible(root)
        if folder.is_dir()
        for file in _visible(folder)
        if file.is_file()
    ]


def _astray(root: Path) -> list[str]:
    """Return the pictures that a folder per label does not explain."""
    paths = [file.relative_to(root) for file in root.rglob("*") if file.is_file()]
    return sorted(
        path.as_posix()
        for path in paths
        if len(path.parts) != 2
        and path.suffix.lower() in PICTURE_SUFFIXES
        and not any(part.startswith(".") for part in path.parts)
    )


def _listed(root: Path, manifest: Path, name: str) -> list[FolderPicture]:
    inside = root.resolve()
    found = []
    rows = read_listing(manifest, label_columns=_LABEL_COLUMNS, called=name, most_lines=MOST_LINES)
    for row in rows:
        file = root / row.path
        if not row.path or not _leads_into(file, inside):
            raise DataFileError(
                f"{name}, line {row.line}: path {row.path[:80]!r} leads out of the folder; "
                "put the picture into it",
                file=name,
                line=row.line,
            )
        group, made_from = (row.cells.get(name, "") for name in ("group", "made_from"))
        path = Path(os.path.normpath(row.path)).as_posix()
        found.append(FolderPicture(file, path, row.label, group, digests_in(made_from)))
    # A picture that is listed more than once is one; rows that differ were refused.
    return [*{each.path: each for each in found}.values()]


def _leads_into(file: Path, folder: Path) -> bool:
    try:
        return file.resolve().is_relative_to(folder)
    except ValueError:  # a NUL, which leads nowhere
        return False


def _visible(folder: Path) -> list[Path]:
    return sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
