"""`tallytare guide`: words to piles, for people and for programs."""

from __future__ import annotations

import json
from typing import Any

from classifier.rules.search import ASKED_FIRST
from tests.cli.conftest import Run


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_json_is_one_object_for_each_word_in_order(run: Run) -> None:
    ran = run("guide", "light bulb", "leaflet", "qqqq", "--json", "--programme", "alder_valley")
    assert ran.code == 0
    bulb, leaflet, nothing = objects(ran.out)
    assert set(bulb) == {"word", "categories", "cautions"}
    assert bulb["word"] == "light bulb"
    assert bulb["categories"][0] == {
        "id": "lamps",
        "name": "Lamps and tubes",
        "route": {"id": "retailer_take_back", "name": "Retailer take-back"},
    }
    assert [each["id"] for each in bulb["cautions"]] == ["lamps"]
    assert set(bulb["cautions"][0]) == {"id", "text"}
    assert leaflet["cautions"] == []
    assert nothing == {"word": "qqqq", "categories": [], "cautions": []}


def test_an_open_route_is_null_and_so_is_one_without_a_programme(run: Run) -> None:
    (open_,) = objects(run("guide", "yogurt pot", "--json", "--programme", "port_sable").out)
    assert open_["categories"][0] == {
        "id": "rigid_plastics",
        "name": "Other rigid plastics (tubs, trays, cups)",
        "route": None,
    }
    (without,) = objects(run("guide", "leaflet", "--json").out)
    assert without["categories"][0]["route"] is None


def test_people_read_cautions_first_and_hear_a_question_where_nothing_is_found(run: Run) -> None:
    ran = run("guide", "batery", "--programme", "alder_valley")
    first, caution, *lines = ran.out.splitlines()
    assert first == "batery:"
    assert caution.startswith("  Stop. Batteries can burn")
    assert "  Batteries and power packs (set aside): Retailer take-back" in lines
    assert lines[-1].startswith("Alder Valley, valid from")
    assert "it depends" in run("guide", "tub", "--programme", "port_sable").out
    assert ASKED_FIRST in run("guide", "qqqq").out
    assert run("guide", "leaflet").out.splitlines()[1] == "  Mixed printed paper"


def test_wrong_arguments(run: Run) -> None:
    ran = run("guide", "leaflet", "--programme", "nowhere")
    assert ran.code == 2
    assert "no programme 'nowhere'" in ran.said
    assert run("guide").code == 2
