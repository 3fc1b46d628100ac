"""Try recipes against pictures from a source that none of them trained on.

`python -m training.trials run FILE --data DIR --out DIR` trains each trial of a TOML file and
keeps its raw answers; `python -m training.trials table --out DIR` prints the comparison.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch

from classifier.inference.preprocess import Preprocessing
from training.dataset import Dataset, load_dataset
from training.forms import FormTable, load_forms
from training.images import Canvases, load_views
from training.manifest import read_examples
from training.outputs import answer_views
from training.recipe import Recipe, make_recipe
from training.train import Labels, train_network

VIEWS = (0.0, 0.7)


def run_trial(
    name: str,
    recipe: Recipe,
    held_out: str,
    data: Dataset,
    table: FormTable,
    views: torch.Tensor,
    out: Path,
) -> None:
    """Train without `held_out` and without the test split; keep answers on both."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    fits = [
        e.source != held_out and s == "train" and (not recipe.sources or e.source in recipe.sources)
        for e, s in zip(data.examples, data.splits, strict=True)
    ]
    rows = data.rows(fits)
    began = time.perf_counter()
    net = train_network(
        recipe, table, _pick(data.canvases, rows), _pick_labels(data.labels, rows), device=device
    )
    seconds = time.perf_counter() - began
    asked = data.rows([not fit for fit in fits])
    answers = answer_views(net, views[asked], device=device)
    np.savez(
        out / f"{name}--{held_out or 'none'}.npz",
        rows=asked.numpy().astype(np.int16),
        forms=answers.forms.astype(np.float16),
        materials=answers.materials.astype(np.float16),
    )
    torch.save(
        {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()},
        out / f"{name}--{held_out or 'none'}.pt",
    )
    line = {"trial": name, "held_out": held_out, "seconds": round(seconds, 1), "fits": len(rows)}
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


def _pick(canvases: Canvases, rows: torch.Tensor) -> Canvases:
    return Canvases(canvases.pixels[rows], canvases.extents[rows])


def _pick_labels(labels: Labels, rows: torch.Tensor) -> Labels:
    return Labels(labels.forms[rows], labels.materials[rows], labels.sources[rows])


def _worker(
    queue: Any, data: Dataset, table: FormTable, views: dict[int, torch.Tensor], out: Path
) -> None:
    torch.set_num_threads(2)
    while (job := queue.get()) is not None:
        name, values, held_out = job
        recipe = make_recipe(values)
        run_trial(name, recipe, held_out, data, table, views[recipe.size], out)


def run(file: Path, data_path: Path, out: Path, *, jobs: int, workers: int) -> None:
    """Run every trial of a file, `jobs` at a time."""
    trials = tomllib.loads(file.read_text(encoding="utf-8"))["trial"]
    out.mkdir(parents=True, exist_ok=True)
    table = load_forms()
    examples = read_examples(data_path)
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
        tensor.share_memory_()
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
    parser.add_argument("file", type=Path)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(arguments)
    run(given.file, given.data, given.out, jobs=given.jobs, workers=given.workers)


if __name__ == "__main__":
    main()
