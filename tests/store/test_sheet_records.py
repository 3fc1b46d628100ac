"""A field sheet imported again after its lines were moved, added, completed or changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from random import Random
from typing import Any
from unittest.mock import patch
from uuid import UUID, uuid5

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from classifier.errors import InvalidEntryError
from classifier.log.records import SortInfo
from service.piles import usecases as piles
from service.services import Services
from service.sheets import usecases as field_sheet
from service.sheets.usecases import SheetImport, SheetPreview
from service.sorting import items
from service.store.log import Log
from tests.fakes import new_id
from tests.store.entries import counts, enter, start

pytestmark = pytest.mark.sqlite_only
HEAD = "category,count,gross,unit,resolution,bucket\n"

Line = tuple[str, int | None, int | None, str]
"""Category, count, gross weight in g, bucket; without count and weight the line is blank."""

LINES = st.tuples(
    st.sampled_from(["food", "steel_cans"]),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 500, 600]),
    st.sampled_from(["", "", "tub"]),
)
SHEETS = st.lists(LINES, min_size=1, max_size=6)
ORDERS = st.randoms(use_true_random=False)
EXAMPLES = settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)


ONE_BY_ONE = patch.object(Log, "together", lambda _log, work: work())
"""As earlier versions recorded a sheet: each entry in a transaction of its own."""


def written(lines: Sequence[Line]) -> bytes:
    """Return the file of some lines."""
    cells = [
        f"{category},{count or ''},{gross or ''},g,1,{bucket if count or gross else ''}\n"
        for category, count, gross, bucket in lines
    ]
    return (HEAD + "".join(cells)).encode()


def filled(lines: Sequence[Line]) -> Counter[Line]:
    """Return how often each line that says something is there."""
    return Counter(line for line in lines if line[1] or line[2])


def recorded(services: Services, sort: SortInfo) -> Counter[Line]:
    """Return what the piles hold, as lines; a pile that only tells its line has no name."""
    found = services.log.sort_rows(sort.id)
    number = {item.batch_id: item.count for item in found.items}
    gross = {each.batch_id: int(each.gross) for each in found.weighings if each.gross}
    assert len(number) == len(found.items)
    assert len(gross) == len(found.weighings)
    return Counter(
        (
            batch.category,
            number.get(batch.id),
            gross.get(batch.id),
            "" if batch.label.startswith("line ") else batch.label,
        )
        for batch in found.batches
    )


def mixed(order: Random, *parts: Sequence[Line]) -> list[Line]:
    """Return all lines in another order."""
    lines = [line for part in parts for line in part]
    order.shuffle(lines)
    return lines


def look(services: Services, sort: SortInfo, lines: Sequence[Line]) -> SheetPreview:
    return field_sheet.preview_sheet(services, sort_id=sort.id, data=written(lines))


def record(services: Services, sort: SortInfo, lines: Sequence[Line], **more: Any) -> SheetImport:
    return field_sheet.import_sheet(services, sort_id=sort.id, data=written(lines), **more)


def first_import(services: Services, lines: Sequence[Line]) -> SortInfo:
    """Return a sort that some lines were imported into."""
    sort = start(services)
    if filled(lines):
        record(services, sort, lines)
    return sort


BEFORE: list[Line] = [
    ("food", 3, None, ""),
    ("steel_cans", 12, 500, "tub"),
    ("food", 3, None, ""),
]


def test_a_line_put_in_between_is_the_only_new_one(services: Services) -> None:
    """Those below have moved by a line; an equal third one counts a third time."""
    sort = first_import(services, BEFORE)
    after = [BEFORE[0], ("food", 3, None, ""), *BEFORE[1:]]
    assert [line.row.line for line in look(services, sort, after).new] == [5]
    assert record(services, sort, after).recorded == 1
    assert recorded(services, sort) == filled(after)
    assert record(services, sort, after[::-1]).before == 4


def test_what_an_earlier_version_recorded_is_known_again(services: Services) -> None:
    """Its ids followed the number of the line."""
    sort = start(services)
    namespace = UUID("0c5c5f0e-5f6a-4b58-8d3b-4a8a6a1f9b27")
    batch_id, item_id = (
        str(uuid5(namespace, f"{sort.id}\n1\n2\n{of}")) for of in ("batch", "item")
    )
    piles.start_batch(services, sort_id=sort.id, batch_id=batch_id, category="food")
    enter(services, sort, "food", item_id=item_id, batch_id=batch_id, count=3)
    assert record(services, sort, [BEFORE[1], BEFORE[0]]).before == 1


def test_lines_that_the_file_no_longer_has_are_named(services: Services) -> None:
    """Cut off the end, in between, or emptied."""
    sort = first_import(services, BEFORE)
    (gone,) = look(services, sort, BEFORE[:2]).problems
    assert gone.message.startswith(
        "line 4 of sheet '1' was imported before as food, 3 counted, and"
    )
    (gone,) = look(services, sort, [BEFORE[0], BEFORE[2]]).problems
    assert "line 3 of sheet '1' was imported before as steel_cans, 12 counted" in gone.message
    assert "the file no longer has such a line" in gone.message
    (gone,) = look(services, sort, [*BEFORE[:2], ("food", None, None, "")]).problems
    assert (gone.line, gone.message.split(" was ")[0]) == (4, "this line of sheet '1'")


def test_a_changed_line_holds_back_what_it_may_be_now(services: Services) -> None:
    """The line in its place and new ones of its category, each with what was recorded."""
    sort = first_import(services, BEFORE)
    changed: Line = ("steel_cans", 13, 500, "tub")
    more: list[Line] = [("steel_cans", 1, None, ""), ("glass_bottles_jars", 4, None, "")]
    found = look(services, sort, [BEFORE[0], changed, BEFORE[2], *more])
    assert [problem.line for problem in found.problems] == [3, 5]
    in_place, elsewhere = (problem.message for problem in found.problems)
    assert in_place.startswith("this line of sheet '1' was imported before as steel_cans, 12")
    assert elsewhere.startswith("line 3 of sheet '1' was imported before as steel_cans, 12")
    assert "this line may be it" in elsewhere
    assert [line.row.line for line in found.new] == [6]
    (other,) = look(services, sort, [BEFORE[0], ("textiles", 1, None, ""), BEFORE[2]]).problems
    assert other.given == "textiles, 1 counted"


def test_what_was_undone_on_the_pages_makes_room_for_the_mended_line(services: Services) -> None:
    """As it was, it stays undone."""
    sort = first_import(services, BEFORE[:2])
    (item,) = (item for item in services.log.sort_rows(sort.id).items if item.count == 3)
    items.undo(services, item_id=item.id, change_id=new_id())
    same = look(services, sort, BEFORE[:2])
    assert [line.undone for line in same.lines] == [True, False]
    assert same.new == ()
    assert record(services, sort, [("food", 4, None, ""), BEFORE[1]]).recorded == 1
    assert counts(services, sort) == {"food": 4, "steel_cans": 12}


def test_a_second_import_of_the_file_while_the_first_is_at_half_a_line(services: Services) -> None:
    """Half of it, by an earlier version, looks like the line below; it is not taken for that."""
    sort = start(services)
    lines: list[Line] = [("food", 1, 500, ""), ("food", 1, None, "")]
    weigh = piles.weigh

    def meanwhile(*given: Any, **named: Any) -> Any:
        with patch("service.sheets.usecases.weigh", weigh):
            record(services, sort, lines)
        return weigh(*given, **named)

    with ONE_BY_ONE, patch("service.sheets.usecases.weigh", meanwhile):
        record(services, sort, lines)
    assert recorded(services, sort) == filled(lines)


@pytest.mark.parametrize("steps", [0, 1])
def test_a_sheet_is_recorded_whole_or_not_at_all(services: Services, steps: int) -> None:
    """A kill in the middle leaves no counts without their weights, and no first lines alone."""
    sort = start(services)
    lines: list[Line] = [("food", 3, 500, ""), ("steel_cans", 12, 600, "")]
    left, weigh = steps, piles.weigh

    def killed(*given: Any, **named: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise SystemExit
        return weigh(*given, **named)

    with patch("service.sheets.usecases.weigh", killed), pytest.raises(SystemExit):
        record(services, sort, lines)
    assert recorded(services, sort) == Counter()
    assert record(services, sort, lines).recorded == 2
    assert recorded(services, sort) == filled(lines)


@EXAMPLES
@given(SHEETS, SHEETS, ORDERS)
def test_lines_are_known_again_where_others_were_added(
    services: Services, before: list[Line], new: list[Line], order: Random
) -> None:
    """Each that was there is known again, each new one is recorded once, equal ones too."""
    sort = first_import(services, before)
    after = mixed(order, before, new)
    assert look(services, sort, after).problems == ()
    if filled(after):
        record(services, sort, after)
        assert record(services, sort, after).recorded == 0
    assert _without_names(recorded(services, sort)) == _without_names(filled(after))


@EXAMPLES
@given(SHEETS, SHEETS, ORDERS)
def test_records_add_up_to_the_file_or_a_problem_says_so(
    services: Services, before: list[Line], other: list[Line], order: Random
) -> None:
    """After any change of the file: what was recorded stays, nothing stands twice."""
    sort = first_import(services, before)
    held = recorded(services, sort)
    after = mixed(order, before[order.randrange(len(before)) :], other)
    found = look(services, sort, after)
    if not filled(after) or not found.lines:
        return
    if found.problems:
        with pytest.raises(InvalidEntryError):
            record(services, sort, after)
        assert recorded(services, sort) == held
        return
    record(services, sort, after)
    assert _without_names(recorded(services, sort)) == _without_names(filled(after))


@EXAMPLES
@given(SHEETS, SHEETS, ORDERS)
def test_a_changed_line_is_never_recorded_beside_what_it_was(
    services: Services, before: list[Line], new: list[Line], order: Random
) -> None:
    """Wherever it was moved to, and with the good lines accepted."""
    sort = first_import(services, mixed(order, before, [("food", 7, None, "")]))
    after = mixed(order, before, new, [("food", 8, None, "")])
    found = look(services, sort, after)
    assert any("food, 7 counted" in problem.message for problem in found.problems)
    if found.lines:
        record(services, sort, after, accept_good=True)
    number = {item.count for item in services.log.sort_rows(sort.id).items}
    assert not {7, 8} <= number


@EXAMPLES
@given(SHEETS, SHEETS, st.integers(0, 5), ORDERS)
def test_an_import_that_broke_off_is_finished_with_lines_moved_meanwhile(
    services: Services, before: list[Line], new: list[Line], steps: int, order: Random
) -> None:
    """Half a line, as earlier versions left it, is completed and not recorded a second time."""
    sort = start(services)
    left = steps
    weigh = piles.weigh

    def until_the_power_cut(*given: Any, **named: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError("power cut")
        return weigh(*given, **named)

    if not filled(before):
        return
    with ONE_BY_ONE, patch("service.sheets.usecases.weigh", until_the_power_cut):
        try:
            record(services, sort, before)
        except OSError:
            assert left < 0
    after = mixed(order, before, new)
    if not look(services, sort, after).problems:
        record(services, sort, after)
        assert _without_names(recorded(services, sort)) == _without_names(filled(after))


def _without_names(lines: Counter[Line]) -> Counter[tuple[object, ...]]:
    found: Counter[tuple[object, ...]] = Counter()
    for (category, count, gross, _), number in lines.items():
        found[category, count, gross] += number
    return found
