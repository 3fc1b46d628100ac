"""What a trained network answers on pictures as the product would show them to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from classifier.inference.preprocess import Preprocessing
from training.network import Outputs, SortNet
from training.pictures.images import load_views
from training.pictures.notes import bar

_BATCH = 64  # pictures
_FEW = 4  # pictures whose features a laptop's cache can hold while they are computed


@dataclass(frozen=True, slots=True)
class Answers:
    """Raw outputs for n pictures and v views each."""

    forms: NDArray[np.float32]  # (n, v, F) logits
    embedding: NDArray[np.float32]  # (n, v, D)


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


def embed_views(net: SortNet, views: torch.Tensor, *, device: torch.device) -> torch.Tensor:
    """Features of cut views: uint8 of shape (n, v, S, S, 3) to float32 (n, v, D) on the CPU."""
    starts = range(0, len(views), _FEW)
    rows = [
        embed(net, _scaled(views[start : start + _FEW]), device=device)
        for start in bar(starts, len(starts), "features")
    ]
    return torch.cat(rows).view(*views.shape[:2], -1)


def embed(net: SortNet, images: torch.Tensor, *, device: torch.device) -> torch.Tensor:
    """Features (n, D) of pictures (n, 3, S, S) scaled to -1..1."""
    net.eval()
    with torch.inference_mode():
        features = net.embed(images.to(device)).float().cpu()
    return features.clone()  # outside inference mode, so that a head can be fitted on it


def _scaled(views: torch.Tensor) -> torch.Tensor:
    """Cut views (n, v, S, S, 3) as the network takes them, (n * v, 3, S, S)."""
    return views.flatten(0, 1).permute(0, 3, 1, 2).float() / 127.5 - 1


def answer_views(net: SortNet, views: torch.Tensor, *, device: torch.device) -> Answers:
    """Run the network over cut views, uint8 of shape (n, v, S, S, 3)."""
    n, v = views.shape[:2]
    batch = _FEW if device.type == "cpu" else _BATCH
    parts: list[Outputs] = []
    net.eval()
    with torch.inference_mode():
        starts = range(0, n, batch)
        for start in bar(starts, len(starts), "answers"):
            parts.append(net(_scaled(views[start : start + batch].to(device))))
    return Answers(
        *(
            torch.cat([getattr(part, name).float().cpu() for part in parts]).view(n, v, -1).numpy()
            for name in ("forms", "embedding")
        )
    )
