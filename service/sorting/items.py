"""Confirm, correct and undo items; the running tally."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from functools import reduce

from classifier.log.ledger import changed
from classifier.log.quantities import parse_count
from classifier.log.records import Item, ItemChange
from classifier.report.categories import Names
from classifier.report.routes import route_name
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import UNDECIDED
from classifier.rules.suggestion_parts import RouteAnswer
from service.entries import NOTE_LENGTH, check_id, check_sorter, check_text
from service.learning.usecases import notice
from service.services import Services
from service.sorting.suggesting import recorded_route, suggestion_of
from service.store.rows import CaptureState, CountLine, ItemState, SortCounts, SortPlace, said

RECENT, OPEN_PHOTOS = 12, 20
"""Newest items, and newest photos without a confirmation, that the sorting page shows."""


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
class SortingState:
    """What the sorting page shows: the tally, the newest items, photos not confirmed yet."""

    tally: Tally
    recent: tuple[CurrentItem, ...]
    open: tuple[CaptureState, ...]


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

    Facts given about the photo count too; those given here win. A resend returns the first answer.

    Raises ClosedSortError; ConflictError when the photo is confirmed already (naming what was
    recorded) or the id already belongs to another item; UnknownIdError, InvalidEntryError,
    InvalidQuantityError.
    """
    place = services.log.item_place(
        sort_id.lower(), None if capture_id is None else check_id(capture_id, "capture_id")
    )
    given, photo = dict(facts or {}), place.photo
    entered = Item(
        id=check_id(item_id, "item_id"),
        sort_id=place.sort.id,
        capture_id=None if photo is None else photo.capture.id,
        batch_id=None if batch_id is None else check_id(batch_id, "batch_id"),
        category=category,
        count=parse_count(count),
        facts=services.categories.known_answers(
            given if photo is None else {**photo.answers, **given}
        ),
        sorter=check_sorter(sorter),
        note=check_text(note, "note", longest=NOTE_LENGTH),
        at=services.clock(),
        model_version=None if photo is None else photo.capture.model_label,
    )
    found_out = ("route", "suggested", "model_version", "programme_version")
    return _record(services, place, entered, {**said(entered, *found_out), "facts": given})


def _record(
    services: Services, place: SortPlace, entered: Item, sent: Mapping[str, object]
) -> ItemView:
    """Record an item with the route of the programme that its sort has at that moment."""
    while True:
        programme = services.programme(place.sort.programme_id)
        recorded = services.log.add_item(
            replace(
                entered,
                route=recorded_route(services, entered.category, programme, entered.facts).route,
                suggested=None
                if place.photo is None
                else _shown_first(services, place.photo, programme),
                programme_version=programme.version,
            ),
            programme_id=programme.id,
            categories_version=services.categories.version,
            sent=sent,
        )
        if recorded is not None:
            return _answer(services, place, programme, recorded)
        place = replace(place, sort=services.log.get_sort(place.sort.id))


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

    Raises ClosedSortError; ConflictError when it was undone or the id already belongs to another
    change; UnknownIdError, InvalidEntryError, InvalidQuantityError.
    """
    given = dict(facts or {})
    place = services.log.change_place(item_id.lower())
    programme = services.programme(place.sort.programme_id)
    known = services.categories.known_answers(given)
    change = ItemChange(
        id=check_id(change_id, "change_id"),
        item_id=item_id.lower(),
        kind="correct",
        category=category,
        count=parse_count(count),
        route=recorded_route(services, category, programme, known).route,
        facts=known,
        reason=check_text(reason, "reason", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    return _change(services, place, change, {**said(change, "route", "batch_id"), "facts": given})


def undo(
    services: Services, *, item_id: str, change_id: str, reason: str = "", sorter: str = ""
) -> ItemView:
    """Take an item out of the totals; it stays in the log, and its photo can be confirmed again.

    Raises ClosedSortError; ConflictError when it was undone before; UnknownIdError.
    """
    place = services.log.change_place(item_id.lower())
    change = ItemChange(
        id=check_id(change_id, "change_id"),
        item_id=item_id.lower(),
        kind="void",
        reason=check_text(reason, "reason", longest=NOTE_LENGTH),
        sorter=check_sorter(sorter),
        at=services.clock(),
    )
    nothing = ("category", "count", "route", "facts", "batch_id")
    return _change(services, place, change, said(change, *nothing))


def _change(
    services: Services, place: SortPlace, change: ItemChange, sent: Mapping[str, object]
) -> ItemView:
    programme = services.programme(place.sort.programme_id)
    recorded = services.log.add_change(change, programme_version=programme.version, sent=sent)
    return _answer(services, place, programme, recorded)


def _answer(
    services: Services, place: SortPlace, programme: Programme, state: ItemState
) -> ItemView:
    """Have learning take notice where there is a photo, and return what the page shows next."""
    if state.item.capture_id is not None:
        notice(services, place.scope)
    current = history_of(services, state).current
    route = _route_now(services, current, programme)
    counts = services.log.counted(place.sort.id)
    return ItemView(current=current, route=route, tally=_tally(services, counts))


def _route_now(services: Services, current: CurrentItem, programme: Programme) -> RouteAnswer:
    """Return the route of an item; where its category has left the list, the one recorded."""
    item = current.item
    if not services.categories.has(item.category):
        return RouteAnswer(item.route or UNDECIDED, current.route_name, "", "", 1.0)
    return recorded_route(services, item.category, programme, item.facts)


def tally(services: Services, sort_id: str) -> Tally:
    """Return what was counted so far, by category in the order of the list.

    Raises UnknownIdError when there is no such sort.
    """
    return _tally(services, services.log.counted(services.log.get_sort(sort_id).id))


def sorting_state(services: Services, sort_id: str) -> SortingState:
    """Return what the sorting page shows of a sort that is there; each item is worked out once."""
    rows = services.log.sorting_rows(sort_id, recent=RECENT, open_photos=OPEN_PHOTOS)
    states = {state.item.id: state for state in (*rows.counts.changed.values(), *rows.recent)}
    current = {ident: history_of(services, state).current for ident, state in states.items()}
    return SortingState(
        tally=_tally(services, rows.counts, current),
        recent=tuple(current[state.item.id] for state in rows.recent),
        open=rows.open,
    )


def list_items(services: Services, sort_id: str) -> tuple[ItemHistory, ...]:
    """Return all items of a sort with their history, the newest first; undone ones too.

    Raises UnknownIdError when there is no such sort.
    """
    rows = services.log.sort_rows(sort_id.lower())
    changes: dict[str, list[ItemChange]] = defaultdict(list)
    for change in rows.changes:
        changes[change.item_id].append(change)
    states = [ItemState(item, tuple(changes[item.id])) for item in rows.items]
    return tuple(history_of(services, state) for state in reversed(states))


def history_of(services: Services, state: ItemState) -> ItemHistory:
    """Return an item as first recorded, its changes and how it stands.

    An undone item still shows the label that it last had.
    """
    kinds = {change.kind for change in state.changes}
    return ItemHistory(
        first=_current(services, state.item, frozenset()),
        changes=state.changes,
        current=_current(services, reduce(changed, state.changes, state.item), kinds),
    )


def _tally(
    services: Services, counts: SortCounts, known: Mapping[str, CurrentItem] | None = None
) -> Tally:
    """Add up counts; `known` holds the changed items as they stand, where that is known."""
    lines = list(counts.lines)
    for seq, state in counts.changed.items():
        now = (known or {}).get(state.item.id) or history_of(services, state).current
        if not now.voided:
            item = now.item
            lines.append(CountLine(item.category, item.route, 1, item.count, seq))
    pieces: Counter[str] = Counter()
    routes: dict[str, dict[str, None]] = defaultdict(dict)
    for line in sorted(lines, key=lambda line: line.first_seq):
        pieces[line.category] += line.pieces
        routes[line.category][route_name(line.route or UNDECIDED)] = None
    names = Names(services.categories)
    return Tally(
        lines=tuple(
            TallyLine(each, names.category(each), pieces[each], tuple(routes[each]))
            for each in sorted(pieces, key=names.place)
        ),
        items=sum(line.items for line in lines),
        objects=sum(pieces.values()),
    )


def _shown_first(services: Services, photo: CaptureState, programme: Programme) -> str | None:
    """Return the category that stood on top; for a hazard that is not the likeliest one."""
    shown = suggestion_of(services, photo, programme).alternatives
    return shown[0].category if shown else None


def _current(services: Services, item: Item, kinds: AbstractSet[str]) -> CurrentItem:
    return CurrentItem(
        item=item,
        category_name=Names(services.categories).category(item.category),
        route_name=route_name(item.route or UNDECIDED),
        corrected="correct" in kinds,
        voided="void" in kinds,
    )
