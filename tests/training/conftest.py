"""Tiny labelled sets and networks for the training tests, all on the CPU."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import torch

from classifier.rules.categories import load_categories
from tests.training.scenes import ITEMS, MATERIALS, draw
from training.network import SortNet
from training.pictures.augment import Chance
from training.pictures.dataset import Dataset, number_labels
from training.pictures.forms import FormTable, table_of_labels
from training.pictures.images import Canvases, load_canvases
from training.pictures.labels import Labels
from training.pictures.manifest import Example

CPU = torch.device("cpu")


@pytest.fixture(autouse=True, scope="package")
def _one_thread() -> Iterator[None]:
    """One thread: two that wait for each other are slower on a busy machine."""
    before = torch.get_num_threads()
    torch.set_num_threads(1)
    yield
    torch.set_num_threads(before)


@pytest.fixture(scope="package")
def table() -> FormTable:
    """Return the table of the forms that are drawn, with "no item"."""
    return table_of_labels(ITEMS, load_categories())


@pytest.fixture(scope="package")
def eight(tmp_path_factory: pytest.TempPathFactory) -> list[Example]:
    """Return eight labelled pictures, two each of four forms."""
    folder = tmp_path_factory.mktemp("eight")
    examples = []
    for form in list(ITEMS)[:4]:
        for number in range(2):
            path = folder / f"{form}_{number}.jpg"
            draw(form, number).save(path, quality=92)
            examples.append(Example(path, "kitchen", form, MATERIALS[form], path.stem))
    return examples


@pytest.fixture(scope="package")
def canvases(eight: list[Example]) -> Canvases:
    """Return the eight pictures, decoded."""
    return load_canvases([e.path for e in eight], workers=1)[0]


@pytest.fixture(scope="package")
def labels(eight: list[Example], table: FormTable) -> Labels:
    """Return the labels of the eight pictures."""
    return number_labels(eight, table)


@pytest.fixture(scope="package")
def pretrained(table: FormTable) -> SortNet:
    """Return a network with pretrained weights and untrained heads; not to be changed."""
    return SortNet("lite0", len(table.forms), len(table.materials), pretrained=True).eval()


@pytest.fixture
def chance() -> Chance:
    """Return seeded random numbers."""
    return Chance(3, CPU)


@pytest.fixture
def data(eight: list[Example], canvases: Canvases, labels: Labels) -> Dataset:
    """Return the eight pictures; the last two are kept for tests."""
    splits = ["train"] * 6 + ["test"] * 2
    return Dataset(eight, canvases, labels, [e.group for e in eight], splits, {}, [])
