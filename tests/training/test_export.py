"""ONNX: the same answers as torch, half-precision storage without a changed bit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnx
import onnxruntime
import pytest
import torch
from onnx import TensorProto

from tests.training.scenes import ITEMS, draw
from training.bundle.export import PARITY, Served, export_onnx, largest_difference, round_to_half
from training.network import SortNet
from training.pictures.forms import FormTable

pytestmark = [
    pytest.mark.slow,
]
SIZE = 64


@pytest.fixture(scope="module")
def net(table: FormTable) -> SortNet:
    """Return a network whose heads say something, rounded as for shipping."""
    torch.manual_seed(0)
    made = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True)
    torch.nn.init.normal_(made.forms.weight, std=0.3)
    return round_to_half(made)


@pytest.fixture(scope="module")
def exported(net: SortNet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the network as an ONNX file."""
    path = tmp_path_factory.mktemp("exported") / "network.onnx"
    export_onnx(Served(net), path, size=SIZE)
    return path


def _views() -> torch.Tensor:
    pictures = [np.asarray(draw(form, 1, width=SIZE, height=SIZE)) for form in ITEMS]
    return torch.from_numpy(np.stack(pictures))[:, None]  # (n, 1, S, S, 3)


def test_rounding_keeps_vectors_and_makes_matrices_exact_in_half() -> None:
    torch.manual_seed(0)
    made = SortNet("lite0", 5, 3, pretrained=True)
    rounded = round_to_half(made)
    for (name, before), after in zip(made.named_parameters(), rounded.parameters(), strict=True):
        if before.ndim < 2:
            assert torch.equal(before, after), name
        else:
            assert torch.equal(after, after.half().float()), name
            torch.testing.assert_close(after, before, rtol=1e-3, atol=1e-6)


def test_onnx_and_torch_agree_on_pictures(net: SortNet, exported: Path) -> None:
    assert largest_difference(Served(net), exported, _views()) < PARITY == 1e-4


def test_batches_of_any_size_and_an_embedding(net: SortNet, exported: Path) -> None:
    session = onnxruntime.InferenceSession(exported, providers=["CPUExecutionProvider"])
    for n in (1, 5):
        images = np.random.default_rng(n).uniform(-1, 1, (n, 3, SIZE, SIZE)).astype(np.float32)
        logits, embedding = session.run(["form_logits", "embedding"], {"image": images})
        assert logits.shape == (n, net.forms.out_features)
        with torch.inference_mode():
            ours = net.embed(torch.from_numpy(images)).numpy()
        np.testing.assert_allclose(embedding, ours, atol=1e-3)


def test_stored_matrices_are_half_and_unchanged(net: SortNet, exported: Path) -> None:
    stored = {
        tensor.name: onnx.numpy_helper.to_array(tensor)
        for tensor in onnx.load(exported).graph.initializer
    }
    large = {
        name: value
        for name, value in stored.items()
        if value.ndim >= 2 and not name.endswith("_factor")
    }
    assert {value.dtype for value in large.values()} == {np.dtype(np.float16)}
    head = large["net.forms.weight_half"]
    np.testing.assert_array_equal(head.astype(np.float32), net.forms.weight.detach().numpy())
    parameters = sum(p.numel() for p in net.parameters())
    assert exported.stat().st_size < 2.5 * parameters


def test_the_file_names_no_folder_of_the_machine_that_made_it(exported: Path) -> None:
    content = exported.read_bytes()
    assert b".py" not in content
    assert str(Path(torch.__file__).parent).encode() not in content


def test_every_halved_matrix_is_cast_back_to_single_precision(exported: Path) -> None:
    graph = onnx.load(exported).graph
    casts = {node.input[0]: node for node in graph.node if node.op_type == "Cast"}
    for tensor in graph.initializer:
        if tensor.data_type == TensorProto.FLOAT16:
            (to,) = casts[tensor.name].attribute
            assert to.i == TensorProto.FLOAT


def test_weights_that_half_precision_can_not_hold_are_refused(
    net: SortNet, tmp_path: Path, table: FormTable
) -> None:
    inexact = SortNet("lite0", len(table.forms), len(table.materials), pretrained=False)
    inexact.load_state_dict(net.state_dict())
    with torch.no_grad():
        inexact.forms.weight[0, 0] = 1 / 3
    with pytest.raises(ValueError, match=r"forms\.weight is not exact in half precision"):
        export_onnx(Served(inexact), tmp_path / "network.onnx", size=SIZE)
    assert not (tmp_path / "network.onnx").exists()
