"""A trained network as a bundle: ONNX with half-precision storage, description, card."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
import torch
from torch import nn

from training.bundle.fold import folded
from training.bundle.half import stored_in_half
from training.judging.strangeness import Doubt
from training.network import SortNet

NETWORK_FILE = "network.onnx"
PARITY = 1e-4  # largest difference of probabilities between torch and ONNX


class Served(nn.Module):
    """What the product runs: form logits and the embedding that learning in place uses."""

    def __init__(self, net: SortNet, doubt: Doubt | None = None) -> None:
        super().__init__()
        self.net = net
        self.doubt = doubt

    def forward(self, image: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Run (n, 3, S, S) and return (n, F) and (n, D)."""
        embedding = self.net.embed(image)
        logits = self.net.forms(embedding)
        if self.doubt is not None:
            logits = logits / self.doubt(embedding)[:, None]
        return logits, embedding


def round_to_half(net: SortNet) -> SortNet:
    """Copy a network with its weight matrices rounded to half precision.

    Everything reported is measured on the rounded network, since that is the one that ships; it
    halves the file and computes in single precision all the same.
    """
    net = copy.deepcopy(net).eval().float().cpu()
    with torch.no_grad():
        for parameter in net.parameters():
            if parameter.ndim >= 2:
                parameter.copy_(parameter.half().float())
    return net


def export_onnx(served: Served, path: Path, *, size: int) -> None:
    """Write a network that `round_to_half` has prepared.

    Raises
    ------
    ValueError
        A weight that half precision does not hold exactly.
    """
    example = torch.zeros(2, 3, size, size)
    program = torch.onnx.export(
        served.eval(),
        (example,),
        dynamo=True,
        optimize=False,
        opset_version=18,
        input_names=["image"],
        output_names=["form_logits", "embedding"],
        dynamic_shapes={"image": {0: torch.export.Dim("n", min=1, max=4096)}},
        verbose=False,
    )
    if program is None:  # only for the older exporter, which writes the file itself
        raise RuntimeError("torch returned no ONNX program")
    onnx.save(stored_in_half(folded(program.model_proto)), path)


def largest_difference(served: Served, path: Path, views: torch.Tensor) -> float:
    """Largest difference of form probabilities between torch and the ONNX file.

    `views` is uint8 of shape (n, v, S, S, 3): real pictures, cut as in use.
    """
    images = views.flatten(0, 1).permute(0, 3, 1, 2).float() / 127.5 - 1
    with torch.inference_mode():
        ours = served.eval()(images)[0].softmax(dim=1).numpy()
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    (logits,) = session.run(["form_logits"], {"image": images.numpy()})
    raised = np.exp(logits - logits.max(axis=1, keepdims=True))
    return float(np.abs(raised / raised.sum(axis=1, keepdims=True) - ours).max())


def bundle_description(
    *,
    name: str,
    version: str,
    created: str,
    preprocessing: dict[str, Any],
    forms: Sequence[dict[str, Any]],
    temperature: float,
    thresholds: dict[str, float],
    training: dict[str, Any],
    evaluation: dict[str, Any],
) -> dict[str, Any]:
    """Content of bundle.json as `classifier.inference.bundle.write_manifest` takes it."""
    return {
        "name": name,
        "version": version,
        "created": created,
        "network": {
            "file": NETWORK_FILE,
            "input": "image",
            "outputs": {"form_logits": "form_logits", "embedding": "embedding"},
        },
        "preprocessing": preprocessing,
        "forms": list(forms),
        "temperature": temperature,
        "thresholds": thresholds,
        "training": training,
        "evaluation": evaluation,
        "card": "CARD.md",
    }
