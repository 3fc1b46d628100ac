"""Four stations, each a process of its own, on one store: SQLite and PostgreSQL."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from classifier.log.records import SortInfo
from service.keeping import upkeep
from service.piles import usecases as piles
from service.services import Services
from service.settings import Settings
from service.sorting import items
from tests.fakes import new_id
from tests.store.entries import CARDBOARD, counts, enter, take

STATIONS = 4
# Reads what to do after it has loaded everything, so that all four begin together.
_STATION = """
import json, sys
from pathlib import Path
from classifier.errors import ConflictError
from service.settings import Settings
from service.piles import usecases as piles
from service.sorting import items
from service.sorts import usecases as sorts
from service.wiring import LoadedModel, build_services
from tests.fakes import FakePredictor, model_record, new_id
from tests.store.entries import enter, weigh
services = build_services(
    Settings(data_dir=Path(sys.argv[1]), database_url=sys.argv[2], busy_timeout_s=30),
    model=LoadedModel(FakePredictor(), model_record(), ""),
)
said = {"entered": 0, "conflicts": 0, "closed": 0, "weighed": 0}
print("ready", flush=True)
work = json.loads(sys.stdin.readline())
sort = services.log.get_sort(work["sort"])
for photo, shared in zip(work["photos"], work["shared"]):
    for given in ({"capture_id": photo}, {"item_id": shared}, {"category": "food", "count": 2}):
        try:
            enter(services, sort, **given)
            said["entered"] += 1
        except ConflictError as error:
            said["closed" if error.code == "closed_sort" else "conflicts"] += 1
    try:
        weigh(services, sort, "food")
        said["weighed"] += 1
    except ConflictError:
        said["closed"] += 1
for item in work["contested"]:
    try:
        items.undo(services, item_id=item, change_id=new_id())
        said["entered"] += 1
    except ConflictError as error:
        said["closed" if error.code == "closed_sort" else "conflicts"] += 1
    if work["closer"]:
        try:
            sorts.close_sort(services, sort.id, event_id=new_id())
        except ConflictError:
            pass
services.close()
print(json.dumps(said), flush=True)
"""


def _run(settings: Settings, work: list[dict[str, object]]) -> list[dict[str, int]]:
    """Run a station for each piece of work, all at once; return what each heard."""
    stations = [
        subprocess.Popen(
            [sys.executable, "-c", _STATION, str(settings.data_dir), settings.database_url],
            cwd=Path(__file__).parents[2],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in work
    ]
    for station in stations:
        assert station.stdout is not None
        assert station.stdout.readline() == "ready\n"
    for station, part in zip(stations, work, strict=True):
        assert station.stdin is not None
        station.stdin.write(json.dumps(part) + "\n")
        station.stdin.flush()
    said = [json.loads(station.communicate(timeout=120)[0]) for station in stations]
    assert [station.returncode for station in stations] == [0] * len(stations)
    return said


def _sum(said: list[dict[str, int]], what: str) -> int:
    return sum(each[what] for each in said)


def test_four_processes_confirm_at_once(
    settings: Settings, services: Services, sort: SortInfo
) -> None:
    """The same ten photos, the same ten ids, twenty of their own, and the same ten undone."""
    photos = [take(services, sort, shade=shade).id for shade in range(10)]
    contested = [enter(services, sort, "garden").item.id for _ in range(10)]
    shared = [new_id() for _ in range(10)]
    part = {
        "sort": sort.id,
        "photos": photos,
        "shared": shared,
        "contested": contested,
        "closer": False,
    }
    said = _run(settings, [part] * STATIONS)
    # One of four wins each photo and each undoing; a resend of an id is no conflict.
    assert _sum(said, "conflicts") == 60
    assert _sum(said, "closed") == 0
    assert counts(services, sort) == {CARDBOARD: 20, "food": 2 * 10 * STATIONS}
    histories = items.list_items(services, sort.id)
    assert len(histories) == 10 + 10 + 10 + 10 * STATIONS
    assert len({each.first.item.batch_id for each in histories}) == 3, "one batch a category"
    weighed = {pile.category: pile for pile in piles.piles(services, sort.id).piles}["food"]
    assert [len(batch.weighings) for batch in weighed.batches] == [10 * STATIONS]
    assert upkeep.check_store(services).ok


def test_nothing_gets_into_a_sort_that_is_closing(
    settings: Settings, services: Services, sort: SortInfo
) -> None:
    """Four stations enter while one closes: what was answered as in is in, and no more."""
    contested = [enter(services, sort, "garden").item.id for _ in range(8)]

    def part(n: int) -> dict[str, object]:
        mine = contested[n : n + 1] if n else contested[STATIONS + 1 :]
        ids = [new_id() for _ in range(12 if n else 1)]
        photos = [None] * len(ids)
        return {
            "sort": sort.id,
            "photos": photos,
            "shared": ids,
            "contested": mine,
            "closer": n == 0,
        }

    said = _run(settings, [part(n) for n in range(STATIONS + 1)])
    rows = services.log.sort_rows(sort.id)
    assert rows.sort.closed
    assert len(rows.items) - 8 + len(rows.changes) == _sum(said, "entered")
    assert len(rows.weighings) == _sum(said, "weighed")
    assert _sum(said, "conflicts") == 0
