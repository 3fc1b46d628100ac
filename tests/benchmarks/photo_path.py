"""One photo to a suggestion, beside the least that decoding and the network can take."""

from __future__ import annotations

import io
import time
import tomllib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from classifier.inference.bundle import Bundle, load_bundle
from classifier.inference.photo import SHORT_SIDE_PX, PhotoLimits, decode_photo
from classifier.inference.predict import Predictor
from classifier.inference.preprocess import views_of
from service.wiring import InferencePhotoReader
from tests.benchmarks.measure import Figure, core_seconds, say
from tests.benchmarks.scenes import TWELVE_MEGAPIXELS, photograph


def photo_path(bundle_path: Path) -> list[Figure]:
    """Measure photographs as a camera makes them and as the page sends them."""
    bundle = load_bundle(bundle_path)
    figures = []
    for name, size, quality in (
        ("12 megapixels", TWELVE_MEGAPIXELS, 90),
        ("1024 px, as the page sends it", (1024, 768), 85),
    ):
        say(f"photo path: {name}")
        figures += _one_size(bundle, name, photograph(10, size, quality=quality))
    return figures


def _one_size(bundle: Bundle, name: str, data: bytes) -> list[Figure]:
    predictor, reader = Predictor(bundle), InferencePhotoReader(PhotoLimits())
    views = list(views_of(decode_photo(data).image, bundle.preprocessing))

    def path() -> None:
        predictor.predict(decode_photo(data))

    def with_copy() -> None:
        photo, _ = reader.read(data, 512)
        predictor.predict(photo)

    naive = _torch_eager(bundle, data)
    decode_s, network_s, path_s, copy_s, full_s, eager_s, naive_s = core_seconds(
        lambda: _scaled_decode(data),
        lambda: _network(bundle, views),
        path,
        with_copy,
        lambda: _full_decode(data),
        naive.network,
        naive.whole,
    )
    floor = decode_s + network_s
    milli = f"{1000 * path_s:.1f} ms of one core"
    return [
        Figure(
            f"{name} ({len(data) / 1e6:.2f} MB): photo to suggestion",
            f"{milli} = {path_s / floor:.2f} x the floor of {1000 * decode_s:.1f} (scaled decode) "
            f"+ {1000 * network_s:.1f} (network, {len(views)} views)",
            "at most 1.25 x",
            path_s <= 1.25 * floor,
        ),
        Figure(
            f"{name}: the same, with the cleaned copy for the log",
            f"{1000 * copy_s:.1f} ms = {copy_s / floor:.2f} x the floor",
        ),
        Figure(
            f"{name}: Pillow in full, the same views and network in torch eager",
            f"{1000 * naive_s:.1f} ms ({1000 * full_s:.1f} decode, {1000 * eager_s:.1f} network) = "
            f"{naive_s / path_s:.1f} x ours",
            "at least 4 x",
            naive_s >= 4 * path_s,
        ),
    ]


def two_at_once(bundle_path: Path, *, seconds: float = 6.0) -> list[Figure]:
    """Measure two threads on two cores against one, by turns, each with photos of its own."""
    say("two at once")
    predictor = Predictor(load_bundle(bundle_path))
    data = photograph(10, (1024, 768), quality=85)

    def until(end: float) -> int:
        done = 0
        while time.perf_counter() < end:
            predictor.predict(decode_photo(data))
            done += 1
        return done

    rates: dict[int, list[float]] = {1: [], 2: []}
    with ThreadPoolExecutor(2) as pool:
        for _ in range(3):
            for threads, found in rates.items():
                end = time.perf_counter() + seconds / 3
                done = sum(pool.map(until, [end] * threads))
                found.append(done / (seconds / 3))
    one, two = max(rates[1]), max(rates[2])
    return [
        Figure(
            "two photos at once on two cores",
            f"{two:.1f} a second against {one:.1f} one after the other = {two / one:.2f} x",
            "at least 1.8 x",
            two >= 1.8 * one,
        )
    ]


class _Naive:
    def __init__(self, network: Callable[[], object], whole: Callable[[], object]) -> None:
        self.network, self.whole = network, whole


def _torch_eager(bundle: Bundle, data: bytes) -> _Naive:
    """Return the way without care: whole decode, the same views of it, torch on one thread."""
    import torch

    from training.network import SortNet

    torch.set_num_threads(1)
    # Only this of the recipe: a bundle may be older than the options that recipes have today.
    recipe = (bundle.path / bundle.manifest.recipe).read_text(encoding="utf-8")
    backbone = tomllib.loads(recipe)["backbone"]
    net = SortNet(backbone, len(bundle.labels), 10, pretrained=False).eval()
    size, number = bundle.preprocessing.size, len(bundle.preprocessing.views)
    example = torch.zeros(number, 3, size, size)

    def network(images: torch.Tensor = example) -> None:
        with torch.inference_mode():
            net.forms(net.embed(images))

    def whole() -> None:
        views = np.concatenate(list(views_of(_full_decode(data), bundle.preprocessing)))
        network(torch.from_numpy(views))

    return _Naive(network, whole)


def _scaled_decode(data: bytes) -> None:
    with Image.open(io.BytesIO(data)) as image:
        scale = SHORT_SIDE_PX / min(image.size)
        image.draft(None, (round(image.width * scale), round(image.height * scale)))
        image.load()


def _full_decode(data: bytes) -> Image.Image:
    with Image.open(io.BytesIO(data)) as image:
        return image.convert("RGB")


def _network(bundle: Bundle, views: Sequence[NDArray[np.float32]]) -> None:
    network = bundle.manifest.network
    for view in views:
        bundle.session.run([network.form_logits, network.embedding], {network.input: view})
