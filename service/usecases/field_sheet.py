"""Import a filled field sheet into a sort: look at it first, then record it line by line.

Every id follows from the sort, the sheet's number and the line, so the same file sent twice
changes nothing, an interrupted import is finished by the next, and a line that was changed after
its import is a conflict that names both. All goes through the use cases of the pages.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from uuid import UUID, uuid5

from classifier.domain.errors import ClosedSortError, InvalidEntryError
from classifier.domain.field_sheet import (
    FieldSheet,
    Scale,
    SheetProblem,
    SheetRow,
    read_sheet,
)
from classifier.domain.quantities import parse_decimal
from classifier.domain.records import Item, SortInfo, Weighing
from service.store.rows import SortRows
from service.usecases.entries import check_sorter, check_text
from service.usecases.items import confirm
from service.usecases.piles import start_batch, weigh
from service.usecases.services import Services

_NAMESPACE = UUID("0c5c5f0e-5f6a-4b58-8d3b-4a8a6a1f9b27")
SHEET_LENGTH = 40

State = Literal["new", "recorded"]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A good line, and the pile it goes into: `None` for a new one of its own.

    `joins` tells that it weighs a pile that was counted on the pages.
    """

    row: SheetRow
    state: State
    pile: str | None
    joins: bool


@dataclass(frozen=True, slots=True)
class SheetPreview:
    """What a file would do to a sort; nothing is recorded yet."""

    sort: SortInfo
    sheet: str
    file: FieldSheet
    lines: tuple[SheetLine, ...]
    problems: tuple[SheetProblem, ...]

    @property
    def new(self) -> tuple[SheetLine, ...]:
        """The lines that an import would record."""
        return tuple(line for line in self.lines if line.state == "new")


@dataclass(frozen=True, slots=True)
class SheetImport:
    """What an import did: lines recorded now, lines that were there before, lines left out."""

    sort: SortInfo
    recorded: int
    before: int
    problems: tuple[SheetProblem, ...]


def preview_sheet(
    services: Services,
    *,
    sort_id: str,
    data: bytes,
    sheet: str = "1",
    scale: Scale | None = None,
    decimal_comma: bool | None = None,
) -> SheetPreview:
    """Read a filled sheet and say of each line whether it can be recorded.

    `sheet` tells several sheets of one sort apart; `scale` stands in for empty units and
    resolutions.

    Raises UnknownIdError when there is no such sort; InvalidEntryError when the file as a whole
    can't be read.
    """
    rows = services.log.sort_rows(sort_id.lower())
    name = check_text(sheet, "sheet number", longest=SHEET_LENGTH, needed=True)
    file = read_sheet(data, services.categories, scale=scale, decimal_comma=decimal_comma)
    judge = _Judge(rows, name)
    lines, problems = [], list(file.problems)
    for row in file.rows:
        conflict = judge.conflict(row)
        if conflict is None:
            lines.append(judge.line(row, file.rows))
        else:
            problems.append(conflict)
    problems += judge.cleared(file.blank)
    problems.sort(key=lambda problem: problem.line)
    return SheetPreview(rows.sort, name, file, tuple(lines), tuple(problems))


def import_sheet(
    services: Services,
    *,
    sort_id: str,
    data: bytes,
    sheet: str = "1",
    scale: Scale | None = None,
    decimal_comma: bool | None = None,
    sorter: str = "",
    accept_good: bool = False,
) -> SheetImport:
    """Record a filled sheet: all of it, or with `accept_good` the lines without a problem.

    A repeat records nothing again, and finishes an import that broke off.

    Raises InvalidEntryError when there are problems that were not accepted, or nothing to record;
    ClosedSortError; UnknownIdError. Nothing is recorded then.
    """
    found = preview_sheet(
        services,
        sort_id=sort_id,
        data=data,
        sheet=sheet,
        scale=scale,
        decimal_comma=decimal_comma,
    )
    who = check_sorter(sorter)
    if found.problems and not accept_good:
        raise InvalidEntryError(
            f"{len({each.line for each in found.problems})} lines have problems: nothing was "
            "recorded; mend them, or accept the good lines alone",
            problems=len(found.problems),
        )
    if not found.lines:
        raise InvalidEntryError(
            "the file holds no line that can be recorded: fill in a count or a weight, then give "
            "it again"
        )
    if found.new and found.sort.closed:
        raise ClosedSortError(
            f"the sort {found.sort.name!r} is closed: reopen it, then import again; nothing was "
            "recorded",
            sort=found.sort.id,
        )
    labels = _labels(found.file.rows)
    for line in found.new:
        _record(services, found, line, label=labels[line.row.line], sorter=who)
    before = len(found.lines) - len(found.new)
    return SheetImport(found.sort, len(found.new), before, found.problems)


def _record(
    services: Services, found: SheetPreview, line: SheetLine, *, label: str, sorter: str
) -> None:
    row, sort_id = line.row, found.sort.id
    ids = _Ids(sort_id, found.sheet, row.line)
    batch_id = line.pile
    if batch_id is None:
        batch_id = ids.batch
        start_batch(
            services, sort_id=sort_id, batch_id=batch_id, category=row.category, label=label
        )
    if row.count is not None:
        confirm(
            services,
            item_id=ids.item,
            sort_id=sort_id,
            category=row.category,
            batch_id=batch_id,
            count=row.count,
            note="" if row.method else row.note,
            sorter=sorter,
        )
    if row.method is not None:
        weigh(
            services,
            sort_id=sort_id,
            weighing_id=ids.weighing,
            batch_id=batch_id,
            method=row.method,
            gross=row.gross or None,
            tare=row.tare or None,
            unit=row.unit,
            resolution=row.resolution,
            contents_left=row.contents_left,
            note=row.note,
            sorter=sorter,
        )


def _labels(rows: Sequence[SheetRow]) -> dict[int, str]:
    """Return the label of each line's pile: what was written, or its line among several."""
    several = Counter(row.category for row in rows)
    return {
        row.line: row.bucket or (f"line {row.line}" if several[row.category] > 1 else "")
        for row in rows
    }


class _Ids:
    """The ids of what a line records."""

    def __init__(self, sort_id: str, sheet: str, line: int) -> None:
        def made(what: str) -> str:
            return str(uuid5(_NAMESPACE, f"{sort_id}\n{sheet.casefold()}\n{line}\n{what}"))

        self.batch, self.item, self.weighing = made("batch"), made("item"), made("weighing")


class _Judge:
    """Holds each line against what the sort has already."""

    def __init__(self, rows: SortRows, sheet: str) -> None:
        self._rows = rows
        self._sheet = sheet
        self._items = {item.id: item for item in rows.items}
        self._weighings = {weighing.id: weighing for weighing in rows.weighings}
        self._batches = {batch.id: batch for batch in rows.batches}

    def conflict(self, row: SheetRow) -> SheetProblem | None:
        """Return why a line can't be recorded: it was imported before and read otherwise."""
        item, weighing = self._recorded(row.line)
        batch = self._batches.get(_Ids(self._rows.sort.id, self._sheet, row.line).batch)
        same = (
            (batch is None or batch.category == row.category)
            and (item is None or _same_item(item, row))
            and (weighing is None or _same_weighing(weighing, row))
            and (weighing is None or self._batches[weighing.batch_id].category == row.category)
        )
        return None if same else self._other(row.line, _given(row), item, weighing)

    def cleared(self, lines: Sequence[int]) -> list[SheetProblem]:
        """Return the blank lines that were not blank when they were imported."""
        found = ((line, *self._recorded(line)) for line in lines)
        return [
            self._other(line, "", item, weighing)
            for line, item, weighing in found
            if item or weighing
        ]

    def _other(
        self, line: int, given: str, item: Item | None, weighing: Weighing | None
    ) -> SheetProblem:
        own = _Ids(self._rows.sort.id, self._sheet, line).batch
        pile = self._batches.get(own if weighing is None else weighing.batch_id)
        return SheetProblem(
            line,
            "",
            given,
            f"this line of sheet {self._sheet!r} was imported before as "
            f"{_words(pile.category if pile else '', item, weighing)}: correct that record on the "
            "pages, or import the file under another sheet number",
        )

    def line(self, row: SheetRow, rows: Sequence[SheetRow]) -> SheetLine:
        """Return a good line with what an import would do."""
        item, weighing = self._recorded(row.line)
        done = (row.count is None or item is not None) and (
            row.method is None or weighing is not None
        )
        own = _Ids(self._rows.sort.id, self._sheet, row.line).batch
        counted = None if done or own in self._batches else self._counted_pile(row, rows)
        pile = own if own in self._batches else counted
        return SheetLine(row, "recorded" if done else "new", pile, joins=counted is not None)

    def _recorded(self, line: int) -> tuple[Item | None, Weighing | None]:
        ids = _Ids(self._rows.sort.id, self._sheet, line)
        return self._items.get(ids.item), self._weighings.get(ids.weighing)

    def _counted_pile(self, row: SheetRow, rows: Sequence[SheetRow]) -> str | None:
        """Return the pile that a line without a count weighs.

        Counted on the pages and weighed on paper: where the sort has one pile of the category, not
        weighed yet, and the sheet one line of it, that line is its weight. Else it is another pile.
        """
        own = [batch for batch in self._rows.batches if batch.category == row.category]
        of_sheet = [each for each in rows if each.category == row.category]
        weighed = {weighing.batch_id for weighing in self._rows.weighings}
        alone = len(own) == 1 and len(of_sheet) == 1 and own[0].id not in weighed
        return own[0].id if row.count is None and not row.bucket and alone else None


def _same_item(item: Item, row: SheetRow) -> bool:
    note = "" if row.method else row.note
    return (item.category, item.count, item.note) == (row.category, row.count, note.strip())


def _same_weighing(weighing: Weighing, row: SheetRow) -> bool:
    if row.method is None:
        return False
    typed = [
        None if not text else parse_decimal(text, what="weight") for text in (row.gross, row.tare)
    ]
    return (
        weighing.method == row.method
        and [weighing.gross, weighing.tare] == typed
        and str(weighing.unit) == row.unit
        and weighing.resolution == parse_decimal(row.resolution, what="resolution")
        and weighing.contents_left == row.contents_left
        and weighing.note == row.note.strip()
    )


def _words(category: str, item: Item | None, weighing: Weighing | None) -> str:
    parts = [category]
    if item is not None:
        parts.append(f"{item.count} counted")
    if weighing is not None:
        gross = "too light" if weighing.gross is None else f"gross {weighing.gross}"
        parts.append(f"{gross}, tare {weighing.tare or 0} {weighing.unit}")
    return ", ".join(part for part in parts if part)


def _given(row: SheetRow) -> str:
    count = "not counted" if row.count is None else f"{row.count} counted"
    weight = f", gross {row.gross or '-'}, tare {row.tare or '0'} {row.unit}" if row.method else ""
    return f"{row.category}, {count}{weight}"
