"""Labels of known pictures that were corrected, with the list of what was changed and why.

`data/corrections.csv` holds one row a picture: its path in the manifest, the start of the file's
SHA-256, the form it was given, the right one (empty: not decided) and the reason. Every picture of
the white board and of the landfill was looked at, small; then, larger, those without a form or with
one of low confidence, identical pictures with different labels, and the labels that a linear head
on pretrained features doubts most when it has not learned from the picture's group. Only what is
certain by eye stands in the list. Pictures to learn from and pictures to judge by were treated
alike, without a look at their split, and both are read corrected: deciding open labels adds clear
pictures to the test and leaving unclear ones out of it takes hard ones away, so that figures on
corrected labels may flatter a little.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from classifier.errors import DataFileError
from training.pictures.forms import load_forms, refuse_unknown

COLUMNS = ("path", "sha256", "given", "right", "reason")
DIGITS = 16  # of the SHA-256 in hexadecimal; enough to know a file again


@dataclass(frozen=True, slots=True)
class Correction:
    """One corrected label: `given` and `right` are forms, empty where nobody decided."""

    path: str
    sha256: str
    given: str
    right: str
    reason: str


@dataclass(frozen=True, slots=True)
class Corrected:
    """Rows of a manifest with the corrections that fit, how many did, and those that don't."""

    rows: list[dict[str, str]]
    applied: int
    misfits: list[str]


def load_corrections() -> dict[str, Correction]:
    """Read the shipped list, by path."""
    name = files("training") / "data" / "corrections.csv"
    return parse_corrections(name.read_text(encoding="utf-8"))


def parse_corrections(text: str) -> dict[str, Correction]:
    """Read a list of corrections.

    Raises
    ------
    DataFileError
        Other columns, an unknown form, a path twice, a correction that changes nothing or gives no
        reason, or a SHA-256 of another length.
    """
    reader = csv.DictReader(io.StringIO(text), restval="")
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise DataFileError(f"corrections need exactly the columns {', '.join(COLUMNS)}")
    found: dict[str, Correction] = {}
    for row in reader:
        correction = Correction(**{name: row[name] for name in COLUMNS})
        _refuse_useless(correction, found)
        found[correction.path] = correction
    named = {form for each in found.values() for form in (each.given, each.right)}
    refuse_unknown(named - {""}, load_forms().ids, "form")
    return found


def _refuse_useless(correction: Correction, before: Mapping[str, Correction]) -> None:
    fault = None
    if correction.path in before:
        fault = "is corrected twice; keep one of the rows"
    elif correction.given == correction.right:
        fault = f"is {correction.given!r} before and after; leave the row out"
    elif not correction.reason:
        fault = "is corrected without a reason; give one"
    elif len(correction.sha256) != DIGITS:
        fault = f"needs the first {DIGITS} digits of the file's SHA-256"
    if fault:
        raise DataFileError(f"corrections: {correction.path} {fault}")


def correct(
    rows: Sequence[dict[str, str]],
    folder: Path,
    label: str,
    corrections: Mapping[str, Correction],
) -> Corrected:
    """Apply the corrections that fit to rows of a manifest.

    A correction fits where path, start of the file's SHA-256 and given form are those of the row.
    A file of other content is another picture, and a label that is right already needs nothing.

    Parameters
    ----------
    rows:
        Rows with at least `path` and the column `label`.
    folder:
        What the paths are relative to.
    label:
        The column of the form.
    corrections:
        By path.
    """
    material_of = {form.id: form.material for form in load_forms().forms}
    corrected, applied, misfits = [], 0, []
    for row in rows:
        correction = corrections.get(row["path"])
        new = row
        if correction and row[label] != correction.right and _same_file(folder, correction):
            if row[label] == correction.given:
                new, applied = _mended(row, label, correction, material_of), applied + 1
            else:
                misfits.append(
                    f"{correction.path} is labelled {row[label] or 'undecided'!r}, not "
                    f"{correction.given or 'undecided'!r}: its correction to "
                    f"{correction.right or 'undecided'!r} was left out"
                )
        corrected.append(new)
    return Corrected(corrected, applied, misfits)


def _mended(
    row: dict[str, str], label: str, correction: Correction, material_of: Mapping[str, str]
) -> dict[str, str]:
    """Change the form, and the material where one was given that the right form speaks against."""
    new = {**row, label: correction.right}
    before, after = material_of.get(correction.given), material_of.get(correction.right)
    # Origins call miscellaneous what they had no other name for, whatever it is made of; and an
    # undecided form says nothing about the material.
    if row.get("material", "") not in ("", "miscellaneous") and after and after != before:
        new["material"] = after
    return new


def _same_file(folder: Path, correction: Correction) -> bool:
    file = folder / correction.path
    return file.is_file() and start_of_sha256(file) == correction.sha256


def start_of_sha256(file: Path) -> str:
    """Return the first digits of a file's SHA-256, as the list holds them."""
    return hashlib.sha256(file.read_bytes()).hexdigest()[:DIGITS]


def report(applied: int, misfits: Iterable[str]) -> str:
    """Lines that say what was corrected and what no longer fits; empty if nothing is to be said."""
    lines = [f"labels corrected by training/data/corrections.csv: {applied}"] if applied else []
    return "".join(f"{line}\n" for line in [*lines, *misfits])
