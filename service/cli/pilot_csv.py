"""A pilot study from CSV files: our own reports, or plain columns from a spreadsheet."""

from __future__ import annotations

import csv
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from classifier.errors import InvalidEntryError, InvalidQuantityError
from classifier.log.quantities import parse_decimal

REPORT_COLUMNS = ("sort_id", "level", "name", "measure", "basis", "value")
MASS_COLUMNS = ("sort", "category", "name", "net_g", "unweighed")
"""Of masses.csv in the data package of a study."""
VALUE_COLUMNS = ("value", "share", "percent", "weight")
# Shares of one sample that add to this are still within their rounding.
_MOST_TOGETHER = 1.005


@dataclass(frozen=True, slots=True)
class Pilot:
    """Shares of each sample, fractions of shape (n_samples, n_categories), and what to know."""

    categories: tuple[str, ...]
    shares: NDArray[np.float64]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Value:
    sample: str
    category: str
    value: float
    where: str


def read_pilot(files: Sequence[Path]) -> Pilot:
    """Read samples from one file or more, all with the same columns.

    A category without a row in a sample counts as 0 there. Raises InvalidEntryError, with file and
    line, for anything that can't be meant.
    """
    kinds: set[str] = set()
    values: list[_Value] = []
    notes: list[str] = []
    for file, count in Counter(file.resolve() for file in files).items():
        if count > 1:
            _refuse(f"the same file was given twice: {file.name}; give it once")
        header, rows = _rows(file)
        if set(MASS_COLUMNS) <= set(header):
            kinds.add("weight")
            values += _of_study(file, rows, notes)
        elif set(REPORT_COLUMNS) <= set(header):
            kinds.add("weight")
            notes += _unweighed(rows)
            values += list(_of_report(rows))
        else:
            column = _value_column(file, header)
            kinds.add("weight" if column == "weight" else "share")
            found = _plain(file, header, rows, column)
            values += found if column == "weight" else _fractions(found, column, notes)
    if len(kinds) > 1:
        raise InvalidEntryError(
            "some files hold weights and others shares: give files of one kind, or weigh shares out"
        )
    _refuse_twice(values)
    return _pilot(values, weights=kinds == {"weight"}, notes=notes)


def _rows(file: Path) -> tuple[list[str], list[tuple[str, dict[str, str]]]]:
    """Return the columns, and each row with its place; both comma and semicolon may divide."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        _refuse(f"{file.name} is not UTF-8 text: save it as CSV UTF-8")
    first = text.partition("\n")[0]
    divider = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(text.splitlines(), delimiter=divider)
    header = [name.strip().lower() for name in next(reader, [])]
    rows = []
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{file.name}, line {reader.line_num}"
        if len(cells) != len(header):
            _refuse(
                f"{where}: {len(cells)} cells under {len(header)} columns: give one for each, and "
                "put a text that holds the divider in quotes"
            )
        rows.append((where, dict(zip(header, (cell.strip() for cell in cells), strict=True))))
    if not rows:
        _refuse(f"{file.name} holds no rows under its header: give one row a category and sample")
    return header, rows


def _value_column(file: Path, header: Sequence[str]) -> str:
    columns = [name for name in VALUE_COLUMNS if name in header]
    if "category" not in header or len(columns) != 1:
        _refuse(
            f"{file.name} has the columns {', '.join(header)}: give category and one of "
            f"{', '.join(VALUE_COLUMNS)}, with sample beside them if you can; or a report of ours "
            "(tallytare report SORT --format csv), or masses.csv of a study's data package"
        )
    if columns == ["weight"] and "sample" not in header:
        _refuse(f"{file.name} has weights without a column sample: say which sample each is from")
    return columns[0]


def _of_report(rows: Sequence[tuple[str, Mapping[str, str]]]) -> Iterator[_Value]:
    for where, row in rows:
        about = row["level"], row["measure"], row["basis"]
        if about == ("category", "net_weight", "measured"):
            yield _Value(row["sort_id"], row["name"], _number(row["value"], where), where)


def _of_study(
    file: Path, rows: Sequence[tuple[str, Mapping[str, str]]], notes: list[str]
) -> list[_Value]:
    values = [
        _Value(f"{file.name} {row['sort']}", row["name"], _number(row["net_g"], where), where)
        for where, row in rows
    ]
    notes.append(
        f"{file.name}: each sort is one sample, also where the two containers of a household were "
        "sorted apart"
    )
    weighed = {each.sample for each in values if each.value > 0}
    left = len({each.sample for each in values} - weighed)
    if left:
        notes.append(f"{file.name}: sorts without any weight are left out: {left}")
    names = sorted({row["name"] for _, row in rows if row["unweighed"] == "true"})
    if names:
        notes.append(
            f"{file.name}: not or not wholly weighed in some sorts, and too low here: "
            f"{', '.join(names)}"
        )
    return [each for each in values if each.sample in weighed]


def _unweighed(rows: Sequence[tuple[str, Mapping[str, str]]]) -> list[str]:
    names = sorted(
        {
            row["name"]
            for where, row in rows
            if (row["level"], row["measure"]) == ("category", "unweighed_objects")
            and _number(row["value"], where) > 0
        }
    )
    if not names:
        return []
    sort = rows[0][1].get("sort_name") or rows[0][1]["sort_id"]
    return [f"{sort}: some objects were not weighed and count as 0 here: {', '.join(names)}"]


def _plain(
    file: Path, header: Sequence[str], rows: Sequence[tuple[str, Mapping[str, str]]], column: str
) -> list[_Value]:
    counts: Counter[str] = Counter()
    values = []
    for where, row in rows:
        category = row["category"]
        counts[category] += 1
        sample = row["sample"] if "sample" in header else f"{counts[category]}"
        if not category or not sample:
            _refuse(f"{where}: category or sample is empty: fill it in")
        values.append(_Value(f"{file.name} {sample}", category, _number(row[column], where), where))
    if "sample" not in header and len(set(counts.values())) > 1:
        (most, high), (least, low) = counts.most_common()[0], counts.most_common()[-1]
        _refuse(
            f"{file.name}: {most} has {high} values and {least} {low}: write 0 where a category "
            "was not in a sample, or add a column sample"
        )
    return values


def _fractions(values: list[_Value], column: str, notes: list[str]) -> list[_Value]:
    percent = column == "percent" or (column == "value" and any(each.value > 1 for each in values))
    if column == "value":
        notes.append(f"values were read as {'per cent' if percent else 'fractions'} of a sample")
    scale = 100 if percent else 1
    return [_Value(v.sample, v.category, v.value / scale, v.where) for v in values]


def _refuse_twice(values: Sequence[_Value]) -> None:
    seen: dict[tuple[str, str], str] = {}
    for each in values:
        before = seen.setdefault((each.sample, each.category), each.where)
        if before != each.where:
            _refuse(
                f"{each.where}: {each.category} of this sample stands already in {before}: give "
                "each sample once, and one row a category"
            )


def _pilot(values: Sequence[_Value], *, weights: bool, notes: Sequence[str]) -> Pilot:
    samples = {name: place for place, name in enumerate(dict.fromkeys(v.sample for v in values))}
    names = {name: place for place, name in enumerate(dict.fromkeys(v.category for v in values))}
    if len(samples) < 2:
        _refuse(
            f"the files hold {len(samples)} sample with weights or shares: spread shows from two "
            "on; give more, or none to plan from the shipped table"
        )
    shares = np.zeros((len(samples), len(names)))
    for each in values:
        shares[samples[each.sample], names[each.category]] = each.value
    totals = shares.sum(axis=1)
    if weights and not (totals > 0).all():
        _refuse(f"sample {[*samples][int(totals.argmin())]} weighs nothing: leave it out")
    if not weights and totals.max() > _MOST_TOGETHER:
        name = [*samples][int(totals.argmax())]
        _refuse(f"the shares of sample {name} add to {totals.max():.0%}: they can't be over 100 %")
    return Pilot(tuple(names), shares / totals[:, None] if weights else shares, tuple(notes))


def _number(text: str, where: str) -> float:
    try:
        # A comma may be a decimal mark or not: the careful reader of weighings decides.
        value = float(parse_decimal(text, what="value")) if "," in text else float(text or "0")
    except InvalidQuantityError as error:
        _refuse(f"{where}: {error.message}")
    except ValueError:
        value = math.nan
    if not 0 <= value < math.inf:
        _refuse(f"{where}: {text!r} is no number from 0 upwards: write one, such as 12.5")
    return value


def _refuse(message: str) -> NoReturn:
    raise InvalidEntryError(message)
