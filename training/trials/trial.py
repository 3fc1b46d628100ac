"""Train and score trials, several at a time, each on pictures of sources that it never saw."""

from __future__ import annotations

import dataclasses
import json
import sys
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path

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
from training.side_by_side import in_order
from training.trials.table import trial_scores

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


def _one(
    task: tuple[str, str, str],
    data: Dataset,
    table: FormTable,
    views: dict[int, torch.Tensor],
    out: Path,
) -> None:
    name, options, held_out = task
    recipe = make_recipe(json.loads(options))
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
    tasks: dict[tuple[str, str, str], set[tuple[str, str, str]]] = {
        (trial["name"], json.dumps(trial["recipe"]), held_out): set()
        for trial in trials
        for held_out in trial["held_out"]
    }
    in_order(tasks, _one, (data, table, views, out), jobs=jobs)
