"""Try recipes against pictures from a source that none of them trained on.

`python -m training.trials run FILE --data DIR --out DIR` trains each trial of a TOML file, once
for each source that it holds out, and keeps its raw answers, its network and, line by line in
`results.jsonl`, its scores. `python -m training.trials table [RESULTS...]` prints the comparison;
without a file, of all trials that are kept in `training/data/trials.jsonl`.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch

from classifier.errors import DataFileError
from classifier.inference.preprocess import Preprocessing
from training.learning.learn import Learner
from training.learning.ranks import Ranks
from training.outputs import answer_views
from training.pictures.dataset import Dataset, load_dataset
from training.pictures.forms import FormTable, load_forms
from training.pictures.images import load_views
from training.pictures.manifest import read_sets
from training.recipe import Recipe, make_recipe
from training.trials.table import results_table, trial_scores

VIEWS = (0.0, 0.7)
KEPT_RESULTS = Path(__file__).parents[1] / "data" / "trials.jsonl"


def run_trial(
    name: str,
    recipe: Recipe,
    held_out: str,
    data: Dataset,
    table: FormTable,
    views: torch.Tensor,
    out: Path,
) -> None:
    """Train without `held_out` and without the test split; keep answers on both.

    `held_out` names a source, several joined by "+", or none.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    fits = [
        e.source not in held_out.split("+")
        and s == "train"
        and (not recipe.sources or e.source in recipe.sources)
        for e, s in zip(data.examples, data.splits, strict=True)
    ]
    used = sorted({e.source for e, fit in zip(data.examples, fits, strict=True) if fit})
    if not used:
        raise DataFileError(f"{name}: without {held_out} there is no picture to learn from")
    began = time.perf_counter()
    net = Learner(recipe, table, data, device, Ranks(), out / f"{name}.run").network(used)
    seconds = time.perf_counter() - began
    asked = data.rows([not fit for fit in fits])
    answers = answer_views(net.to(device), views[asked], device=device)
    kept = out / f"{name}--{held_out or 'none'}"
    np.savez(
        kept.with_suffix(".npz"),
        rows=asked.numpy().astype(np.int32),
        forms=answers.forms.astype(np.float16),
    )
    half = {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()}
    torch.save(half, kept.with_suffix(".pt"))
    line = {
        "trial": name,
        "held_out": held_out,
        "options": dataclasses.asdict(recipe),
        "pictures": sum(fits),
        "seconds": round(seconds),
        **trial_scores(data, asked.numpy(), answers.forms, table, held_out),
    }
    with (out / "results.jsonl").open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(line) + "\n")
    sys.stdout.write(f"{name} without {held_out or 'nothing'}: {seconds:.0f} s\n")
    sys.stdout.flush()


def _worker(
    queue: Any, data: Dataset, table: FormTable, views: dict[int, torch.Tensor], out: Path
) -> None:
    torch.set_num_threads(2)
    while (job := queue.get()) is not None:
        name, values, held_out = job
        recipe = make_recipe(values)
        run_trial(name, recipe, held_out, data, table, views[recipe.size], out)


def run(file: Path, data_paths: Sequence[Path], out: Path, *, jobs: int, workers: int) -> None:
    """Run every trial of a file, `jobs` at a time."""
    trials = tomllib.loads(file.read_text(encoding="utf-8"))["trial"]
    out.mkdir(parents=True, exist_ok=True)
    table = load_forms()
    examples = read_sets(data_paths)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    data = load_dataset(examples, table, device=device, workers=workers, seed=0)
    (out / "groups.json").write_text(
        json.dumps({"groups": data.groups, "splits": data.splits, "repeats": data.repeats})
    )
    sizes = {make_recipe(t["recipe"]).size for t in trials}
    paths = [e.path for e in data.examples]
    views = {
        s: load_views(paths, Preprocessing(size=s, views=VIEWS), workers=workers) for s in sizes
    }
    for tensor in (data.canvases.pixels, data.canvases.extents, *views.values()):
        tensor.share_memory_()  # type: ignore[no-untyped-call]
    context = torch.multiprocessing.get_context("spawn")
    queue = context.Queue()
    pool = [
        context.Process(target=_worker, args=(queue, data, table, views, out)) for _ in range(jobs)
    ]
    for process in pool:
        process.start()
    for trial in trials:
        for held_out in trial["held_out"]:
            queue.put((trial["name"], trial["recipe"], held_out))
    for _ in pool:
        queue.put(None)
    for process in pool:
        process.join()


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
