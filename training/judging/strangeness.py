"""How far a picture lies from those that a network learned from, and so how much to trust it.

Features of training pictures fill few directions. On another floor more of a picture's features
lies outside them, and answers are right less often than they sound: a temperature that grows with
this rest keeps the probabilities honest on known and on unknown floors.
"""

from __future__ import annotations

import torch
from torch import nn

_DIRECTIONS = 128  # principal directions of the training pictures; 32 to 256 did alike in trials
_ROWS_A_DIRECTION = 4  # fewer embeddings than this can't show a direction
_LEAST_REST = 1e-6  # keeps the logarithm finite where nothing is left
_MOST = 4.0  # deviations; beyond them a picture is strange, and how strange says nothing more


class Strangeness(nn.Module):
    """Standardised log of the squared norm of what the principal directions leave of an embedding.

    0 is as strange as an unseen picture of a known floor is on average, 1 a deviation more; never
    beyond 4 of them either way.

    References
    ----------
    Wang et al., ViM: out-of-distribution with virtual-logit matching, CVPR 2022 (the residual);
    Joy et al., Sample-dependent adaptive temperature scaling, AAAI 2023 (its use).
    """

    mean: torch.Tensor  # (D,)
    directions: torch.Tensor  # (K, D), exact in half precision
    level: torch.Tensor  # (2,): mean and deviation on held-out pictures of known floors

    def __init__(self, mean: torch.Tensor, directions: torch.Tensor, level: torch.Tensor) -> None:
        super().__init__()
        self.register_buffer("mean", mean)
        self.register_buffer("directions", directions)
        self.register_buffer("level", level)

    def forward(self, embeddings: torch.Tensor) -> torch.Tensor:
        """Map embeddings (n, D) to (n,)."""
        strangeness = (self.log_rest(embeddings) - self.level[0]) / self.level[1]
        most = torch.full((), _MOST)
        return torch.minimum(torch.maximum(strangeness, -most), most)

    def log_rest(self, embeddings: torch.Tensor) -> torch.Tensor:
        """Log of the squared norm outside the principal directions: (n, D) to (n,)."""
        centred = embeddings - self.mean
        rest = centred - centred @ self.directions.T @ self.directions
        least = torch.full((), _LEAST_REST)
        return torch.log(torch.maximum(rest.square().sum(dim=1), least))


class Doubt(nn.Module):
    """Factor of the temperature of each view: `exp(slope * strangeness)`."""

    def __init__(self, strangeness: Strangeness, slope: float) -> None:
        super().__init__()
        self.strangeness = strangeness
        self.slope = slope

    def forward(self, embeddings: torch.Tensor) -> torch.Tensor:
        """Map embeddings (n, D) to (n,), above 0."""
        return torch.exp(self.slope * self.strangeness(embeddings))


def fit_strangeness(learned: torch.Tensor, held_out: torch.Tensor) -> Strangeness:
    """Find the principal directions of training pictures and the level of held-out ones.

    Parameters
    ----------
    learned, held_out
        Embeddings (n, D) and (m, D) of views of pictures, m at least 2, the second of known floors
        too.
    """
    mean = learned.mean(dim=0)
    count = min(_DIRECTIONS, max(1, len(learned) // _ROWS_A_DIRECTION), learned.shape[1] - 1)
    _, _, directions = torch.linalg.svd(learned - mean, full_matrices=False)
    # Rounded before the level is taken, since that is how they are stored.
    gauge = Strangeness(mean, directions[:count].half().float(), torch.tensor([0.0, 1.0]))
    rest = gauge.log_rest(held_out)
    gauge.level.copy_(torch.stack([rest.mean(), rest.std().clamp(min=1e-3)]))
    return gauge
