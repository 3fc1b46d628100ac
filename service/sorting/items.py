"""Confirm, correct and undo items; the running tally."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from classifier.log.ledger import fold
from classifier.log.quantities import parse_count
from classifier.log.records import Item, ItemChange, SortInfo
from classifier.rules.programme import Programme
from classifier.rules.suggestion_parts import RouteAnswer
from service.entries import NOTE_LENGTH, check_id, check_sorter, check_text
from service.learning.usecases import notice
from service.services import Services
from service.sorting.suggesting import recorded_route, route_name, suggestion_of
from service.store.rows import CaptureState, ItemState


@dataclass(frozen=True, slots=True)
class CurrentItem:
    """An item after its corrections."""

    item: Item
    category_name: str
    route_name: str
    corrected: bool
    voided: bool


@dataclass(frozen=True, slots=True)
class ItemHistory:
    """An item as first recorded, each change in order, and as it stands."""

    first: CurrentItem
    changes: tuple[ItemChange, ...]
    current: CurrentItem


@dataclass(frozen=True, slots=True)
class TallyLine:
    """One category's count and the names of the routes it goes by."""

    category: str
    name: str
    count: int
    routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """Running tally: `items` entries which hold `objects` counted pieces."""

    lines: tuple[TallyLine, ...]
    items: int
    objects: int


@dataclass(frozen=True, slots=True)
class ItemView:
    """The answer to a confirmation, correction or undo."""

    current: CurrentItem
    route: RouteAnswer
    tally: Tally

    @property
    def item(self) -> Item:
        """The item as it stands."""
        return self.current.item


def confirm(
    services: Services,
    *,
    item_id: str,
    sort_id: str,
    category: str,
    capture_id: str | None = None,
    batch_id: str | None = None,
    count: int | str = 1,
    facts: Mapping[str, str] | None = None,
    note: str = "",
    sorter: str = "",
) -> ItemView:
    """Record what an item is: of a photo, or by hand and "same again" without one.

    Facts told about the photo count too; those given here win. A resend returns the first answer.

    Raises ClosedSortError; ConflictError when the photo is confirmed already (naming what was
    recorded) or the id bears another item; UnknownIdError, InvalidEntryError,
    InvalidQuantityError.
    """
    number = parse_count(count)
    told = dict(facts or {})
    photo = None if capture_id is None else _photo(services, capture_id)
    answers = told if photo is None else {**photo.answers, **told}
    entered = Item(
        id=check_id(item_id, "item_id"),
        sort_id=sort_id.lower(),
        capture_id=None if photo is None else photo.capture.id,
        batch_id=None if batch_id is None else check_id(batch_id, "batch_id"),
        category=category,
        count=number,
        facts=services.categories.known_answers(answers),
        route=None,
        sorter=check_sorter(sorter),
        note=check_text(note, "note", longest=NOTE_LENGTH),
        at=services.clock(),
        suggested=None,
        model_version=None if photo is None else photo.capture.model_label,
        programme_version="",
    )
    sent = {
        "sort_id": entered.sort_id,
        "capture_id": entered.capture_id,
        "batch_id": entered.batch_id,
        "category": category,
        "count": number,
        "facts": told,
        "note": entered.note,
        "sorter": entered.sorter,
    }
    return _record(services, entered, photo, sent)


def _record(
    services: Services, entered: Item, photo: CaptureState | None, sent: Mapping[str, object]
) -> ItemView:
    """Record an item with the route of the programme that its sort has at that moment."""
    while True:
        sort = services.log.get_sort(entered.sort_id)
        programme = services.programme(sort.programme_id)
        item = replace(
            entered,
            route=recorded_route(services, entered.category, programme, entered.facts).route,
            suggested=None if photo is None else _shown_first(services, photo, programme),
            programme_version=programme.version,
        )
        recorded = services.log.add_item(
            item,
            programme_id=programme.id,
            categories_version=services.categories.version,
            sent=sent,
        )
        if recorded is not None:
            return _answer(services, sort, programme, recorded)


def correct(
    services: Services,
    *,
    item_id: str,
    change_id: str,
    category: str,
    count: int | str,
    facts: Mapping[str, str] | None = None,
    reason: str = "",
    sorter: str = "",
) -> ItemView:
    """Say what an item is instead; its first label stays in its history.

    Raises ClosedSortError; ConflictError when it was undone or the id bears another change;
    UnknownIdError, InvalidEntryError, InvalidQuantityError.
    """
    sort, programme = _sort_of(services, item_id)
    told = dict(facts or {})
    known = services.categories.known_answers(told)
    change = ItemChange(
        id=check_id(change_id, "change_id"),
        item_id=item_id.lower(),
        kind="correct",
        category=category,
        count=parse_count(count),
        route=recorded_route(services, category, programme, known).route,
        facts=known,
        batch_id=None,
        reason=check_text(reason, "reason", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    sent = {
        "item_id": change.item_id,
        "kind": "correct",
        "category": category,
        "count": change.count,
        "facts": told,
        "reason": change.reason,
        "sorter": change.sorter,
    }
    recorded = services.log.add_change(change, programme_version=programme.version, sent=sent)
    return _answer(services, sort, programme, recorded)


def undo(
    services: Services, *, item_id: str, change_id: str, reason: str = "", sorter: str = ""
) -> ItemView:
    """Take an item out of the totals; it stays in the log, and its photo can be confirmed anew.

    Raises ClosedSortError; ConflictError when it was undone before; UnknownIdError.
    """
    sort, programme = _sort_of(services, item_id)
    change = ItemChange(
        id=check_id(change_id, "change_id"),
        item_id=item_id.lower(),
        kind="void",
        category=None,
        count=None,
        route=None,
        facts=None,
        batch_id=None,
        reason=check_text(reason, "reason", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    sent = {
        "item_id": change.item_id,
        "kind": "void",
        "reason": change.reason,
        "sorter": change.sorter,
    }
    recorded = services.log.add_change(change, programme_version=programme.version, sent=sent)
    return _answer(services, sort, programme, recorded)


def tally(services: Services, sort_id: str) -> Tally:
    """Return what was counted so far, by category in the order of the list.

    Raises UnknownIdError when there is no such sort.
    """
    counts = services.log.counted(sort_id.lower())
    standing = [
        (counts.first_seq[item.id], item.category, item.route, 1, item.count)
        for item in fold(counts.sort, counts.changed, counts.changes).items
    ]
    standing += [
        (line.first_seq, line.category, line.route, line.items, line.pieces)
        for line in counts.lines
    ]
    pieces: dict[str, int] = {}
    routes: dict[str, dict[str, None]] = {}
    for _, category, route, _, number in sorted(standing, key=lambda each: each[0]):
        pieces[category] = pieces.get(category, 0) + number
        routes.setdefault(category, {})[route_name(route)] = None
    return Tally(
        lines=tuple(
            TallyLine(each.id, each.name, pieces[each.id], tuple(routes[each.id]))
            for each in services.categories.categories
            if each.id in pieces
        ),
        items=sum(each[3] for each in standing),
        objects=sum(each[4] for each in standing),
    )


def list_items(services: Services, sort_id: str) -> tuple[ItemHistory, ...]:
    """Return all items of a sort with their history, the newest first; undone ones too.

    Raises UnknownIdError when there is no such sort.
    """
    rows = services.log.sort_rows(sort_id.lower())
    changes: dict[str, list[ItemChange]] = {}
    for change in rows.changes:
        changes.setdefault(change.item_id, []).append(change)
    states = [ItemState(item, tuple(changes.get(item.id, ()))) for item in rows.items]
    return tuple(history_of(services, rows.sort, state) for state in reversed(states))


def history(services: Services, item_id: str) -> ItemHistory:
    """Return an item as first recorded, its changes and how it stands.

    Raises UnknownIdError when there is none.
    """
    state = services.log.get_item(item_id.lower())
    return history_of(services, services.log.get_sort(state.item.sort_id), state)


def history_of(services: Services, sort: SortInfo, state: ItemState) -> ItemHistory:
    """Return the history of an item whose rows are at hand."""
    corrections = [change for change in state.changes if change.kind == "correct"]
    # Without the void: an undone item still shows the label that it last had.
    (standing,) = fold(sort, (state.item,), corrections).items
    voided = len(corrections) < len(state.changes)
    corrected = bool(corrections)
    return ItemHistory(
        first=_current(services, state.item, corrected=False, voided=False),
        changes=state.changes,
        current=_current(services, standing, corrected=corrected, voided=voided),
    )


def _photo(services: Services, capture_id: str) -> CaptureState:
    return services.log.get_capture(check_id(capture_id, "capture_id"))


def _shown_first(services: Services, photo: CaptureState, programme: Programme) -> str | None:
    """Return the category that stood on top; for a hazard that is not the likeliest one."""
    shown = suggestion_of(services, photo, programme).alternatives
    return shown[0].category if shown else None


def _current(services: Services, item: Item, *, corrected: bool, voided: bool) -> CurrentItem:
    return CurrentItem(
        item=item,
        category_name=services.categories.get(item.category).name,
        route_name=route_name(item.route),
        corrected=corrected,
        voided=voided,
    )


def _sort_of(services: Services, item_id: str) -> tuple[SortInfo, Programme]:
    state = services.log.get_item(item_id.lower())
    sort = services.log.get_sort(state.item.sort_id)
    return sort, services.programme(sort.programme_id)


def _answer(services: Services, sort: SortInfo, programme: Programme, state: ItemState) -> ItemView:
    """Have learning take notice where there is a photo, and return what the page shows next."""
    if state.item.capture_id is not None:
        notice(services, sort.id)
    current = history_of(services, sort, state).current
    item = current.item
    route = recorded_route(services, item.category, programme, item.facts)
    return ItemView(current=current, route=route, tally=tally(services, sort.id))
