"""Try a bundle's network in 8-bit integers: is it right as often, and how much faster is it?

`python -m training.trials.quantize models/household --data DATA --out FOLDER` quantises statically
(per-channel weights, 8-bit activations) with ranges seen on pictures of the train split only, asks
both networks about the test split, whose groups trained and calibrated nothing, and compares them
picture by picture. The 8-bit bundle is written if no figure is more than half a point worse
(`--anyway` writes it all the same); the report is written in any case.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
import torch
from numpy.typing import NDArray
from onnxruntime.quantization import (
    CalibrationDataReader,
    CalibrationMethod,
    QuantFormat,
    QuantType,
    quantize_static,
)

from classifier.errors import TallytareError
from classifier.estimators.paired import paired_accuracy
from classifier.inference.bundle import Bundle, find_bundle, load_bundle
from classifier.inference.manifest import MANIFEST_NAME, write_manifest
from classifier.inference.preprocess import normalised
from classifier.rules.categories import load_categories
from training.bundle.fold import folded, in_single
from training.judging.card import markdown_table
from training.judging.evaluate import route_matrix, score_by
from training.judging.judge import Asked, ask, find_programme
from training.learning.levels import table_of
from training.pictures.dataset import load_dataset
from training.pictures.images import load_views
from training.pictures.manifest import Example, read_examples

TOLERANCE = 0.005  # half a point
_FIGURES = ("form_top1", "form_top3", "material_top1", "route", "ece", "accuracy_at_70_coverage")
_PROGRAMME = "alder_valley"
_PICTURES = 128  # for the ranges of activations
_SEED = 0


@dataclass(frozen=True, slots=True)
class Verdict:
    """Both networks on the same pictures: figures by source, paired tests, seconds a view."""

    figures: list[dict[str, Any]]
    paired: dict[str, Any]
    seconds: tuple[float, float]

    @property
    def worse(self) -> list[str]:
        """Figures that 8 bits lose more than the tolerance of."""
        return [
            f"{line['source']}: {line['figure']} {line['single']:.3f} to {line['eight']:.3f}"
            for line in self.figures
            if line["loss"] > TOLERANCE + 1e-9
        ]


class _Views(CalibrationDataReader):  # type: ignore[misc]  # onnxruntime has no types
    def __init__(self, name: str, views: Iterator[NDArray[np.float32]]) -> None:
        self._feeds = ({name: each} for each in views)

    def get_next(self) -> dict[str, NDArray[np.float32]] | None:
        return next(self._feeds, None)


def eight_bits(bundle: Bundle, pictures: Sequence[Path], out: Path) -> None:
    """Write the network of a bundle with 8-bit convolutions; `pictures` show the ranges."""
    manifest = bundle.manifest
    views = load_views(list(pictures), bundle.preprocessing).numpy()
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "plain.onnx"
        _simplify(bundle.path / manifest.network.file, plain)
        quantize_static(
            plain,
            out,
            _Views(
                manifest.network.input,
                (normalised(each, bundle.preprocessing) for each in views),
            ),
            quant_format=QuantFormat.QDQ,
            per_channel=True,
            weight_type=QuantType.QInt8,
            activation_type=QuantType.QUInt8,
            calibrate_method=CalibrationMethod.MinMax,
            # Without the head, so that embeddings and logits keep their precision.
            op_types_to_quantize=["Conv", "Add", "Clip"],
        )


def _simplify(network: Path, out: Path) -> None:
    """Have the runtime fold what it can; a padding left over would stay in single precision."""
    whole = out.with_suffix(".whole.onnx")
    onnx.save(folded(in_single(onnx.load(network))), whole)
    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    options.optimized_model_filepath = str(out)
    onnxruntime.InferenceSession(whole, options, providers=["CPUExecutionProvider"])


def compare(examples: Sequence[Example], single: Bundle, eight: Bundle) -> Verdict:
    """Put the same pictures to both."""
    first, second = ask(examples, single), ask(examples, eight)
    categories = load_categories()
    routes, _ = route_matrix(first.table, categories, find_programme(_PROGRAMME, categories))
    figures = []
    scores = [score_by(each.sources, each.scored, each.table, routes) for each in (first, second)]
    for source in scores[0]:
        for figure in _FIGURES:
            before, after = (_value(score[source][figure]) for score in scores)
            loss = after - before if figure == "ece" else before - after
            figures.append(
                {
                    "source": source,
                    "figure": figure,
                    "single": before,
                    "eight": after,
                    "loss": round(loss, 4),
                }
            )
    paired = {
        "form": _paired([_right_forms(each) for each in (first, second)], first),
        "route": _paired([_right_routes(each, routes) for each in (first, second)], first),
    }
    return Verdict(figures, paired, _seconds(single, eight))


def _value(figure: Any) -> float:
    return float(figure["value"] if isinstance(figure, dict) else figure)


def _right_forms(asked: Asked) -> NDArray[np.bool_]:
    return np.asarray(asked.scored.probabilities.argmax(axis=1) == asked.scored.labels)


def _right_routes(asked: Asked, routes: NDArray[np.float64]) -> NDArray[np.bool_]:
    guessed = (asked.scored.probabilities @ routes).argmax(axis=1)
    return np.asarray(guessed == routes[asked.scored.labels].argmax(axis=1))


def _paired(right: Sequence[NDArray[np.bool_]], asked: Asked) -> dict[str, Any]:
    found = paired_accuracy(right[0], right[1], asked.scored.groups)
    return {
        "pictures": len(right[0]),
        "groups": len(set(asked.scored.groups)),
        "difference": round(found.difference.value, 4),
        "low": round(found.difference.low, 4),
        "high": round(found.difference.high, 4),
        "only_single": found.only_first,
        "only_eight": found.only_second,
        "p_value": found.p_value,
    }


def _seconds(single: Bundle, eight: Bundle, *, rounds: int = 30) -> tuple[float, float]:
    """Least seconds a view on one thread, the two in turn so that both meet the same machine."""
    size = single.preprocessing.size
    view = np.random.default_rng(0).uniform(-1, 1, (1, 3, size, size)).astype(np.float32)
    best = [float("inf"), float("inf")]
    for _ in range(rounds):
        for which, bundle in enumerate((single, eight)):
            network = bundle.manifest.network
            began = time.perf_counter()
            bundle.session.run([network.form_logits], {network.input: view})
            best[which] = min(best[which], time.perf_counter() - began)
    return best[0], best[1]


def _bundle_beside(bundle: Bundle, pictures: Sequence[Path], out: Path) -> Bundle:
    """Write a whole bundle with the 8-bit network."""
    shutil.copytree(bundle.path, out, dirs_exist_ok=True)
    eight_bits(bundle, pictures, out / bundle.manifest.network.file)
    content = json.loads((bundle.path / MANIFEST_NAME).read_text(encoding="utf-8"))
    content["name"] = f"{bundle.name}_int8"
    write_manifest(out, {key: value for key, value in content.items() if key != "format"})
    return load_bundle(out)


def _splits(data: Path, bundle: Bundle) -> tuple[list[Example], list[Example]]:
    """Return pictures of the train and the test split, as a run would draw them.

    Where the manifest gives every picture a split, the search for groups (minutes) is left out.
    """
    sources = [each.name for each in bundle.sources]
    found = read_examples(data)
    splits = [example.split for example in found]
    if not all(splits):
        loaded = load_dataset(
            found,
            table_of(bundle),
            device=torch.device("cuda" if torch.cuda.is_available() else "cpu"),
            workers=2,
            seed=_SEED,
            layout=torch.channels_last,
        )
        found, splits = loaded.examples, loaded.splits
    by_split: dict[str, list[Example]] = {"train": [], "test": []}
    for example, split in zip(found, splits, strict=True):
        if split in by_split and example.source in sources and example.form in bundle.labels:
            by_split[split].append(example)
    return by_split["train"], by_split["test"]


def text(verdict: Verdict) -> str:
    """Return the comparison as Markdown."""
    rows = [
        (
            line["source"],
            line["figure"],
            f"{line['single']:.3f}",
            f"{line['eight']:.3f}",
            f"{line['loss']:+.3f}",
        )
        for line in verdict.figures
    ]
    single, eight = (1000 * each for each in verdict.seconds)
    parts = [
        markdown_table(("source", "figure", "single precision", "8 bits", "loss"), rows),
        *(
            f"{what}: difference {p['difference']:+.4f} ({p['low']:+.4f} to {p['high']:+.4f}), "
            f"right with single precision only {p['only_single']}, with 8 bits only "
            f"{p['only_eight']}; McNemar p {p['p_value']:.2g}; "
            f"{p['pictures']} pictures in {p['groups']} groups"
            for what, p in verdict.paired.items()
        ),
        f"one view on one core: {single:.1f} ms in single precision, {eight:.1f} ms with 8 bits "
        f"({single / eight:.2f} times as fast)",
        "holds within half a point"
        if not verdict.worse
        else "more than half a point worse:\n" + "\n".join(f"- {each}" for each in verdict.worse),
    ]
    return "\n\n".join(parts) + "\n"


def run(bundle_name: str, data: Path, out: Path, *, anyway: bool) -> Verdict:
    """Quantise, compare, write the report, and the bundle if it holds."""
    bundle = load_bundle(find_bundle(bundle_name))
    train, test = _splits(data, bundle)
    order = np.random.default_rng(_SEED).permutation(len(train))[:_PICTURES]
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "eight"
        eight = _bundle_beside(bundle, [train[i].path for i in order], made)
        verdict = compare(test, bundle, eight)
        out.mkdir(parents=True, exist_ok=True)
        if anyway or not verdict.worse:
            shutil.copytree(made, out, dirs_exist_ok=True)
        report = [f"# {bundle.name} {bundle.version}: 8 bits", text(verdict)]
    (out / "INT8.md").write_text("\n\n".join(report), encoding="utf-8")
    return verdict


def main() -> int:
    """Quantise a bundle and say whether 8 bits hold."""
    parser = argparse.ArgumentParser(
        prog="python -m training.trials.quantize", description=main.__doc__
    )
    parser.add_argument("bundle", help="name or directory of a bundle")
    parser.add_argument("--data", type=Path, required=True, help="the pictures it was trained on")
    parser.add_argument("--out", type=Path, required=True, help="folder for report and bundle")
    parser.add_argument("--anyway", action="store_true", help="write the bundle even if worse")
    given = parser.parse_args()
    try:
        verdict = run(given.bundle, given.data, given.out, anyway=given.anyway)
    except TallytareError as error:
        sys.stderr.write(f"quantize: {error}\n")
        return 1
    sys.stdout.write(text(verdict))
    return 0 if not verdict.worse else 2


if __name__ == "__main__":
    sys.exit(main())
