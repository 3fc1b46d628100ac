"""The card says what others report about the same pictures, and only about those."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from training.judging.card import MEASURES, write_card
from training.recipe import Recipe, find_recipe


def _description(*sources: str) -> dict[str, Any]:
    return {
        "name": "drawn",
        "version": "1",
        "created": "2026-11-28",
        "training": {
            "command": "tallytare train",
            "seconds": 5400,
            "networks": 0,
            "machine": "2 threads of a CPU",
            "sources": [{"name": name, "pictures": 3, "licence": "ours"} for name in sources],
        },
        "temperature": 1.0,
        "thresholds": {"route": 0.8},
        "evaluation": {
            "repeats_joined": {},
            "labels_mended": 3,
            "programme": "alder_valley",
            "test_split": {},
            "unseen_source": {},
            "by_material": [],
            "by_form": [],
            "non_item_auroc": {"value": 0.9, "low": 0.85, "high": 0.94},
            "onnx_parity": 1e-6,
            "strangeness_slope": 0.0,
            "in_use": {
                "test split": {
                    "hazards_warned": {"pictures": 40, "value": 0.95, "low": 0.83, "high": 0.99}
                }
            },
        },
    }


def test_published_figures_stand_beside_ours(tmp_path: Path) -> None:
    card = write_card(tmp_path, _description("landfill", "yard"), Recipe(), "trained.")
    said = card.read_text(encoding="utf-8")
    assert "### What the authors of the sets report" in said
    assert "- RealWaste: 0.892 of nine materials right" in said
    assert "TrashNet" not in said
    assert "3 labels that are wrong or were missing by eye were corrected first" in said


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0 s"), (119, "119 s"), (150, "2 minutes"), (7199, "2 h 0 min")]
)
def test_the_card_says_how_long_it_took_and_on_what(
    tmp_path: Path, seconds: int, said: str
) -> None:
    description = _description("yard")
    description["training"]["seconds"] = seconds
    card = write_card(tmp_path, description, Recipe(), "trained.").read_text(encoding="utf-8")
    assert f"with `tallytare train` in {said} on 2 threads of a CPU. " in card
    description["training"]["networks"] = 12
    card = write_card(tmp_path, description, Recipe(), "trained.").read_text(encoding="utf-8")
    assert f"its 12 networks, those of sisters too, took {said} on 2 threads" in card


def test_the_card_tells_of_a_temperature_that_hears_the_picture(tmp_path: Path) -> None:
    description = _description("yard")
    plain = write_card(tmp_path, description, Recipe(), "trained.").read_text(encoding="utf-8")
    assert "Temperature 1.0; thresholds" in plain
    description["evaluation"]["strangeness_slope"] = 0.2
    card = write_card(tmp_path, description, Recipe(), "trained.").read_text(encoding="utf-8")
    assert "Temperature 1.0, times e to the power of 0.2 for each deviation" in card


def test_a_set_without_published_figures_has_no_such_part(tmp_path: Path) -> None:
    card = write_card(tmp_path, _description("yard"), Recipe(), "trained.")
    said = card.read_text(encoding="utf-8")
    assert "authors of the sets report" not in said
    assert "against items: AUROC 0.90 (0.85-0.94)" in said


@pytest.mark.parametrize("name", ["household", "nobody's"])
def test_only_a_shipped_recipe_was_chosen_by_its_rows(tmp_path: Path, name: str) -> None:
    description = _description("yard")
    figure = {"value": 0.5, "low": 0.4, "high": 0.6}
    description["evaluation"]["unseen_source"] = {
        "yard": {"pictures": 3, "groups": 3, **dict.fromkeys(MEASURES, figure)}
    }
    shipped = find_recipe("household")
    card = write_card(tmp_path, description, replace(shipped, name=name), "trained.")
    said = card.read_text(encoding="utf-8")
    assert "This is the table to go by in a new place." in said
    assert ("The recipe was chosen by these rows" in said) == (name == "household")


def test_the_card_tells_what_is_warned_of_and_how_the_pictures_were_prepared(
    tmp_path: Path,
) -> None:
    description = _description("made_cups", "phones")
    description["training"]["note"] = "Pictures were shrunk."
    said = write_card(tmp_path, description, Recipe(), "trained.").read_text(encoding="utf-8")
    assert "| test split | 0.95 (0.83-0.99) of 40 |  |  |  |  |" in said
    assert ". Pictures were shrunk. " in said
    assert "| made_cups | 3 | Invented items drawn by training/makers" in said
