"""Strangeness: what principal directions leave, as scikit-learn says; and as it is exported."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnxruntime
import pytest
import torch
from sklearn.decomposition import PCA

from tests.training.scenes import ITEMS, draw
from training.bundle.export import PARITY, Served, export_onnx, largest_difference, round_to_half
from training.judging.strangeness import Doubt, Strangeness, fit_strangeness
from training.network import SortNet
from training.pictures.forms import FormTable

DIMENSIONS, SPREAD = 40, 3


def _embeddings(n: int, *, seed: int, rest: float) -> torch.Tensor:
    """Points that fill three directions and stray from them by `rest`."""
    basis = np.linalg.qr(np.random.default_rng(99).normal(size=(DIMENSIONS, SPREAD)))[0]
    rng = np.random.default_rng(seed)
    inside = rng.normal(0, 5, (n, SPREAD)) @ basis.T
    return torch.from_numpy(7 + inside + rng.normal(0, rest, (n, DIMENSIONS))).float()


@pytest.fixture(scope="module")
def gauge() -> Strangeness:
    """Return a gauge fitted on few enough points to keep three directions."""
    return fit_strangeness(_embeddings(14, seed=0, rest=0.1), _embeddings(500, seed=1, rest=0.1))


def test_the_rest_is_that_of_principal_components(gauge: Strangeness) -> None:
    learned, asked = _embeddings(14, seed=0, rest=0.1), _embeddings(50, seed=2, rest=0.4)
    components = PCA(n_components=3, svd_solver="full").fit(learned.numpy())
    back = components.inverse_transform(components.transform(asked.numpy()))
    squared = ((asked.numpy() - back) ** 2).sum(axis=1)
    assert gauge.directions.shape == (3, DIMENSIONS)
    np.testing.assert_allclose(gauge.log_rest(asked).numpy(), np.log(squared), atol=0.02)


def test_held_out_pictures_are_the_scale(gauge: Strangeness) -> None:
    known = gauge(_embeddings(500, seed=1, rest=0.1))
    assert known.mean().item() == pytest.approx(0, abs=1e-3)
    assert known.std().item() == pytest.approx(1, abs=1e-3)
    assert gauge(_embeddings(200, seed=3, rest=0.15)).mean().item() > 1
    assert gauge(_embeddings(200, seed=3, rest=9)).max().item() == 4


def test_a_point_within_the_directions_has_a_finite_strangeness(gauge: Strangeness) -> None:
    assert gauge(gauge.mean[None]).tolist() == [-4]


def test_directions_are_exact_in_half_precision(gauge: Strangeness) -> None:
    assert torch.equal(gauge.directions, gauge.directions.half().float())


@pytest.mark.slow
def test_the_exported_network_doubts_as_the_trained_one(table: FormTable, tmp_path: Path) -> None:
    torch.manual_seed(0)
    net = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True)
    torch.nn.init.normal_(net.forms.weight, std=0.3)
    net = round_to_half(net)
    views = torch.from_numpy(
        np.stack([np.asarray(draw(form, 1, width=64, height=64)) for form in ITEMS])
    )
    images = views.permute(0, 3, 1, 2).float() / 127.5 - 1
    with torch.inference_mode():
        embeddings = net.embed(images).clone()
    learned = embeddings + embeddings.std() * torch.randn(40, *embeddings.shape)
    scales = torch.linspace(0.1, 1, len(embeddings))[:, None]
    held_out = embeddings + scales * embeddings.std() * torch.randn(embeddings.shape)
    strangeness = fit_strangeness(learned.flatten(0, 1), held_out)
    plain, doubting = Served(net), Served(net, Doubt(strangeness, 0.4))
    path = tmp_path / "network.onnx"
    export_onnx(doubting, path, size=64)
    assert largest_difference(doubting, path, views[:, None]) < PARITY
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    logits, said = session.run(["form_logits", "embedding"], {"image": images.numpy()})
    with torch.inference_mode():
        expected = plain(images)[0] / torch.exp(0.4 * strangeness(embeddings))[:, None]
    np.testing.assert_allclose(logits, expected.numpy(), rtol=1e-3, atol=1e-3)
    np.testing.assert_allclose(said, embeddings.numpy(), atol=1e-3)
    assert largest_difference(plain, path, views[:, None]) > PARITY
