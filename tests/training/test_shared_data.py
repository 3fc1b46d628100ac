"""The set that the shipped bundles learned from, where it lies beside the checkout."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from classifier.rules.categories import load_categories
from training.makers.registry import groups
from training.makers.write import SCANS
from training.pictures.corrections import load_corrections
from training.pictures.forms import load_forms, table_of_labels
from training.pictures.manifest import read_examples, require_sources
from training.pictures.splits import refuse_thin_labels
from training.recipe import find_recipe

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
pytestmark = pytest.mark.skipif(
    not (DATA / "manifest.csv").is_file(),
    reason="the photographs are no part of the repository; they are looked for in ../shared/data",
)


def test_manifest_reads_as_its_description_counts(capsys: pytest.CaptureFixture[str]) -> None:
    examples = read_examples(DATA)
    assert Counter(e.source for e in examples) == {
        "whiteboard": 2527,
        "landfill": 2844,
        "grocery": 980,
        "garments": 785,
        "devices": 152,
        "phones": 162,
        "litter": 251,
    }
    listed = load_corrections().values()
    assert capsys.readouterr().err == (
        f"labels corrected by training/data/corrections.csv: {len(listed)}\n"
    )
    decided = sum(not each.given for each in listed) - sum(not each.right for each in listed)
    assert sum(not e.form for e in examples) == 80 - decided
    assert all(e.path.is_file() for e in examples)


def test_every_label_is_known_and_has_groups_enough() -> None:
    examples = read_examples(DATA)
    known = {
        form.id for form in table_of_labels((e.form for e in examples), load_categories()).forms
    }
    # Lamps are only among the made pictures.
    assert known == {form.id for form in load_forms().forms} - {"lamps"}
    # One photograph shows a loose battery; the made pictures show more.
    labels = ["" if e.form == "batteries" else e.form for e in examples]
    refuse_thin_labels(labels, [e.group for e in examples])


def test_groups_are_blocks_of_file_numbers_within_one_source() -> None:
    examples = read_examples(DATA)
    sources: dict[str, set[str]] = {}
    for example in examples:
        sources.setdefault(example.group, set()).add(example.source)
    assert {len(names) for names in sources.values()} == {1}
    sizes = Counter(e.group for e in examples)
    # The parts of one source that its authors set apart each number their pictures from 1.
    assert max(sizes.values()) <= 3 * 25


@pytest.mark.parametrize("name", ["household", "household_open", "household_small"])
def test_shipped_recipes_name_sources_that_exist(name: str) -> None:
    recipe = find_recipe(name)
    named = {*recipe.sources, *recipe.left_out} - {"wallpapers"}
    photographs = {name for name in named if not name.startswith("made_")}
    require_sources(read_examples(DATA), photographs)
    drawn = {name.removeprefix("made_") for name in named - photographs}
    assert drawn <= {*groups(), SCANS}
