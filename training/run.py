"""One training run from labelled pictures to a bundle: train, calibrate, evaluate, export."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from classifier.errors import DataFileError
from classifier.inference.preprocess import Preprocessing
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from training.bundle.export import Served, round_to_half
from training.bundle.publish import write_bundle
from training.bundle.start import Start, load_start
from training.frozen import fit_frozen
from training.judging.asked import Asker, Gauged
from training.judging.calibrate import Confidence, HeldOut, set_confidence, set_thresholds
from training.judging.evaluate import route_matrix
from training.judging.scores import Scores
from training.judging.strangeness import Doubt
from training.judging.use import Desk
from training.learning.learn import Learner
from training.learning.memory import keep_freed_memory
from training.learning.ranks import Ranks, joined_ranks
from training.network import SortNet
from training.pictures.dataset import Dataset, load_dataset
from training.pictures.forms import FormTable, table_of_labels
from training.pictures.manifest import Example, read_sets, require_sources
from training.pictures.notes import tell
from training.pictures.splits import refuse_empty_splits
from training.recipe import Recipe, teacher_of

PROGRAMME = "alder_valley"  # the shipped programme under which routes are scored
LEAST_ROUTE = 0.5  # least route threshold
CAREFUL_ROUTE = 0.8  # the same where no unseen source set it


@dataclass(frozen=True, slots=True)
class Job:
    """What a run was asked for."""

    data: tuple[Path, ...]  # sets of labelled pictures, read as one
    recipe: Recipe
    out: Path
    command: str
    version: str
    workers: int = 2
    frozen: bool = False  # fit the head only
    start: str | None = None  # bundle whose backbone a frozen run takes over

    @property
    def work(self) -> Path:
        """Where finished networks wait, so that a stopped run need not train them again."""
        return self.out.with_name(self.out.name + ".run")


def run(job: Job) -> Path | None:
    """Carry out a run and return the directory of the finished bundle.

    Under `torchrun` all processes train together; the first one alone judges and writes, the
    others return None.
    """
    _check_out(job.out)
    if job.frozen:
        keep_freed_memory()
    with joined_ranks() as (ranks, device):
        return _run(job, ranks, device)


def _run(job: Job, ranks: Ranks, device: torch.device) -> Path | None:
    began = time.perf_counter()
    recipe = job.recipe
    start = load_start(job.start) if job.start else None
    teacher_of(recipe)  # refused before the pictures are read, which takes minutes
    examples = read_sets(job.data)
    _check_sources(recipe, examples)
    table = table_of_labels((e.form for e in examples), load_categories())
    # Several times faster on a CPU; the full mode keeps the layout of its published figures.
    layout = torch.channels_last if job.frozen else torch.contiguous_format
    data = load_dataset(examples, table, device=device, workers=job.workers, seed=0, layout=layout)
    _report_data(data)
    _check_splits(recipe, data)
    preprocessing = Preprocessing(size=recipe.size, views=recipe.views)
    machine = machine_name(ranks.world, device)
    learner = Learner(recipe, table, data, device, ranks, job.work, machine)
    learn = partial(_network, job, start, preprocessing, learner)
    net = learn(recipe.sources)
    strangers = {source: learn(others(source, recipe, data)) for source in recipe.sisters}
    if not ranks.first:
        return None
    heard = hear(recipe, Asker(data, preprocessing, device, job.workers), net, strangers)
    made_how = learner.made_how() if not job.frozen else _fitted(began, machine)
    return conclude(job, heard, net, data, table, made_how, start)


def conclude(
    job: Job,
    heard: Heard,
    net: SortNet,
    data: Dataset,
    table: FormTable,
    made_how: Mapping[str, Any],
    start: Start | None = None,
) -> Path:
    """Set confidence and thresholds by what was heard, judge by it, and write the bundle."""
    recipe, categories = job.recipe, load_categories()
    programme = next(x for x in load_shipped_programmes(categories) if x.id == PROGRAMME)
    unseen = list(heard.sisters.values())
    confidence = set_confidence(heard.calibrate, unseen)
    thresholds = set_thresholds(
        [heard.calibrate, *unseen],
        confidence,
        table,
        categories,
        programme,
        least_route=LEAST_ROUTE if unseen else CAREFUL_ROUTE,
    )
    routes, _ = route_matrix(table, categories, programme)
    scores = Scores(data, table, routes)
    desk = Desk(table, categories, programme, thresholds)
    tested = heard.tested, heard.test
    gauge = heard.gauged.strangeness
    return write_bundle(
        job.out,
        recipe,
        Served(net, Doubt(gauge, confidence.slope) if gauge and confidence.slope else None),
        data,
        Preprocessing(size=recipe.size, views=recipe.views),
        confidence.temperature,
        thresholds,
        {
            **_evaluate(heard, confidence, scores),
            "in_use": scores.in_use(desk, tested, heard.sisters, confidence),
        },
        table,
        made_by={"command": job.command, **made_how},
        version=job.version,
        frozen=job.frozen,
        start=start,
    )


@dataclass(frozen=True, slots=True)
class Heard:
    """Answers of a network, and of its sisters on the source that each never saw."""

    gauged: Gauged
    tested: NDArray[np.int64]  # rows of the test split
    test: HeldOut
    calibrate: HeldOut
    sisters: dict[str, HeldOut]
    unused: dict[str, HeldOut]  # on sources that the recipe leaves out; they set nothing


def hear(recipe: Recipe, asker: Asker, net: SortNet, strangers: Mapping[str, SortNet]) -> Heard:
    # Only unseen sources can tell how much less a strange picture is to be trusted.
    gauge = asker.gauged if strangers else lambda net, _: Gauged(net, None)
    gauged = gauge(net, recipe.sources)
    tested = asker.rows("test", recipe.sources)
    sisters = {}
    for left_out, stranger in strangers.items():
        alone = gauge(stranger, others(left_out, recipe, asker.data))
        for source in left_out.split("+"):
            sisters[source] = asker.ask(alone, asker.rows_of(source))
    unused = {e.source for e in asker.data.examples} - set(recipe.sources)
    return Heard(
        gauged=gauged,
        tested=tested,
        test=asker.ask(gauged, tested),
        calibrate=asker.ask(gauged, asker.rows("calibrate", recipe.sources)),
        sisters=sisters,
        unused={
            source: asker.ask(gauged, asker.rows_of(source))
            for source in (sorted(unused) if recipe.sources else ())
        },
    )


def _evaluate(heard: Heard, confidence: Confidence, scores: Scores) -> dict[str, Any]:
    unseen = scores.unseen(heard.calibrate, heard.sisters)
    return {
        "programme": PROGRAMME,
        **scores.known(heard.tested, heard.test, confidence),
        "unseen_source": unseen | scores.by_source(heard.unused, confidence),
        "strangeness_slope": confidence.slope,
    }


def _fitted(began: float, machine: str) -> dict[str, Any]:
    """Say how long a run took that trained no network."""
    return {"networks": 0, "seconds": round(time.perf_counter() - began), "machine": machine}


def machine_name(world: int, device: torch.device) -> str:
    """Say what computed, for the time on the card to mean something."""
    if device.type == "cuda":
        what = torch.cuda.get_device_name(device)
    else:
        threads = torch.get_num_threads()
        what = f"{threads} {'thread' if threads == 1 else 'threads'} of a CPU"
    return f"{world} processes, each on {what}" if world > 1 else what


def _check_out(out: Path) -> None:
    """Refuse a directory that can't be written, before hours of training and not after them."""
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=out if out.exists() else out.parent):
            pass
    except OSError as error:
        raise DataFileError(
            f"{out} can't be written ({error.strerror or error}); give another --out", file=str(out)
        ) from error


def _check_sources(recipe: Recipe, examples: Sequence[Example]) -> None:
    """Refuse a recipe that names sources which the pictures don't come from."""
    try:
        require_sources(examples, [*recipe.sources, *recipe.left_out])
    except DataFileError as error:
        raise DataFileError(
            f"recipe {recipe.name}: {error.message}; fix its sources and sisters, or give a "
            "recipe that names none"
        ) from error
    used = set(recipe.sources) or {e.source for e in examples}
    if recipe.sisters and len(used) < 2:
        raise DataFileError(
            f"recipe {recipe.name}: its sisters keep out {', '.join(recipe.sisters)}, which leaves "
            "no source to learn from; give pictures of another source too, or a recipe without "
            "sisters, such as own"
        )


def _check_splits(recipe: Recipe, data: Dataset) -> None:
    """Refuse an empty split; name the labels that the network will not learn."""
    rows = [
        (split, example.form)
        for split, example in zip(data.splits, data.examples, strict=True)
        if example.form and (not recipe.sources or example.source in recipe.sources)
    ]
    refuse_empty_splits([split for split, _ in rows])
    learned = {form for split, form in rows if split == "train"}
    if missing := {e.form for e in data.examples} - learned - {""}:
        tell(f"no picture to learn from: {', '.join(sorted(missing))}\n")


def _report_data(data: Dataset) -> None:
    for refusal in data.refused:
        tell(f"skipped {refusal}\n")
    tell(
        f"{len(data.examples)} pictures in {len(set(data.groups))} groups; near-repeats joined: "
        + ", ".join(f"{source} {n}" for source, n in data.repeats.items())
        + f"; unreadable: {len(data.refused)}\n"
    )


def _network(
    job: Job,
    start: Start | None,
    preprocessing: Preprocessing,
    learner: Learner,
    sources: Sequence[str],
) -> SortNet:
    """Learn from the train split of some sources; rounded as it ships."""
    if job.frozen:
        net = fit_frozen(
            job.recipe, learner.table, learner.data, learner.rows(sources), preprocessing,
            start=start, device=learner.device, workers=job.workers,
        )  # fmt: skip
    else:
        net = learner.network(sources)
    return round_to_half(net).to(memory_format=torch.channels_last)


def others(source: str, recipe: Recipe, data: Dataset) -> list[str]:
    """Name all sources of the recipe but one, or but several that "+" joins."""
    used = recipe.sources or sorted({e.source for e in data.examples})
    return [each for each in used if each not in source.split("+")]
