"""Putting held-out pictures to networks, and scoring what they answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import torch
from numpy.typing import NDArray

from classifier.inference.preprocess import Preprocessing
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from training.judging.asked import Asker
from training.judging.calibrate import Confidence, HeldOut, fit_confidence
from training.judging.evaluate import route_matrix
from training.judging.scores import Scores
from training.network import SortNet
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.pictures.manifest import Example

VIEWS = (0.0, 0.7)


@pytest.fixture(scope="module")
def data(eight: list[Example], canvases: Canvases, labels: Labels) -> Dataset:
    """Return eight pictures: two of each form, of which the third form's are of another source."""
    examples = [replace(e, source="yard") if i in (4, 5) else e for i, e in enumerate(eight)]
    splits = ["train", "calibrate", "train", "test", "train", "test", "train", "test"]
    groups = [str(i) for i in range(8)]
    return Dataset(examples, canvases, labels, groups, splits, {}, [])


@pytest.fixture(scope="module")
def asker(data: Dataset) -> Asker:
    """Return an asker at a small size."""
    return Asker(data, Preprocessing(size=64, views=VIEWS), torch.device("cpu"), workers=1)


def test_rows_by_split_and_source(asker: Asker) -> None:
    assert asker.rows("train", ()).tolist() == [0, 2, 4, 6]
    assert asker.rows("train", ["kitchen"]).tolist() == [0, 2, 6]
    assert asker.rows_of("yard").tolist() == [4, 5]


@pytest.mark.slow
def test_answers_bear_strangeness_and_what_was_never_learned(
    asker: Asker, table: FormTable, labels: Labels
) -> None:
    torch.manual_seed(0)
    net = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True)
    gauged = asker.gauged(net, ["kitchen"])
    assert gauged.unlearned == {int(labels.forms[4])}
    assert gauged.strangeness is not None
    # One held-out picture shows no level, so those that trained stand in for it.
    known = asker.ask(gauged, asker.rows("train", ["kitchen"]))
    assert known.strangeness is not None
    assert known.strangeness.shape == (3, len(VIEWS))
    assert known.strangeness.mean() == pytest.approx(0, abs=1e-3)
    stranger = asker.ask(gauged, asker.rows_of("yard"))
    assert stranger.labels.tolist() == labels.forms[4:6].tolist()
    assert stranger.unlearned == gauged.unlearned
    assert stranger.strangeness is not None
    assert stranger.strangeness.mean() > 0.5


def _answers(labels: NDArray[np.int64], forms: int, *, sureness: float, wrong: int) -> HeldOut:
    """Answers in one view, of which the first `wrong` name the next form."""
    guessed = labels.copy()
    guessed[:wrong] = (guessed[:wrong] + 1) % 4
    return HeldOut((sureness * np.eye(forms)[guessed])[:, None].astype(np.float32), labels)


def _scores(data: Dataset, table: FormTable) -> Scores:
    categories = load_categories()
    programme = load_shipped_programmes(categories)[0]
    return Scores(data, table, route_matrix(table, categories, programme)[0])


def test_what_may_only_train_is_never_scored(data: Dataset, table: FormTable) -> None:
    labels = data.labels.forms[4:6].numpy()
    answers = {"yard": _answers(labels, len(table.forms), sureness=5, wrong=1)}
    scored = _scores(data, table).by_source(answers, Confidence(1.0))
    assert scored["yard"]["pictures"] == 2
    assert scored["yard"]["form_top1"]["value"] == 0.5
    examples = [replace(e, split="train") if i == 4 else e for i, e in enumerate(data.examples)]
    one = _scores(replace(data, examples=examples), table).by_source(answers, Confidence(1.0))
    assert one["yard"]["pictures"] == 1
    assert one["yard"]["form_top1"]["value"] == 1
    none = replace(data, examples=[replace(e, split="train") for e in data.examples])
    assert _scores(none, table).by_source(answers, Confidence(1.0)) == {}


def test_an_unseen_source_does_not_set_how_sure_it_is_judged(
    data: Dataset, table: FormTable
) -> None:
    forms, scores = len(table.forms), _scores(data, table)
    calibrate = _answers(np.arange(40) % 4, forms, sureness=8, wrong=4)
    kitchen = data.labels.forms[[0, 1, 2, 3, 6, 7]].numpy()
    sisters = {
        "yard": _answers(data.labels.forms[4:6].numpy(), forms, sureness=8, wrong=2),
        "kitchen": _answers(kitchen, forms, sureness=8, wrong=1),
    }
    others = fit_confidence([calibrate, sisters["kitchen"]])
    everything = fit_confidence([calibrate, *sisters.values()])
    assert everything.temperature > others.temperature + 0.5
    expected = scores.by_source({"yard": sisters["yard"]}, others)
    assert scores.unseen(calibrate, sisters)["yard"] == expected["yard"]
    flattered = scores.by_source({"yard": sisters["yard"]}, everything)
    assert flattered["yard"]["ece"] != expected["yard"]["ece"]
