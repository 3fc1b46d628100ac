"""How long a large study takes, and how much memory: `python -m tests.study_speed`.

2,000 sorts x 40 categories x 1,000,000 items in a store of its own (written first, a minute or
two), read and reported in a process of its own, on whatever core that gets. Three runs; processor
time is given beside the clock, for a busy machine stretches the clock.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from classifier.report.national import load_national
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.study.plan import plan_from
from classifier.study.report import build_study_report
from classifier.study.table import study_table
from service.store.log import Log
from service.store.schema import open_database
from tests.study_store import STRATA, STUDY, write_study

PLAN = {
    "parts": ["area", "season"],
    "weights": dict.fromkeys(STRATA, 1),
    "compare": "season",
    "population": {"total": 1000, "standard_error": 10},
    "what_if": ["plastic_film"],
    "national": "generated",
}


def measure(path: Path, *, draws: int, divisions: int) -> dict[str, Any]:
    """Report the study of a store and return seconds, processor seconds and megabytes."""
    categories = load_categories()
    programmes = {each.id: each for each in load_shipped_programmes(categories)}
    national = load_national()
    plan = plan_from({**PLAN, "draws": draws, "divisions": divisions}, categories)
    database = open_database(f"sqlite:///{path}")
    log = Log(database)
    said = 0

    def tell(_what: str, _done: int, _total: int) -> None:
        nonlocal said
        said += 1

    clock, processor = time.perf_counter(), time.process_time()
    ids = [sort.id for sort in log.sorts_of_study(STUDY)]
    table = study_table(log.sort_totals(ids), categories, programmes)
    report = build_study_report(
        "Large", table, plan, categories, programmes, national=national, progress=tell
    )
    seconds, worked = time.perf_counter() - clock, time.process_time() - processor
    database.close()
    return {
        "sorts": report.sorts,
        "figures": len(report.figures),
        "progress": said,
        "seconds": round(seconds, 2),
        "processor_s": round(worked, 2),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def main() -> int:
    """Write the store unless it is given, then measure in processes of their own."""
    parser = argparse.ArgumentParser(prog="tests.study_speed")
    parser.add_argument("--store", type=Path, help="keep the store here, or use the one there")
    parser.add_argument("--sorts", type=int, default=2000)
    parser.add_argument("--items", type=int, default=1_000_000)
    parser.add_argument("--measure", nargs=2, type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        draws, divisions = options.measure
        found = measure(options.store, draws=draws, divisions=divisions)
        sys.stdout.write(json.dumps(found) + "\n")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        store = options.store or Path(folder) / "study.sqlite3"
        if not store.exists():
            write_study(
                store, n_sorts=options.sorts, n_categories=40, n_items=options.items
            ).close()
        for title, draws, divisions in (
            ("report, no resampling", 0, 0),
            ("with 2,000 bootstrap draws", 2000, 0),
            ("with 2,000 draws and 9,999 divisions", 2000, 9999),
        ):
            for _ in range(3):
                command = [sys.executable, "-m", "tests.study_speed", "--store", str(store),
                           "--measure", str(draws), str(divisions)]  # fmt: skip
                done = subprocess.run(command, check=True, capture_output=True, text=True)
                sys.stdout.write(f"{title}: {done.stdout}")
                sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
