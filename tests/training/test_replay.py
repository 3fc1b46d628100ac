"""Replays of learning in place on made-up pictures; time of a refit; what a network file may be."""

from __future__ import annotations

import csv
import time
from pathlib import Path

import numpy as np
import pytest
import torch
from threadpoolctl import threadpool_limits

from classifier.errors import DataFileError
from classifier.learning.fit import fit_head
from tests.training.scenes import ITEMS, MATERIALS, draw
from training.network import SortNet
from training.pictures.forms import load_forms
from training.trials.replay import made_up, main, stream_table, unknown_table
from training.trials.replay_pictures import Pictures, load_pictures
from training.trials.replay_streams import (
    by_category,
    by_material,
    meet_unknown,
    order,
    recall,
    replay,
)

FORMS = [form for form in ITEMS if form in MATERIALS]


def pictures(n: int = 240, *, seed: int = 0) -> Pictures:
    """Make pictures that their embedding tells apart and of which the network knows little."""
    random = np.random.default_rng(seed)
    kinds = np.arange(n) % len(FORMS)
    middles = random.gamma(0.5, 1.0, (len(FORMS), 64))
    p = random.dirichlet(np.ones(len(FORMS)), size=n)
    p = 0.7 * p + 0.3 * np.eye(len(FORMS))[kinds]
    return Pictures(
        list(FORMS),
        np.abs(middles[kinds] + random.normal(0, 0.5, (n, 64))).astype(np.float32),
        p,
        [FORMS[kind] for kind in kinds],
        [MATERIALS[FORMS[kind]] for kind in kinds],
        np.arange(n) // 2 * 2 + kinds % 2,
    )


def test_a_stream_holds_each_object_once_unless_repeats_are_asked_for() -> None:
    labelled = by_category(pictures())
    rows = order(labelled, 3)
    assert len(rows) == len(set(labelled.objects.tolist()))
    assert len(set(labelled.objects[rows].tolist())) == len(rows)
    assert sorted(order(labelled, 3, repeats=True).tolist()) == list(range(240))
    assert order(labelled, 3).tolist() == rows.tolist() != order(labelled, 4).tolist()


def test_suggestions_get_better_along_a_stream() -> None:
    run = replay(by_category(pictures()), 0, repeats=True)
    shipped, learned = (hits[120:].mean() for hits in run.hits)
    assert learned > shipped + 0.1
    assert run.losses[1][120:].mean() < run.losses[0][120:].mean()
    assert run.losses[1][0] == run.losses[0][0]
    assert recall(run, rare=False)[1] > recall(run, rare=False)[0]
    assert np.isnan(recall(run, rare=True)).all()
    table = stream_table("made up", [run])
    assert "| made up | before | 1-30 | 31-60 | 61-100 | 101-200 | 201-240 |" in table
    assert f"| top-1, shipped | {run.hits[0].mean():.2f} |" in table


def test_materials_are_a_level_of_their_own() -> None:
    labelled = by_material(pictures())
    assert labelled.names == ("food", "glass", "metal", "paper", "plastic")
    np.testing.assert_allclose(labelled.shipped.sum(axis=1), 1.0)
    table = stream_table("made up", [replay(labelled, 0, most=60)], routes=False)
    assert "route" not in table


def test_a_hidden_category_is_unknown_and_then_learned() -> None:
    made = pictures(420)
    hidden = by_category(made, hidden="food")
    food = hidden.names.index("food")
    assert hidden.shipped[:, food].max() < 0.001
    after = {each.examples: each for each in meet_unknown(made, "food", 0)}
    assert after[3].first >= 0.5
    assert after[3].among_three >= after[3].first
    assert after[10].taken < 0.1
    table = unknown_table(made, 1)
    assert table.startswith("| hidden category | after 1: 1st / in 3 |")
    assert "| food |" in table


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a network that knows nothing and eight pictures of one source."""
    folder = tmp_path_factory.mktemp("place")
    with (folder / "manifest.csv").open("w", newline="", encoding="utf-8") as stream:
        rows = csv.writer(stream)
        rows.writerow(["path", "source", "form", "material", "same_as_previous"])
        for number in range(8):
            form = FORMS[number % 4]
            draw(form, number).save(folder / f"{number}.jpg")
            rows.writerow([f"{number}.jpg", "kitchen", form, MATERIALS[form], int(number == 5)])
    table = load_forms()
    net = SortNet("lite0", len(table.ids), len(table.materials), pretrained=False)
    torch.save(net.state_dict(), folder / "net.pt")
    return folder


def test_from_a_network_file_to_a_table(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cache = place / "cache.npz"
    given = ["--network", str(place / "net.pt"), "--data", str(place), "--source", "kitchen"]
    given += ["--cache", str(cache), "--orders", "1", "--workers", "1"]
    main(["stream", *given, "--repeats"])
    first = capsys.readouterr().out
    assert "| kitchen | before | 1-8 |" in first
    (place / "0.jpg").rename(place / "gone.jpg")  # the cache is enough
    main(["stream", *given, "--repeats"])
    assert capsys.readouterr().out == first
    (place / "gone.jpg").rename(place / "0.jpg")
    kept = load_pictures(str(place / "net.pt"), place, "kitchen", cache, workers=1)
    assert kept.embeddings.shape == (8, 1280)
    assert kept.objects[5] == kept.objects[4]  # as the manifest says
    with pytest.raises(DataFileError, match="another --cache"):
        load_pictures(str(place / "other.pt"), place, "kitchen", cache, workers=1)


def test_a_file_that_is_no_network_is_refused(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (place / "bad.pt").write_bytes(b"no network")
    given = ["--network", str(place / "bad.pt"), "--data", str(place), "--source", "kitchen"]
    with pytest.raises(SystemExit):
        main(["stream", *given])
    assert "no network of this project" in capsys.readouterr().err


@pytest.mark.parametrize(("confirmations", "seconds"), [(500, 0.05), (5000, 0.3)])
def test_a_refit_takes_no_longer_than_promised(confirmations: int, seconds: float) -> None:
    """Processor time of one core; three times the promise, for a machine that does much else."""
    log, names = made_up(confirmations)
    guess = fit_head(log[: int(confirmations / 1.05)], names)
    took = []
    with threadpool_limits(1):
        for _ in range(3):
            began = time.process_time()
            fit_head(log, names, guess=guess)
            took.append(time.process_time() - began)
    assert min(took) < 3 * seconds
