"""Judging a bundle of forms on pictures that bear categories, as an exported set does."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from classifier.errors import BundleError
from classifier.inference.bundle import load_bundle
from classifier.rules.categories import load_categories
from tests.tiny_bundle import FORMS, photo_of, write_tiny_bundle
from training.commands import evaluate_command
from training.learning.levels import fitting_level, level_named

CATEGORIES = load_categories()
SHOWN = {"aluminium_cans": "drink_can", "pet_bottles": "clear_plastic_bottle", "food": "food"}


def exported(folder: Path, counts: dict[str, int]) -> Path:
    """Write a folder per category, as a set that was labelled while sorting."""
    for category, count in counts.items():
        (folder / category).mkdir(parents=True)
        for number in range(count):
            picture = photo_of(SHOWN.get(category, category), seed=number)
            (folder / category / f"{category}-{number}-.jpg").write_bytes(picture)
    return folder


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a bundle of forms."""
    return write_tiny_bundle(tmp_path_factory.mktemp("tiny") / "forms")


def test_probabilities_of_categories_are_the_shares_of_the_forms(bundle: Path) -> None:
    level = level_named("category", load_bundle(bundle), CATEGORIES)
    np.testing.assert_allclose(level.shares.sum(axis=1), 1)
    names = level.table.ids
    row = list(FORMS).index("drink_can")
    assert level.shares[row, names.index("aluminium_cans")] == 0.9
    assert level.shares[row, names.index("steel_cans")] == 0.1
    assert names[-1] == "non_item"
    assert level.shares[list(FORMS).index("non_item"), -1] == 1
    assert names[level.number["drink_can"]] == "aluminium_cans"
    assert names[level.number["pet_bottles"]] == "pet_bottles"
    assert "sharps" not in level.number


def test_labels_decide_what_a_bundle_is_judged_by(bundle: Path) -> None:
    forms = load_bundle(bundle)

    def chosen(*labels: str) -> str:
        return fitting_level(labels, [forms], CATEGORIES)

    assert chosen("drink_can", "food", "") == "form"
    assert chosen("drink_can", "steel_cans") == "category"
    assert chosen("food", "sharps", "no such thing") == "form"  # it can't tell sharps either way


def test_a_bundle_of_forms_is_judged_on_categories(
    bundle: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = exported(tmp_path / "set", {"aluminium_cans": 6, "pet_bottles": 5, "non_item": 3})
    page = tmp_path / "page"
    arguments = [str(data), "--bundle", str(bundle)]
    assert evaluate_command([*arguments, "--json", "--page", str(page)]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["judged_by"] == "category"
    assert result["skipped"] == []
    assert result["by_source"]["set"]["pictures"] == 11
    assert result["by_source"]["set"]["form_top1"]["value"] == 1
    assert {line["form"] for line in result["by_form"]} == {*data_labels(data)}
    text = (page / "index.html").read_text(encoding="utf-8")
    assert "judged by the categories that its forms lead to" in text
    assert "category, first guess" in text
    assert evaluate_command(arguments) == 0
    said = capsys.readouterr().out
    assert "| source | pictures (groups) | category, first guess |" in said
    assert "| category | pictures | right |" in said
    assert evaluate_command([*arguments, "--by", "form"]) == 0
    said = capsys.readouterr().out
    assert "skipped 6 pictures: the bundle has no form 'aluminium_cans'; --by category" in said


def data_labels(data: Path) -> list[str]:
    """Names of the folders of a set."""
    return [folder.name for folder in data.iterdir()]


def test_ones_own_bundle_of_categories_is_compared_with_one_of_forms(
    bundle: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The question before a promotion: is my bundle better on my pictures?"""
    named = {form: category for category, form in SHOWN.items()}
    own = [
        {"id": named.get(form, form), "name": form, "categories": shares}
        for form, (_, shares) in FORMS.items()
    ]
    mine = write_tiny_bundle(tmp_path / "mine", name="mine", forms=own)
    data = exported(tmp_path / "set", {"aluminium_cans": 6, "pet_bottles": 5, "food": 4})
    arguments = [str(data), "--bundle", str(mine), "--against", str(bundle)]
    assert evaluate_command([*arguments, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert (result["judged_by"], result["pictures"], result["other_pictures"]) == (
        "category",
        15,
        0,
    )
    assert (result["form"]["both"], result["form"]["neither"]) == (15, 0)
    assert evaluate_command(arguments) == 0
    assert "| category | 1.000 (" in capsys.readouterr().out


def test_categories_of_another_list_are_refused(tmp_path: Path) -> None:
    forms = [
        {"id": form, "name": form, "categories": {"gold": 1.0} if shares else {}}
        for form, (_, shares) in FORMS.items()
    ]
    strange = load_bundle(write_tiny_bundle(tmp_path / "strange", forms=forms))
    with pytest.raises(BundleError, match="leads to category gold"):
        level_named("category", strange, CATEGORIES)
