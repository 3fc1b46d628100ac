"""Import a filled field sheet into a sort: look at it first, then record it all at once.

Every id follows from the sort, the sheet's number and the line, and a line is known again by what
it says (`sheet_records`). So the same file sent twice changes nothing, lines may be moved and
added, an interrupted import is finished by the next, and a line that was changed after its import
is a conflict that names both. All goes through the use cases of the pages.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from classifier.errors import ClosedSortError, InvalidEntryError
from classifier.log.records import SortInfo
from classifier.sheet.lines import Scale, SheetProblem, SheetRow
from classifier.sheet.read import FieldSheet, read_sheet
from service.entries import check_sorter, check_text
from service.piles.usecases import start_batch, weigh
from service.services import Services
from service.sheets.records import Placed, RecordIds, SheetRecords
from service.sorting.items import confirm
from service.store.rows import SortRows

SHEET_LENGTH = 40

State = Literal["new", "recorded"]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A good line, its ids, and the pile it goes into: `None` for a new one of its own.

    `joins` tells that it weighs a pile that was counted on the pages, `undone` that what was
    recorded was taken back there.
    """

    row: SheetRow
    state: State
    ids: RecordIds
    pile: str | None
    joins: bool
    undone: bool


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
    placed, problems = SheetRecords(rows, name).place(file)
    piles = _Piles(rows, file.rows)
    lines = tuple(piles.line(each) for each in placed)
    problems += file.problems
    problems.sort(key=lambda problem: problem.line)
    return SheetPreview(rows.sort, name, file, lines, tuple(problems))


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

    All lines are one transaction: a count is never there without its weight. A repeat records
    nothing again, and finishes an import that broke off in an earlier version.

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
            "recorded; fix them, or accept only the good lines",
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

    def record() -> None:
        for line in found.new:
            _record(services, found, line, label=labels[line.row.line], sorter=who)

    services.log.together(record)
    before = len(found.lines) - len(found.new)
    return SheetImport(found.sort, len(found.new), before, found.problems)


def _record(
    services: Services, found: SheetPreview, line: SheetLine, *, label: str, sorter: str
) -> None:
    row, sort_id = line.row, found.sort.id
    ids = line.ids
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


class _Piles:
    """Says into which pile of the sort each line goes."""

    def __init__(self, rows: SortRows, lines: Sequence[SheetRow]) -> None:
        self._batches = {batch.id: batch for batch in rows.batches}
        self._weighed = {weighing.batch_id for weighing in rows.weighings}
        self._lines = Counter(row.category for row in lines)

    def line(self, placed: Placed) -> SheetLine:
        """Return a good line with what an import would do."""
        row, own = placed.row, placed.ids.batch
        counted = None if placed.done or own in self._batches else self._counted_pile(row)
        return SheetLine(
            row=row,
            state="recorded" if placed.done else "new",
            ids=placed.ids,
            pile=own if own in self._batches else counted,
            joins=counted is not None,
            undone=placed.undone,
        )

    def _counted_pile(self, row: SheetRow) -> str | None:
        """Return the pile that a line without a count weighs.

        Counted on the pages and weighed on paper: where the sort has one pile of the category, not
        weighed yet, and the sheet one line of it, that line is its weight. Else it is another pile.
        """
        own = [batch for batch in self._batches.values() if batch.category == row.category]
        alone = len(own) == 1 and self._lines[row.category] == 1 and own[0].id not in self._weighed
        return own[0].id if row.count is None and not row.bucket and alone else None
