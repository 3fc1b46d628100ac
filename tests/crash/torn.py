"""A power cut in the middle of SQLite's last write: its log ends anywhere, or in rubbish.

What was acknowledged was synchronised before, so only what came after it can be torn. A writer
notes how long the log was at each acknowledgement, then leaves one more large entry in it that
nobody was answered for; the log is cut off at random places in that entry.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
from pathlib import Path

from service.keeping import upkeep
from service.model_cache import LoadedModel
from service.settings import Settings
from service.sorting import items
from service.wiring import build_services
from tests.crash.audit import Finding
from tests.crash.fleet import ROOT
from tests.crash.scenarios import Line
from tests.crash.stations import Account, EnteredItem
from tests.fakes import FakePredictor, model_record
from tests.store.entries import CARDBOARD, counts, enter, start

_WRITER = """
import os, signal, sys
from pathlib import Path
from service.settings import Settings
from service.wiring import LoadedModel, build_services
from tests.fakes import FakePredictor, model_record
from tests.store.entries import enter
folder = Path(sys.argv[1])
services = build_services(
    Settings(data_dir=folder), model=LoadedModel(FakePredictor(), model_record(), "")
)
sort = services.log.get_sort(sys.argv[2])
wal = folder / "tallytare.sqlite3-wal"
for _ in range(int(sys.argv[3])):
    item = enter(services, sort)
    print(item.item.id, wal.stat().st_size, flush=True)
big = [enter(services, sort, "food", note="n" * 1000) for _ in range(6)]
os.kill(os.getpid(), signal.SIGKILL)
"""
_ACKNOWLEDGED = 12


def torn_log(folder: Path, *, cuts: int, seed: int = 7) -> Line:
    """Cut the write-ahead log after what was acknowledged, in `cuts` ways, and open each."""
    chance = random.Random(seed)
    settings = Settings(data_dir=folder / "store")
    model = LoadedModel(FakePredictor(), model_record(), "")
    services = build_services(settings, model=model)
    sort = start(services)
    services.close()
    writer = subprocess.run(
        [sys.executable, "-c", _WRITER, str(settings.data_dir), sort.id, str(_ACKNOWLEDGED)],
        cwd=ROOT,
        capture_output=True,
        check=False,
        text=True,
    )
    assert writer.returncode == -signal.SIGKILL, writer.stderr
    answered = [line.split() for line in writer.stdout.splitlines()]
    account = Account(sorts=[sort.id], sent=len(answered))
    for item_id, _ in answered:
        account.items[item_id] = EnteredItem(sort.id, None, CARDBOARD, 1)
    synced = int(answered[-1][1])
    whole = (settings.data_dir / "tallytare.sqlite3-wal").read_bytes()
    assert synced < len(whole)
    lost: list[str] = []
    problems: list[str] = []
    for number in range(cuts):
        copy = settings.model_copy(update={"data_dir": folder / f"cut{number}"})
        copy.data_dir.mkdir()
        shutil.copy(settings.data_dir / "tallytare.sqlite3", copy.data_dir)
        log = whole[: chance.randint(synced, len(whole))]
        if number % 3 == 1:  # the disk had made the file longer, without its content
            log += b"\0" * (len(whole) - len(log))
        elif number % 3 == 2:  # or with what stood there before
            log += chance.randbytes(len(whole) - len(log))
        (copy.data_dir / "tallytare.sqlite3-wal").write_bytes(log)
        opened = build_services(copy, model=model)
        stored = {each.first.item.id for each in items.list_items(opened, sort.id)}
        lost += [item_id for item_id in account.items if item_id not in stored]
        problems += upkeep.check_store(opened).problems
        enter(opened, sort, "garden")
        if counts(opened, sort)["garden"] != 1:
            problems.append(f"cut {number}: nothing can be entered afterwards")
        opened.close()
        shutil.rmtree(copy.data_dir)
    finding = Finding(
        acknowledged=cuts * len(account.items),
        stored=cuts * len(account.items) - len(lost),
        lost=tuple(lost),
        doubled=(),
        wrong=(),
        orphans=0,
        problems=tuple(problems),
    )
    return Line("last write torn (power cut), SQLite", f"{cuts} cuts", account, finding)
