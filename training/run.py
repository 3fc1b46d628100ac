"""One training run from labelled pictures to a bundle: train, calibrate, evaluate, export."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import torch
from tqdm import tqdm

from classifier.domain.categories import load_categories
from classifier.domain.programme import load_shipped_programmes
from classifier.domain.suggestion import Thresholds
from classifier.inference.bundle import write_manifest
from classifier.inference.preprocess import Preprocessing, view_probabilities
from training.calibrate import (
    ROUTE_CORRECT,
    HeldOut,
    fit_view_temperature,
    least_threshold,
    non_item_threshold,
    rounded,
    stop_threshold,
    unsure_threshold,
)
from training.card import write_card
from training.checkpoint import load_network, save_network
from training.dataset import Dataset, load_dataset
from training.evaluate import Scored, by_form, route_matrix, score
from training.export import (
    NETWORK_FILE,
    PARITY,
    bundle_description,
    export_onnx,
    largest_difference,
    round_to_half,
)
from training.forms import FormTable, load_forms
from training.images import Canvases, load_views
from training.manifest import read_examples
from training.network import SortNet, blend_backbone
from training.outputs import answer_views
from training.recipe import Recipe, dump_recipe
from training.sources import count_sources
from training.train import Labels, train_network

PROGRAMME = "alder_valley"  # the shipped programme under which routes are scored
_PARITY_PICTURES = 16
CAREFUL_ROUTE = 0.8  # least route threshold where no unseen source set it


@dataclass(frozen=True, slots=True)
class Job:
    """What a run was asked for."""

    data: Path
    recipe: Recipe
    out: Path
    command: str
    version: str
    workers: int = 2

    @property
    def work(self) -> Path:
        """Where finished networks wait, so that a stopped run need not train them again."""
        return self.out.with_name(self.out.name + ".run")


def run(job: Job) -> Path:
    """Carry out a run and return the directory of the finished bundle."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    table = load_forms()
    recipe = job.recipe
    data = load_dataset(read_examples(job.data), table, device=device, workers=job.workers, seed=0)
    _report_data(data)
    preprocessing = Preprocessing(size=recipe.size, views=recipe.views)
    net = _network(job, table, data, recipe.sources, device)
    held = _held_out_answers(net, data, recipe.sources, preprocessing, device, job.workers)
    sisters = {
        source: _sister(source, job, table, data, preprocessing, device)
        for source in recipe.sisters
    }
    unused = _unused_sources(net, job, data, preprocessing, device)
    temperature = round(fit_view_temperature([held.calibrate, *sisters.values()]), 4)
    if not sisters:
        temperature = max(temperature, 1.0)
    thresholds = set_thresholds([held.calibrate, *sisters.values()], table, temperature)
    if not sisters:
        # Pictures of known floors alone can't tell how sure to be on another one.
        thresholds = dataclasses.replace(thresholds, route=max(thresholds.route, CAREFUL_ROUTE))
    evaluation = _evaluate(data, held, {**sisters, **unused}, table, temperature)
    return _write(job, net, data, preprocessing, temperature, thresholds, evaluation, table)


@dataclass(frozen=True, slots=True)
class _Held:
    """Answers of the network on the splits that did not train it."""

    calibrate: HeldOut
    rows: np.ndarray  # rows of all pictures asked
    answers: HeldOut


def _report_data(data: Dataset) -> None:
    for refusal in data.refused:
        sys.stderr.write(f"skipped {refusal}\n")
    sys.stderr.write(
        f"{len(data.examples)} pictures in {len(set(data.groups))} groups; near-repeats joined: "
        + ", ".join(f"{source} {n}" for source, n in data.repeats.items())
        + f"; unreadable: {len(data.refused)}\n"
    )


def _network(
    job: Job, table: FormTable, data: Dataset, sources: Sequence[str], device: torch.device
) -> SortNet:
    """Train on the train split of some sources (none named: all), or take up a finished one."""
    recipe = job.recipe
    rows = data.rows(
        [
            split == "train" and (not sources or example.source in sources)
            for example, split in zip(data.examples, data.splits, strict=True)
        ]
    )
    title = "-".join(sources) or "all"
    kept = job.work / f"{title}.pt"
    net = load_network(kept, recipe, table, pictures=len(rows))
    if net is None:
        canvases = Canvases(data.canvases.pixels[rows], data.canvases.extents[rows])
        labels = Labels(*(getattr(data.labels, f.name)[rows] for f in dataclasses.fields(Labels)))
        with tqdm(total=recipe.epochs, desc=f"{title}, {len(rows)} pictures", unit="epoch") as bar:

            def progress(epoch: int, loss: float, seconds: float) -> None:
                del epoch, seconds
                bar.set_postfix(loss=f"{loss:.3f}")
                bar.update()

            net = train_network(recipe, table, canvases, labels, device=device, progress=progress)
        save_network(kept, net, recipe, pictures=len(rows))
    return round_to_half(blend_backbone(net, recipe.backbone, recipe.blend))


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


def _sister(
    source: str,
    job: Job,
    table: FormTable,
    data: Dataset,
    preprocessing: Preprocessing,
    device: torch.device,
) -> HeldOut:
    """Answers on a whole source by a network that never saw it: somebody else's floor."""
    used = job.recipe.sources or sorted({e.source for e in data.examples})
    others = [s for s in used if s != source]
    net = _network(job, table, data, others, device)
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


def set_thresholds(sets: Sequence[HeldOut], table: FormTable, temperature: float) -> Thresholds:
    """Thresholds on all held-out pictures together; each rule stands with its function."""
    known = [held.known() for held in sets]
    p = np.concatenate([view_probabilities(held.logits, temperature) for held in known])
    labels = np.concatenate([held.labels for held in known])
    categories = load_categories()
    programme = next(x for x in load_shipped_programmes(categories) if x.id == PROGRAMME)
    routes, _ = route_matrix(table, categories, programme)
    sent = p @ routes
    names = [category.id for category in categories.categories]
    shares = np.array(
        [[form.categories.get(name, 0.0) for name in names] for form in table.forms]
    )  # (F, C)
    by_category = p @ shares
    stops = np.array([category.stop for category in categories.categories])
    is_stop = stops[shares[labels].argmax(axis=1)]
    return rounded(
        Thresholds(
            route=max(
                0.5,
                least_threshold(
                    sent.max(axis=1),
                    sent.argmax(axis=1) == routes[labels].argmax(axis=1),
                    ROUTE_CORRECT,
                ),
            ),
            stop=stop_threshold(by_category[:, stops].sum(axis=1), is_stop),
            unsure=unsure_threshold(
                by_category.max(axis=1), by_category.argmax(axis=1) == shares[labels].argmax(axis=1)
            ),
            non_item=non_item_threshold(p[:, table.ids.index("non_item")]),
        )
    )


def _evaluate(
    data: Dataset,
    held: _Held,
    sisters: dict[str, HeldOut],
    table: FormTable,
    temperature: float,
) -> dict[str, Any]:
    """Scores on the test split by source, on unseen sources, and form by form."""
    categories = load_categories()
    programme = next(x for x in load_shipped_programmes(categories) if x.id == PROGRAMME)
    routes, _ = route_matrix(table, categories, programme)

    def scored(rows: np.ndarray, answers: HeldOut) -> Scored:
        keep = answers.labels >= 0
        groups = [data.groups[row] for row in rows[keep]]
        p = view_probabilities(answers.logits[keep], temperature)
        return Scored(p, answers.labels[keep], groups)

    def part(wanted: list[bool]) -> Scored:
        mask = np.array(wanted)
        answers = HeldOut(held.answers.logits[mask], held.answers.labels[mask])
        return scored(held.rows[mask], answers)

    tested = [data.splits[row] == "test" for row in held.rows]
    sources = [data.examples[row].source for row in held.rows]
    unseen = {
        name: score(
            scored(data.rows([e.source == name for e in data.examples]).numpy(), answers),
            table,
            routes,
        )
        for name, answers in sisters.items()
    }
    everything = part(tested)
    return {
        "programme": PROGRAMME,
        "test_split": {
            source: score(
                part([t and s == source for t, s in zip(tested, sources, strict=True)]),
                table,
                routes,
            )
            for source in sorted(set(sources))
        },
        "unseen_source": unseen,
        "by_form": by_form(everything, table),
        "repeats_joined": data.repeats,
    }


def _write(
    job: Job,
    net: SortNet,
    data: Dataset,
    preprocessing: Preprocessing,
    temperature: float,
    thresholds: Thresholds,
    evaluation: dict[str, Any],
    table: FormTable,
) -> Path:
    job.out.mkdir(parents=True, exist_ok=True)
    net = net.cpu()
    export_onnx(net, job.out / NETWORK_FILE, size=preprocessing.size)
    sample = load_views([e.path for e in data.examples[:_PARITY_PICTURES]], preprocessing)
    difference = largest_difference(net, job.out / NETWORK_FILE, sample)
    if difference > PARITY:
        raise ValueError(f"ONNX differs from torch by {difference:.2g}, more than {PARITY}")
    used = [e for e in data.examples if not job.recipe.sources or e.source in job.recipe.sources]
    (job.out / "recipe.toml").write_text(dump_recipe(job.recipe), encoding="utf-8")
    description = bundle_description(
        name=job.recipe.name,
        version=job.version,
        created=date.today().isoformat(),
        preprocessing=dataclasses.asdict(preprocessing),
        forms=[{"id": f.id, "name": f.name, "categories": f.categories} for f in table.forms],
        temperature=temperature,
        thresholds=dataclasses.asdict(thresholds),
        training={
            "command": job.command,
            "recipe": "recipe.toml",
            "sources": count_sources(used),
        },
        evaluation={**evaluation, "onnx_parity": difference},
    )
    write_card(job.out, description, job.recipe)
    write_manifest(job.out, description)
    return job.out
