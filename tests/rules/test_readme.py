"""What README promises to other programs is what they get."""

from __future__ import annotations

import re
from pathlib import Path

from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.programme_rules import ROUTES
from classifier.rules.suggestion import suggestion_for_category
from classifier.rules.suggestion_json import to_json

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def documented() -> dict[str, str]:
    """Return the rows of the table of keys: key to description."""
    section = README.split("### `suggest --json`")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`.+?) \| (.+) \|$", section, flags=re.MULTILINE)
    return {key: text for keys, text in rows for key in re.findall(r"`(\w+)`", keys)}


def test_every_key_of_suggest_json_is_documented() -> None:
    categories = load_categories()
    programme = load_shipped_programmes(categories)[0]
    suggestion = suggestion_for_category("steel_cans", categories, programme)
    answer = to_json(
        suggestion, categories=categories, programme=programme, model_name="m", model_version="1"
    )
    rows = documented()
    assert set(answer) == set(rows)
    for key in ("route", "model", "programme"):
        for inner in answer[key]:
            assert f'"{inner}"' in rows[key], f"{key}.{inner} is not documented"
    for inner in answer["alternatives"][0]:
        assert f'"{inner}"' in rows["alternatives"], f"alternatives.{inner} is not documented"
    for route in ROUTES:
        assert f"`{route}`" in rows["route"]
