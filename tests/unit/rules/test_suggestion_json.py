"""The JSON of a suggestion: one documented shape, always complete."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from classifier.errors import UnreadablePhotoError
from classifier.rules.suggestion import suggest, suggestion_for_category
from classifier.rules.suggestion_json import error_json, to_json
from classifier.rules.suggestion_parts import Ranked, Suggestion, Thresholds
from tests.small_lists import small_categories, small_programme

LIMITS = Thresholds(route=0.8, stop=0.2, unsure=0.4, non_item=0.5)
KEYS = [
    *("file", "forms", "categories", "decision", "route", "question", "cautions", "check"),
    *("alternatives", "facts", "model", "categories_version", "programme", "error"),
]
PROGRAMME = {
    "id": "small",
    "name": "Small Town",
    "version": "1",
    "valid_from": "2026-03-01",
    "statement": (
        "Small Town, valid from 1 March 2026. Follow your local authority where it differs."
    ),
}


class Writer:
    def __init__(self, directory: Path) -> None:
        self.categories = small_categories(directory)
        self.programme = small_programme(directory, self.categories)

    def photo(self, facts: dict[str, str] | None = None, **p: float) -> Suggestion:
        maps = {form: {form: 1.0} for form in p}
        forms = [Ranked(form, value) for form, value in p.items()]
        return suggest(forms, maps, self.categories, self.programme, LIMITS, facts=facts)

    def json(self, suggestion: Suggestion, file: str | None = "a.jpg") -> dict[str, Any]:
        written = to_json(
            suggestion,
            categories=self.categories,
            programme=self.programme,
            model_name="first",
            model_version="1",
            file=file,
        )
        assert json.loads(json.dumps(written, allow_nan=False)) == written
        assert list(written) == KEYS
        return written


@pytest.fixture
def writer(tmp_path: Path) -> Writer:
    return Writer(tmp_path)


def test_a_route(writer: Writer) -> None:
    written = writer.json(writer.photo(steel=2 / 3, alu=1 / 3, facts={"deposit": "no"}))
    assert written == {
        "file": "a.jpg",
        "forms": [{"id": "steel", "p": 0.666667}, {"id": "alu", "p": 0.333333}],
        "categories": [{"id": "steel", "p": 0.666667}, {"id": "alu", "p": 0.333333}],
        "decision": "route",
        "route": {
            "id": "kerbside",
            "name": "Kerbside recycling",
            "condition": "Empty",
            "note": "",
            "p": 1.0,
            "when": "",
        },
        "question": None,
        "cautions": [{"id": "edges", "text": "Sharp edges."}],
        "check": ["Steel cans or Aluminium cans? A magnet sticks to steel."],
        "alternatives": [
            {
                "category": "steel",
                "name": "Steel cans",
                "p": 0.666667,
                "routes": [
                    {
                        "id": "kerbside",
                        "name": "Kerbside recycling",
                        "condition": "Empty",
                        "note": "",
                        "p": 0.666667,
                        "when": "",
                    }
                ],
                "question": None,
            },
            {
                "category": "alu",
                "name": "Aluminium cans",
                "p": 0.333333,
                "routes": [
                    {
                        "id": "kerbside",
                        "name": "Kerbside recycling",
                        "condition": "Rinsed",
                        "note": "",
                        "p": 0.333333,
                        "when": "",
                    }
                ],
                "question": None,
            },
        ],
        "facts": {"deposit": "no"},
        "model": {"name": "first", "version": "1"},
        "categories_version": "9",
        "programme": PROGRAMME,
        "error": None,
    }


def test_a_question(writer: Writer) -> None:
    written = writer.json(writer.photo(alu=1.0))
    assert (written["decision"], written["route"]) == ("ask", None)
    assert written["question"] == {
        "fact": "deposit",
        "text": "Deposit?",
        "how": "Look at the side.",
        "answers": [{"id": "yes", "label": "Yes"}, {"id": "no", "label": "No"}],
    }
    assert written["alternatives"][0]["question"] == "Deposit?"
    assert [each["when"] for each in written["alternatives"][0]["routes"]] == [
        *("Deposit: Yes", "Otherwise"),
    ]


def test_stop_and_no_item(writer: Writer) -> None:
    stop = writer.json(writer.photo(cell=1.0))
    assert (stop["decision"], stop["cautions"]) == (
        *("stop", [{"id": "fire", "text": "Stop. It can burn."}]),
    )
    none = writer.json(writer.photo(non_item=1.0))
    assert (none["decision"], none["categories"], none["alternatives"]) == ("not_an_item", [], [])


def test_a_category_chosen_by_hand_names_no_model_and_no_file(writer: Writer) -> None:
    chosen = suggestion_for_category("steel", writer.categories, writer.programme)
    written = to_json(
        chosen,
        categories=writer.categories,
        programme=writer.programme,
        model_name=None,
        model_version=None,
    )
    assert (written["model"], written["file"], written["forms"]) == (None, None, [])


def test_an_error_has_the_same_shape(writer: Writer) -> None:
    written = error_json(
        UnreadablePhotoError("x.jpg is no photograph; send a JPEG"),
        categories=writer.categories,
        programme=writer.programme,
        model_name="first",
        model_version="1",
        file="x.jpg",
    )
    assert list(written) == KEYS
    assert written["decision"] == "error"
    assert written["error"] == {
        "code": "unreadable_photo",
        "message": "x.jpg is no photograph; send a JPEG",
    }
    assert written["file"] == "x.jpg"
    assert written["programme"] == PROGRAMME
    empty = [key for key, value in written.items() if value in ([], {}, None)]
    assert empty == [
        *("forms", "categories", "route", "question", "cautions", "check", "alternatives"),
        "facts",
    ]
    json.dumps(written, allow_nan=False)
