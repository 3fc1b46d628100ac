"""Which line of a field sheet is which earlier record: known by what it says, not where it stands.

Ids follow the line that a record was first imported from. A line that was moved since, or pushed
down by another, is found by its content; of two equal lines each is a record of its own. So the
records always add up to the lines of the file, or a problem says where they do not.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import count
from operator import attrgetter
from uuid import UUID, uuid5

from classifier.log.quantities import parse_decimal
from classifier.log.records import Batch, Item, Weighing
from classifier.sheet.lines import SheetProblem, SheetRow
from classifier.sheet.read import FieldSheet
from service.store.rows import SortRows

_NAMESPACE = UUID("0c5c5f0e-5f6a-4b58-8d3b-4a8a6a1f9b27")
# A file may have become shorter since it was imported.
_LINES_BEYOND = 1000
_READING = attrgetter("method", "gross", "tare", "unit", "resolution", "contents_left", "note")
_AUTO_LABEL = re.compile(r"line \d+")


@dataclass(frozen=True, slots=True)
class RecordIds:
    """The ids of what a line records."""

    batch: str
    item: str
    weighing: str


@dataclass(frozen=True, slots=True)
class _Content:
    """What a line says, or what was recorded of it so far, in a form that can be compared."""

    category: str
    label: str
    item: tuple[object, ...] | None
    weighing: tuple[object, ...] | None

    def completes(self, earlier: _Content) -> bool:
        """Tell whether a line may be what was recorded earlier, perhaps with more to record."""
        return (
            self.category == earlier.category
            and earlier.item in (None, self.item)
            and earlier.weighing in (None, self.weighing)
        )

    def repeats(self, earlier: _Content) -> bool:
        """Tell whether all that a line says was recorded earlier; a pile's name is no matter."""
        return (self.category, self.item, self.weighing) == (
            earlier.category,
            earlier.item,
            earlier.weighing,
        )

    def completes_pile(self, earlier: _Content) -> bool:
        """Tell whether a line may be what was recorded earlier into a pile of the same name."""
        return self.label == earlier.label and self.completes(earlier)


@dataclass(frozen=True, slots=True)
class SheetRecord:
    """What an earlier import recorded from a line; `stands` unless all of it was undone since."""

    line: int
    ids: RecordIds
    item: Item | None
    weighing: Weighing | None
    stands: bool
    content: _Content

    @property
    def words(self) -> str:
        """Say what was recorded."""
        parts = [self.content.category]
        if self.item is not None:
            parts.append(f"{self.item.count} counted")
        if self.weighing is not None:
            gross = "too light" if self.weighing.gross is None else f"gross {self.weighing.gross}"
            parts.append(f"{gross}, tare {self.weighing.tare or 0} {self.weighing.unit}")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Placed:
    """A line that can be recorded under these ids.

    `done` where that happened before, `undone` where all of it was taken back on the pages since.
    """

    row: SheetRow
    ids: RecordIds
    done: bool = False
    undone: bool = False


class SheetRecords:
    """What a sort holds of one sheet."""

    def __init__(self, rows: SortRows, sheet: str) -> None:
        self._sort_id = rows.sort.id
        self._sheet = sheet
        self._items = {item.id: item for item in rows.items}
        self._weighings = {weighing.id: weighing for weighing in rows.weighings}
        self._batches = {batch.id: batch for batch in rows.batches}
        self._undone = {change.item_id for change in rows.changes if change.kind == "void"}
        self._undone |= {void.weighing_id for void in rows.voids}

    def place(self, file: FieldSheet) -> tuple[list[Placed], list[SheetProblem]]:
        """Return the good lines with the ids that they go under, and what speaks against others."""
        unread = {problem.line for problem in file.problems}
        last = max((*(row.line for row in file.rows), *file.blank, *unread), default=0)
        lines = range(1, last + _LINES_BEYOND)
        records = [record for line in lines for record in self._records_of(line)]
        contents = {row.line: _content(row) for row in file.rows}
        found = _Matching(contents, records).found
        problems = self._problems(file, found, records)
        refused = {problem.line for problem in problems}
        placed = []
        for row in file.rows:
            record = found.get(row.line)
            if record is not None:
                done = contents[row.line].repeats(record.content)
                placed.append(Placed(row, record.ids, done, undone=done and not record.stands))
            elif row.line not in refused:
                placed.append(Placed(row, self._free_ids(row.line)))
        return placed, problems

    def _problems(
        self, file: FieldSheet, found: Mapping[int, SheetRecord], records: Sequence[SheetRecord]
    ) -> list[SheetProblem]:
        """Return the new lines that may be what a record left over was before it was changed.

        That is the one in its place and any of its category: none of them is recorded, so that
        none is counted twice.
        """
        taken = {record.ids for record in found.values()}
        left = [record for record in records if record.stands and record.ids not in taken]
        fresh = [row for row in file.rows if row.line not in found]
        unread = {problem.line for problem in file.problems}
        suspected: dict[int, SheetProblem] = {}
        gone = []
        for record in left:
            category = record.content.category
            suspects = [row for row in fresh if record.line == row.line or row.category == category]
            for row in suspects:
                suspected.setdefault(row.line, self._may_be(row, record))
            if not suspects and record.line not in unread:
                gone.append(self._gone(record, blank=record.line in file.blank))
        return [*suspected.values(), *gone]

    def _may_be(self, row: SheetRow, record: SheetRecord) -> SheetProblem:
        if row.line == record.line:
            return SheetProblem(row.line, "", _given(row), self._before("this line", record))
        message = self._before(f"line {record.line}", record, ", and this line may be it")
        return SheetProblem(row.line, "", _given(row), message)

    def _gone(self, record: SheetRecord, *, blank: bool) -> SheetProblem:
        if blank:
            return SheetProblem(record.line, "", "", self._before("this line", record))
        message = self._before(
            f"line {record.line}", record, ", and the file no longer has such a line"
        )
        return SheetProblem(record.line, "", "", message)

    def _before(self, which: str, record: SheetRecord, now: str = "") -> str:
        return (
            f"{which} of sheet {self._sheet!r} was imported before as {record.words}{now}: undo "
            "that on the pages, all of it, and import again; if the file is another sheet, import "
            "it under another sheet number"
        )

    def _ids(self, line: int) -> Iterator[RecordIds]:
        """Give the ids of a line, then those of lines that came in its place later."""

        def made(place: str, what: str) -> str:
            return str(
                uuid5(_NAMESPACE, f"{self._sort_id}\n{self._sheet.casefold()}\n{place}\n{what}")
            )

        for number in count(1):
            place = str(line) if number == 1 else f"{line}, {number}"
            yield RecordIds(made(place, "batch"), made(place, "item"), made(place, "weighing"))

    def _records_of(self, line: int) -> Iterator[SheetRecord]:
        for ids in self._ids(line):
            record = self._record(line, ids)
            if record is None:
                return
            yield record

    def _free_ids(self, line: int) -> RecordIds:
        return next(ids for ids in self._ids(line) if self._record(line, ids) is None)

    def _record(self, line: int, ids: RecordIds) -> SheetRecord | None:
        item, weighing = self._items.get(ids.item), self._weighings.get(ids.weighing)
        own = self._batches.get(ids.batch)
        # A pile that was counted on the pages may have been weighed by the sheet.
        batch = self._batches[weighing.batch_id] if weighing is not None else own
        if batch is None:
            return None
        return SheetRecord(
            line=line,
            ids=ids,
            item=item,
            weighing=weighing,
            stands=any(
                each is not None and each.id not in self._undone for each in (item, weighing)
            ),
            content=_recorded(batch, item, weighing, label="" if own is None else own.label),
        )


class _Matching:
    """Pairs lines with records: first what is equal, then what a line completes.

    So where all lines of a file are recorded, each finds its record, wherever it stands now.
    """

    def __init__(self, lines: Mapping[int, _Content], records: Sequence[SheetRecord]) -> None:
        self.found: dict[int, SheetRecord] = {}
        self._lines = lines
        self._taken: set[RecordIds] = set()
        in_place: dict[int, list[SheetRecord]] = defaultdict(list)
        anywhere: dict[str, list[SheetRecord]] = defaultdict(list)
        # What was undone is taken last, so that what counts is not left over.
        for record in sorted(records, key=lambda record: not record.stands):
            in_place[record.line].append(record)
            anywhere[record.content.category].append(record)

        def here(line: int) -> list[SheetRecord]:
            return in_place[line]

        def there(line: int) -> list[SheetRecord]:
            return [each for each in anywhere[lines[line].category] if not self._is_half(each)]

        for suits in (_Content.__eq__, _Content.repeats):
            self._pair(here, suits)
            while self._pair(there, suits):
                pass
        self._pair(here, _Content.completes)
        self._pair(there, _Content.completes_pile)

    def _pair(
        self,
        candidates: Callable[[int], list[SheetRecord]],
        suits: Callable[[_Content, _Content], bool],
    ) -> bool:
        before = len(self.found)
        for line, content in self._lines.items():
            if line in self.found:
                continue
            for record in candidates(line):
                if record.ids not in self._taken and suits(content, record.content):
                    self.found[line] = record
                    self._taken.add(record.ids)
                    break
        return len(self.found) > before

    def _is_half(self, record: SheetRecord) -> bool:
        """Tell whether the line in its place may have more to record: an import may be at it."""
        own = None if record.line in self.found else self._lines.get(record.line)
        if own is None:
            return False
        return own.completes(record.content) and not own.repeats(record.content)


def _content(row: SheetRow) -> _Content:
    weighing = None
    if row.method is not None:
        weighing = (
            row.method,
            _number(row.gross),
            _number(row.tare),
            row.unit,
            _number(row.resolution),
            row.contents_left,
            row.note.strip(),
        )
    return _Content(
        category=row.category,
        label=_label(row.bucket),
        # A note stands once: with the weighing, if there is one.
        item=None if row.count is None else (row.count, "" if row.method else row.note.strip()),
        weighing=weighing,
    )


def _recorded(
    batch: Batch, item: Item | None, weighing: Weighing | None, *, label: str
) -> _Content:
    return _Content(
        category=batch.category,
        label=_label(label),
        item=None if item is None else (item.count, item.note),
        weighing=None if weighing is None else _READING(weighing),
    )


def _label(text: str) -> str:
    """Return a pile's name, without one that only tells its line."""
    return "" if _AUTO_LABEL.fullmatch(text) else text


def _number(text: str) -> Decimal | None:
    return parse_decimal(text, what="weight") if text else None


def _given(row: SheetRow) -> str:
    counted = "not counted" if row.count is None else f"{row.count} counted"
    weight = f", gross {row.gross or '-'}, tare {row.tare or '0'} {row.unit}" if row.method else ""
    return f"{row.category}, {counted}{weight}"
