"""What a trained network answers on pictures as the product would show them to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from classifier.inference.preprocess import Preprocessing
from training.images import load_views
from training.network import Outputs, SortNet

_BATCH = 64  # pictures


@dataclass(frozen=True, slots=True)
class Answers:
    """Raw outputs for n pictures and v views each."""

    forms: NDArray[np.float32]  # (n, v, F) logits
    materials: NDArray[np.float32]  # (n, v, M) logits
    kept: NDArray[np.float32]  # (n, v, 1000) logits of pretraining's classes


def answer(
    net: SortNet,
    paths: Sequence[Path],
    preprocessing: Preprocessing,
    *,
    device: torch.device,
    workers: int = 2,
) -> Answers:
    """Run the network over files, decoded and cut exactly as in use."""
    views = load_views(paths, preprocessing, workers=workers)  # (n, v, 3, S, S)
    return answer_views(net, views, device=device)


def answer_views(net: SortNet, views: torch.Tensor, *, device: torch.device) -> Answers:
    """Run the network over cut views, uint8 of shape (n, v, S, S, 3)."""
    n, v = views.shape[:2]
    parts: list[Outputs] = []
    net.eval()
    with torch.inference_mode():
        for start in range(0, n, _BATCH):
            batch = views[start : start + _BATCH].to(device).flatten(0, 1)
            parts.append(net(batch.permute(0, 3, 1, 2).float() / 127.5 - 1))
    return Answers(
        *(
            torch.cat([getattr(part, name).float().cpu() for part in parts]).view(n, v, -1).numpy()
            for name in ("forms", "materials", "kept")
        )
    )
