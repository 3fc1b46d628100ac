"""Try recipes against pictures from a source that none of them trained on.

`python -m training.trials run FILE --data DIR --out DIR` trains each trial of a TOML file, once
for each source that it holds out, and keeps its raw answers, its network and, line by line in
`results.jsonl`, its scores. `python -m training.trials table [RESULTS...]` prints the comparison;
without a file, of all trials that are kept in `training/data/trials.jsonl`.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from training.trials.table import results_table
from training.trials.trial import run

KEPT_RESULTS = Path(__file__).parents[1] / "data" / "trials.jsonl"


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    verbs = parser.add_subparsers(dest="verb", required=True)
    runs = verbs.add_parser("run", help="train and score every trial of a file")
    runs.add_argument("file", type=Path)
    runs.add_argument("--data", type=Path, nargs="+", required=True, help="sets, read as one")
    runs.add_argument("--out", type=Path, required=True)
    runs.add_argument("--jobs", type=int, default=1, help="trials at a time")
    runs.add_argument("--workers", type=int, default=2, help="processes that decode")
    prints = verbs.add_parser("table", help="print what was tried")
    prints.add_argument("results", type=Path, nargs="*", default=[KEPT_RESULTS])
    given = parser.parse_args(arguments)
    if given.verb == "run":
        run(given.file, given.data, given.out, jobs=given.jobs, workers=given.workers)
    else:
        sys.stdout.write(results_table(given.results))


if __name__ == "__main__":
    main()
