"""The process is killed in the middle of its work: all that it acknowledged is there."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from service.keeping import upkeep
from service.model_cache import LoadedModel
from service.settings import Settings
from service.sorting import captures, items
from service.wiring import build_services
from tests.fakes import FakePredictor, model_record
from tests.store.entries import start

ROUNDS = 4
WORKER = """
import sys
from pathlib import Path
from service.settings import Settings
from service.wiring import LoadedModel, build_services
from tests.fakes import FakePredictor, model_record
from tests.store.entries import enter, take
services = build_services(
    Settings(data_dir=Path(sys.argv[1]), database_url=sys.argv[3]),
    model=LoadedModel(FakePredictor(), model_record(), ""),
)
sort = services.log.get_sort(sys.argv[2])
shade = 0
while True:
    photo = take(services, sort, shade=shade % 250)
    item = enter(services, sort, capture_id=photo.id).item
    shade += 1
    sys.stdout.write(f"{photo.id} {item.id}\\n")
    sys.stdout.flush()
"""


@pytest.mark.slow
def test_what_was_acknowledged_survives_a_kill(settings: Settings) -> None:
    """Photo and item of each line that came back; no photo missing, nothing counted twice."""
    model = LoadedModel(FakePredictor(), model_record(), "")
    services = build_services(settings, model=model)
    sort = start(services)
    services.close()
    chance = random.Random(2026)
    acknowledged: list[list[str]] = []
    for _ in range(ROUNDS):
        worker = subprocess.Popen(
            [
                *(sys.executable, "-c", WORKER),
                *(str(settings.data_dir), sort.id, settings.database_url),
            ],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert worker.stdout is not None
        acknowledged.append(worker.stdout.readline().split())
        time.sleep(chance.uniform(0.05, 0.4))
        worker.kill()
        acknowledged += [line.split() for line in worker.stdout.read().splitlines()]
        worker.wait()
        worker.stdout.close()
    services = build_services(settings, model=model)
    whole = [line for line in acknowledged if len(line) == 2 and len(line[1]) == 36]
    assert len(whole) >= ROUNDS
    stored = {each.first.item.id: each.first.item for each in items.list_items(services, sort.id)}
    for photo_id, item_id in whole:
        assert stored[item_id].capture_id == photo_id
        assert captures.read_photo(services, photo_id)
    assert len({item.capture_id for item in stored.values()}) == len(stored)
    assert len(stored) <= len(acknowledged) + ROUNDS
    assert upkeep.check_store(services).ok
    services.close()
