"""One training run from labelled pictures to a bundle: train, calibrate, evaluate, export."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import torch

from classifier.domain.categories import load_categories
from classifier.domain.errors import DataFileError
from classifier.domain.programme import load_shipped_programmes
from classifier.inference.preprocess import Preprocessing, view_probabilities
from training.calibrate import HeldOut, fit_view_temperature, set_thresholds
from training.dataset import Dataset, load_dataset
from training.evaluate import Scored, by_form, by_material, non_item_auroc, route_matrix, score_by
from training.export import round_to_half
from training.forms import FormTable, table_of_labels
from training.frozen import Start, fit_frozen, load_start
from training.images import load_views
from training.learn import Learner
from training.manifest import Example, read_sets, require_sources
from training.memory import keep_freed_memory
from training.network import SortNet
from training.notes import tell
from training.outputs import answer_views
from training.publish import write_bundle
from training.ranks import Ranks, joined_ranks
from training.recipe import Recipe, teacher_of
from training.splits import refuse_empty_splits

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
    recipe, categories = job.recipe, load_categories()
    programme = next(x for x in load_shipped_programmes(categories) if x.id == PROGRAMME)
    start = load_start(job.start) if job.start else None
    teacher_of(recipe)  # refused before the pictures are read, which takes minutes
    examples = read_sets(job.data)
    _check_sources(recipe, examples)
    table = table_of_labels((e.form for e in examples), categories)
    # Several times faster on a CPU; the full mode keeps the layout of its published figures.
    layout = torch.channels_last if job.frozen else torch.contiguous_format
    data = load_dataset(examples, table, device=device, workers=job.workers, seed=0, layout=layout)
    _report_data(data)
    _check_splits(recipe, data)
    preprocessing = Preprocessing(size=recipe.size, views=recipe.views)
    learner = Learner(recipe, table, data, device, ranks, job.work)
    learn = partial(_network, job, start, preprocessing, learner)
    net = learn(recipe.sources)
    strangers = {source: learn(_others(source, recipe, data)) for source in recipe.sisters}
    if not ranks.first:
        return None
    held = _held_out_answers(net, data, recipe.sources, preprocessing, device, job.workers)
    sisters = {
        source: _on_source(source, stranger, job, data, preprocessing, device)
        for source, stranger in strangers.items()
    }
    unused = _unused_sources(net, job, data, preprocessing, device)
    sets = [held.calibrate, *sisters.values()]
    temperature = round(fit_view_temperature(sets), 4)
    least_route = LEAST_ROUTE
    if not sisters:
        # Pictures of known floors alone can't tell how sure to be on another one.
        temperature, least_route = max(temperature, 1.0), CAREFUL_ROUTE
    thresholds = set_thresholds(
        sets, temperature, table, categories, programme, least_route=least_route
    )
    routes, _ = route_matrix(table, categories, programme)
    evaluation = _evaluate(data, held, {**sisters, **unused}, table, routes, temperature)
    return write_bundle(
        job.out,
        recipe,
        net,
        data,
        preprocessing,
        temperature,
        thresholds,
        evaluation,
        table,
        made_by={
            "command": job.command,
            "seconds": round(time.perf_counter() - began),
            "machine": _machine(ranks, device),
        },
        version=job.version,
        frozen=job.frozen,
        start=start,
    )


def _machine(ranks: Ranks, device: torch.device) -> str:
    """Say what computed, for the time on the card to mean something."""
    if device.type == "cuda":
        what = torch.cuda.get_device_name(device)
    else:
        threads = torch.get_num_threads()
        what = f"{threads} {'thread' if threads == 1 else 'threads'} of a CPU"
    return f"{ranks.world} processes, each on {what}" if ranks.world > 1 else what


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
        require_sources(examples, [*recipe.sources, *recipe.sisters])
    except DataFileError as error:
        raise DataFileError(
            f"recipe {recipe.name}: {error.message}; mend its sources and sisters, or give a "
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


@dataclass(frozen=True, slots=True)
class _Held:
    """Answers of the network on the splits that did not train it."""

    calibrate: HeldOut
    rows: np.ndarray  # rows of all pictures asked
    answers: HeldOut


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
    if not job.frozen:
        return round_to_half(learner.network(sources))
    fitted = fit_frozen(
        job.recipe, learner.table, learner.data, learner.rows(sources), preprocessing,
        start=start, device=learner.device, workers=job.workers,
    )  # fmt: skip
    return round_to_half(fitted).to(memory_format=torch.channels_last)


def _held_out_answers(
    net: SortNet,
    data: Dataset,
    sources: Sequence[str],
    preprocessing: Preprocessing,
    device: torch.device,
    workers: int,
) -> _Held:
    rows = data.rows(
        [
            split != "train" and (not sources or example.source in sources)
            for example, split in zip(data.examples, data.splits, strict=True)
        ]
    ).numpy()
    answers = _answers(net, data, rows, preprocessing, device, workers)
    calibrating = np.array([data.splits[row] == "calibrate" for row in rows])
    return _Held(
        HeldOut(answers.logits[calibrating], answers.labels[calibrating]).known(), rows, answers
    )


def _answers(
    net: SortNet,
    data: Dataset,
    rows: np.ndarray,
    preprocessing: Preprocessing,
    device: torch.device,
    workers: int,
) -> HeldOut:
    views = load_views([data.examples[r].path for r in rows], preprocessing, workers=workers)
    logits = answer_views(net.to(device), views, device=device).forms
    return HeldOut(logits, data.labels.forms[torch.from_numpy(rows)].numpy())


def _others(source: str, recipe: Recipe, data: Dataset) -> list[str]:
    """Name all sources of the recipe but one."""
    used = recipe.sources or sorted({e.source for e in data.examples})
    return [each for each in used if each != source]


def _on_source(
    source: str,
    net: SortNet,
    job: Job,
    data: Dataset,
    preprocessing: Preprocessing,
    device: torch.device,
) -> HeldOut:
    """Answers on a whole source by a network that never saw it: somebody else's floor."""
    rows = data.rows([e.source == source for e in data.examples]).numpy()
    return _answers(net, data, rows, preprocessing, device, job.workers)


def _unused_sources(
    net: SortNet, job: Job, data: Dataset, preprocessing: Preprocessing, device: torch.device
) -> dict[str, HeldOut]:
    """Answers on sources that the recipe leaves out; they judge and set nothing."""
    used = job.recipe.sources
    result = {}
    for source in sorted({e.source for e in data.examples} - set(used)) if used else ():
        rows = data.rows([e.source == source for e in data.examples]).numpy()
        result[source] = _answers(net, data, rows, preprocessing, device, job.workers)
    return result


def _evaluate(
    data: Dataset,
    held: _Held,
    unseen: dict[str, HeldOut],
    table: FormTable,
    routes: np.ndarray,
    temperature: float,
) -> dict[str, Any]:
    """Scores on the test split by source, on unseen sources, and form by form."""

    def scored(rows: np.ndarray, answers: HeldOut) -> tuple[list[str], Scored]:
        keep = answers.labels >= 0
        p = view_probabilities(answers.logits[keep], temperature)
        groups = [data.groups[row] for row in rows[keep]]
        sources = [data.examples[row].source for row in rows[keep]]
        return sources, Scored(p, answers.labels[keep], groups)

    tested = np.array([data.splits[row] == "test" for row in held.rows])
    answers = HeldOut(held.answers.logits[tested], held.answers.labels[tested])
    sources, everything = scored(held.rows[tested], answers)
    others: dict[str, Any] = {}
    for name, given in unseen.items():
        rows = data.rows([e.source == name for e in data.examples]).numpy()
        others |= score_by(*scored(rows, given), table, routes)
    return {
        "programme": PROGRAMME,
        "test_split": score_by(sources, everything, table, routes),
        "unseen_source": others,
        "by_material": by_material(everything, table),
        "by_form": by_form(everything, table),
        "non_item_auroc": non_item_auroc(everything, table),
        "repeats_joined": data.repeats,
        "labels_mended": sum(example.mended for example in data.examples),
    }
