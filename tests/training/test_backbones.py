"""Other backbones of timm: own weights from a file, own size and colours, and as a teacher."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnxruntime
import pytest
import timm
import torch

from classifier.errors import DataFileError
from tests.training.conftest import CPU
from training.backbones import PretrainedWeightsError, open_backbone, pretrained_state
from training.bundle.export import Served, export_onnx, round_to_half
from training.learning.train import train_network
from training.network import SortNet, blend_backbone
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.recipe import Recipe, find_recipe

VIT, SIZE = "vit_tiny_patch16_224", 64


@pytest.fixture(scope="module")
def weights(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the backbone with random weights in a file, as its authors would publish it."""
    torch.manual_seed(0)
    file = tmp_path_factory.mktemp("weights") / "vit.pth"
    torch.save(timm.create_model(VIT).state_dict(), file)
    return f"{VIT}@{file}"


def test_weights_come_from_the_file_and_positions_fit_the_size(weights: str) -> None:
    kept = torch.load(weights.partition("@")[2], weights_only=True)
    state = pretrained_state(weights, SIZE)
    assert torch.equal(state["patch_embed.proj.weight"], kept["patch_embed.proj.weight"])
    assert kept["pos_embed"].shape[1] == 14 * 14 + 1
    assert state["pos_embed"].shape[1] == (SIZE // 16) ** 2 + 1


def test_colours_are_scaled_as_the_backbone_learned_them(weights: str) -> None:
    net = SortNet(weights, 3, 2, pretrained=True, size=SIZE).eval()
    images = torch.rand(2, 3, SIZE, SIZE)
    mean, deviation = (
        torch.tensor(net.backbone.pretrained_cfg[key]).view(3, 1, 1) for key in ("mean", "std")
    )
    with torch.inference_mode():
        features = net.backbone.forward_features((images - mean) / deviation)
        expected = net.backbone.forward_head(features, pre_logits=True)
        assert torch.allclose(net.embed(images * 2 - 1), expected, atol=1e-5)


def test_networks_without_a_size_of_their_own_take_any() -> None:
    net = open_backbone("convnext_atto", SIZE, pretrained=False)
    assert net(torch.zeros(1, 3, SIZE, SIZE)).shape == (1, 1000)


@pytest.mark.parametrize("backbone", ["no_such_network", f"{VIT}@nowhere.pth"])
def test_what_cannot_be_had_is_refused_with_what_to_do(backbone: str) -> None:
    with pytest.raises(PretrainedWeightsError, match="NAME@FILE"):
        open_backbone(backbone, SIZE, pretrained=True)


@pytest.mark.slow
def test_a_vision_transformer_trains_teaches_and_is_exported(
    weights: str, table: FormTable, canvases: Canvases, labels: Labels, tmp_path: Path
) -> None:
    recipe = Recipe(
        backbone=weights, size=SIZE, batch=4, epochs=1, layer_rate=0.75, blend=0.5, views=(1.0,)
    )
    large = train_network(recipe, table, canvases, labels, device=CPU)
    large = round_to_half(blend_backbone(large, weights, recipe.blend))
    export_onnx(Served(large), tmp_path / "large.onnx", size=SIZE)
    images = torch.rand(2, 3, SIZE, SIZE) * 2 - 1
    session = onnxruntime.InferenceSession(tmp_path / "large.onnx")
    (logits,) = session.run(["form_logits"], {"image": images.numpy()})
    with torch.inference_mode():
        assert np.abs(logits - large(images).forms.numpy()).max() < 1e-3
    small = Recipe(size=96, batch=4, epochs=1)
    taught = train_network(small, table, canvases, labels, device=CPU, teacher=large)
    assert taught.forms.bias.abs().sum() > 0


def test_a_recipe_of_another_backbone_mixes_no_styles() -> None:
    with pytest.raises(DataFileError, match="style"):
        Recipe(backbone="convnext_atto", style=0.5)
    assert find_recipe("household_taught").teacher == find_recipe("large").name
