"""A model bundle made in code: it tells forms by the mean colour of the picture, and nothing else.

`write_tiny_bundle(directory)` makes the bundle; `photo_of("drink_can")` makes a JPEG that it takes
for a drink can; `unsure_photo()` makes one that it can't tell. It loads and runs like a trained
bundle, so that tests of the store, the pages and the browser need no training.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import onnx
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper
from PIL import Image

from classifier.inference.manifest import write_manifest

NAME = "tiny"
VERSION = "0.1.0"
SIZE = 32
EMBEDDING_SIZE = 8
SHARPNESS = 12.0  # logit per squared distance in colour; a picture of the colour gets p > 0.9

# form: (mean colour, categories); the colours are far apart so that JPEG changes no answer
FORMS: dict[str, tuple[tuple[int, int, int], dict[str, float]]] = {
    "drink_can": ((225, 25, 25), {"aluminium_cans": 0.9, "steel_cans": 0.1}),
    "food_can": ((150, 150, 150), {"steel_cans": 0.95, "aluminium_cans": 0.05}),
    "corrugated_cardboard": ((160, 105, 50), {"corrugated_cardboard": 1.0}),
    "printed_paper": ((245, 245, 245), {"mixed_printed_paper": 1.0}),
    "coated_paper": ((225, 215, 150), {"coated_paper": 0.7, "mixed_printed_paper": 0.3}),
    "beverage_carton": ((250, 160, 190), {"cartons": 1.0}),
    "clear_plastic_bottle": ((120, 190, 245), {"pet_bottles": 1.0}),
    "opaque_plastic_bottle": ((30, 60, 225), {"hdpe_bottles": 0.9, "rigid_plastics": 0.1}),
    "plastic_tub_tray": ((240, 225, 40), {"rigid_plastics": 1.0}),
    "plastic_film": ((230, 50, 225), {"plastic_film": 1.0}),
    "glass_bottle": ((10, 95, 40), {"glass_bottles_jars": 1.0}),
    "broken_glass": ((30, 230, 230), {"broken_glass": 1.0}),
    "food": ((250, 135, 20), {"food": 1.0}),
    "garden": ((70, 225, 60), {"garden": 1.0}),
    "textile": ((25, 20, 100), {"textiles": 1.0}),
    "battery_electronics": ((120, 25, 150), {"batteries": 0.5, "electronics": 0.5}),
    "non_item": ((5, 5, 5), {}),
}


def write_tiny_bundle(directory: Path, **changes: Any) -> Path:
    """Make the bundle in `directory` (created if need be); `changes` replace manifest keys."""
    directory.mkdir(parents=True, exist_ok=True)
    (directory / "network.onnx").write_bytes(_network().SerializeToString())
    (directory / "CARD.md").write_text("# tiny\n\nTells colours apart, for tests.\n", "utf-8")
    write_manifest(directory, {**manifest_content(), **changes})
    return directory


def manifest_content() -> dict[str, Any]:
    """Return what bundle.json holds, less the format and the hash."""
    return {
        "name": NAME,
        "version": VERSION,
        "created": "2026-01-02",
        "network": {
            "file": "network.onnx",
            "input": "image",
            "outputs": {"form_logits": "form_logits", "embedding": "embedding"},
        },
        "preprocessing": {
            "size": SIZE,
            "mean": [0.5, 0.5, 0.5],
            "std": [0.5, 0.5, 0.5],
            "views": [1.0],
            "interpolation": "bicubic",
        },
        "forms": [
            {"id": form, "name": form.replace("_", " ").capitalize(), "categories": categories}
            for form, (_, categories) in FORMS.items()
        ],
        "temperature": 1.0,
        "thresholds": {"route": 0.8, "stop": 0.25, "unsure": 0.35, "non_item": 0.5},
        "training": {
            "command": "tests.tiny_bundle.write_tiny_bundle",
            "recipe": "colours written by hand",
            "sources": [{"name": "none", "licence": "none", "pictures": 0}],
        },
        "evaluation": {},
        "card": "CARD.md",
    }


def photo_of(form: str, *, width: int = 64, height: int = 48, seed: int = 0) -> bytes:
    """Return a JPEG which the bundle takes for `form`; `seed` varies its grain, not its answer."""
    return photo_of_colour(FORMS[form][0], width=width, height=height, seed=seed)


def unsure_photo(*, width: int = 64, height: int = 48) -> bytes:
    """Return a JPEG of the colour for which the bundle's surest form has the least probability."""
    steps = np.linspace(0, 255, 18)
    colours = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    vaguest = colours[expected_probabilities(colours).max(axis=1).argmin()]
    return photo_of_colour(tuple(vaguest), width=width, height=height)


def photo_of_colour(
    colour: Sequence[float], *, width: int = 64, height: int = 48, seed: int = 0
) -> bytes:
    """Return a JPEG of one colour (0..255) with a fine grain."""
    grain = np.random.default_rng(seed).uniform(-4, 4, (height, width, 1))
    pixels = np.clip(np.rint(np.asarray(colour) + grain), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=95)
    return out.getvalue()


def expected_probabilities(colours: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what the bundle should answer, from its definition: (n, 3) in 0..255 → (n, F)."""
    prototypes = np.array([colour for colour, _ in FORMS.values()], dtype=np.float64)
    distances = ((colours[:, None, :] - prototypes) / 127.5) ** 2  # (n, F, 3)
    raised = np.exp(-SHARPNESS * distances.sum(axis=2))
    return np.asarray(raised / raised.sum(axis=1, keepdims=True), dtype=np.float64)


def _network() -> onnx.ModelProto:
    """Build: mean colour x → logits -k|x - c|² less the common term, and tanh(Wx) → embedding."""
    colours = np.array([colour for colour, _ in FORMS.values()], dtype=np.float32) / 127.5 - 1.0
    mixing = np.random.default_rng(7).normal(size=(EMBEDDING_SIZE, 3)).astype(np.float32)
    weights = {
        "form_weight": 2 * SHARPNESS * colours,  # (F, 3)
        "form_bias": -SHARPNESS * (colours**2).sum(axis=1),  # (F,)
        "embedding_weight": mixing,  # (D, 3)
    }
    nodes = [
        helper.make_node("GlobalAveragePool", ["image"], ["pooled"]),
        helper.make_node("Flatten", ["pooled"], ["colour"]),
        helper.make_node("Gemm", ["colour", "form_weight", "form_bias"], ["form_logits"], transB=1),
        helper.make_node("Gemm", ["colour", "embedding_weight"], ["mixed"], transB=1),
        helper.make_node("Tanh", ["mixed"], ["embedding"]),
    ]
    graph = helper.make_graph(
        nodes,
        "tiny",
        [helper.make_tensor_value_info("image", TensorProto.FLOAT, ["n", 3, SIZE, SIZE])],
        [
            helper.make_tensor_value_info("form_logits", TensorProto.FLOAT, ["n", len(FORMS)]),
            helper.make_tensor_value_info("embedding", TensorProto.FLOAT, ["n", EMBEDDING_SIZE]),
        ],
        [numpy_helper.from_array(value, name) for name, value in weights.items()],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)
    onnx.checker.check_model(model)
    return model
