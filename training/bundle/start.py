"""The bundle that a training starts from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import onnx
import torch
from onnx import numpy_helper

from classifier.errors import DataFileError
from classifier.inference.bundle import find_bundle, load_bundle
from training.bundle.export import NETWORK_FILE

_PREFIX = "net.backbone."
_HALF = "_half"


@dataclass(frozen=True, slots=True)
class Start:
    """A bundle whose backbone is taken over, with the pictures that it learned from."""

    title: str
    state: dict[str, torch.Tensor]
    sources: list[dict[str, Any]]


def load_start(name: str) -> Start:
    """Read the backbone of a bundle.

    Raises
    ------
    BundleError
        No such bundle, or a damaged one.
    DataFileError
        A bundle that was not made by this project's training.
    """
    directory = find_bundle(name)
    manifest = load_bundle(directory).manifest
    stored = onnx.load(directory / NETWORK_FILE).graph.initializer
    state = {
        each.name.removeprefix(_PREFIX).removesuffix(_HALF): torch.from_numpy(
            numpy_helper.to_array(each).copy()
        ).float()
        for each in stored
        if each.name.startswith(_PREFIX)
    }
    if not state:
        raise DataFileError(
            f"the network of {manifest.name} was not made by `tallytare train`, so that its "
            "backbone can't be taken over; start from household, or leave --start out"
        )
    sources = [
        {"name": each.name, "licence": each.licence, "pictures": each.pictures}
        for each in manifest.sources
    ]
    return Start(f"{manifest.name} {manifest.version}", state, sources)


def with_start(sources: Sequence[dict[str, Any]], start: Start | None) -> list[dict[str, Any]]:
    """Sources of the head with those that taught the backbone, each named once."""
    named = {each["name"] for each in sources}
    taught = start.sources if start else []
    return [*sources, *(each for each in taught if each["name"] not in named)]
