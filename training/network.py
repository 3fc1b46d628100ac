"""The network: a backbone with a head for forms, one for materials and a memory."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import torch
from timm.models import group_parameters
from torch import nn

from training.backbones import open_backbone, pretrained_state, statistics
from training.recipe import is_lite


@dataclass(frozen=True, slots=True)
class Outputs:
    """What the network says of a batch."""

    forms: torch.Tensor  # (B, F) logits
    materials: torch.Tensor  # (B, M) logits
    kept: (
        torch.Tensor
    )  # (B, K) logits of the classes of pretraining; the embedding if there are none
    embedding: torch.Tensor  # (B, D)


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

    mean: torch.Tensor
    deviation: torch.Tensor

    def __init__(
        self,
        backbone: str,
        forms: int,
        materials: int,
        *,
        style: float = 0.0,
        pretrained: bool,
        size: int | None = None,
    ) -> None:
        super().__init__()
        self.backbone = open_backbone(backbone, size, pretrained=pretrained)
        self.size = size
        self.own_statistics = not is_lite(backbone)
        if self.own_statistics:
            mean, deviation = statistics(self.backbone)
            self.register_buffer("mean", mean, persistent=False)
            self.register_buffer("deviation", deviation, persistent=False)
        else:
            for stage in (1, 2):
                self.backbone.blocks[stage].append(StyleMix(style))
        width = self.backbone.head_hidden_size
        self.drop = nn.Dropout(0.2)
        self.forms = nn.Linear(width, forms)
        self.materials = nn.Linear(width, materials)
        for head in (self.forms, self.materials):
            nn.init.zeros_(head.weight)
            nn.init.zeros_(head.bias)

    def embed(self, images: torch.Tensor) -> torch.Tensor:
        """Return pooled features (B, D) of pictures scaled to -1..1."""
        if self.own_statistics:
            images = (images * 0.5 + 0.5 - self.mean) / self.deviation
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
            kept=self.backbone.get_classifier()(dropped),
            embedding=embedding,
        )

    def head_parameters(self) -> list[nn.Parameter]:
        """Parameters which start from nothing and learn fastest."""
        return [*self.forms.parameters(), *self.materials.parameters()]

    def body_stages(self) -> list[list[nn.Parameter]]:
        """Parameters which start from pretraining, by stage, from the last to the first."""
        named = dict(self.backbone.named_parameters())
        stages = group_parameters(self.backbone, self.backbone.group_matcher(coarse=True))
        return [[named[name] for name in stages[depth]] for depth in sorted(stages, reverse=True)]


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
    for name, before in pretrained_state(backbone, net.size).items():
        if before.is_floating_point():
            trained[name].mul_(share).add_(before.to(trained[name]), alpha=1 - share)
    return net
