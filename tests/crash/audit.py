"""What was acknowledged against what is stored, once all is quiet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from service.keeping import upkeep
from service.model_cache import LoadedModel
from service.photos.names import is_whole
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.wiring import build_services
from tests.crash.stations import Account
from tests.fakes import FakePredictor, model_record

_TABLES = ("sorts", "captures", "items", "item_changes", "weighings", "weighing_voids")


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the table."""

    acknowledged: int
    stored: int
    lost: tuple[str, ...]
    doubled: tuple[str, ...]
    wrong: tuple[str, ...]
    orphans: int
    problems: tuple[str, ...]

    @property
    def well(self) -> bool:
        """Whether what is stored is what was acknowledged, once."""
        return not (self.lost or self.doubled or self.wrong or self.problems)


def audit(settings: Settings, account: Account) -> Finding:
    """Open the store as a new process would and compare."""
    services = build_services(settings, model=LoadedModel(FakePredictor(), model_record(), ""))
    try:
        return _compare(services, account)
    finally:
        services.close()


def _compare(services: Services, account: Account) -> Finding:
    ids = _ids(services)
    known_rows = {
        "sorts": set(account.sorts),
        "captures": set(account.photos),
        "items": set(account.items),
        "item_changes": account.changes,
        "weighings": set(account.weighings),
        "weighing_voids": account.voids,
    }
    lost, doubled = [], []
    for table, known in known_rows.items():
        found = Counter(ids[table])
        lost += [f"{table} {one}" for one in known - set(found)]
        doubled += [f"{table} {one}" for one, times in found.items() if times > 1]
        doubled += [f"{table} {one}, never acknowledged" for one in set(found) - known]
    lost += [f"photo of {one}" for one in account.photos if not _photo_is_whole(services, one)]
    check = upkeep.check_store(services)
    problems = (*account.troubles, *check.problems, *check.missing_photos, *check.damaged_photos)
    return Finding(
        acknowledged=account.acknowledged,
        stored=sum(len(ids[table]) for table in _TABLES),
        lost=tuple(lost),
        doubled=tuple(doubled),
        wrong=tuple(_wrong_totals(services, account)),
        orphans=len(check.orphan_photos) + len(check.unfinished_photos),
        problems=problems,
    )


def _ids(services: Services) -> dict[str, list[str]]:
    found = {}
    for table in services.log.tables():
        rows = list(table.rows)
        if table.name in _TABLES:
            column = table.columns.index("id")
            found[table.name] = [row[column] for row in rows]
    return found


def _photo_is_whole(services: Services, capture_id: str) -> bool:
    name = captures.get_capture(services, capture_id).photo_name
    return name is not None and is_whole(name, services.photos.read(name))


def _wrong_totals(services: Services, account: Account) -> list[str]:
    """Compare each item and each sort's totals with the stations' own account."""
    wrong = []
    for sort_id in account.sorts:
        expected: Counter[str] = Counter()
        for item in account.items.values():
            if item.sort_id == sort_id and not item.undone:
                expected[item.category] += item.count
        counted = {line.category: line.count for line in items.tally(services, sort_id).lines}
        if counted != dict(expected):
            wrong.append(f"sort {sort_id}: counted {counted}, entered {dict(expected)}")
        standing: Counter[str | None] = Counter()
        for history in items.list_items(services, sort_id):
            stored, known = history.current.item, account.items.get(history.first.item.id)
            if known is None:
                continue
            if (stored.category, stored.count, history.current.voided) != (
                known.category,
                known.count,
                known.undone,
            ):
                wrong.append(f"item {stored.id}: stored as {stored.category} x {stored.count}")
            if not history.current.voided:
                standing[known.capture_id] += 1
        wrong += [f"photo {one} counts {n} times" for one, n in standing.items() if one and n > 1]
        rows = services.log.sort_rows(sort_id)
        gone = {void.weighing_id for void in rows.voids}
        wrong += [
            f"weighing {each.id} counts wrongly"
            for each in rows.weighings
            if account.weighings.get(each.id, True) == (each.id in gone)
        ]
    return wrong
