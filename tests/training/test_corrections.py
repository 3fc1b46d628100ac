"""Corrected labels: which are applied, which are named, and which lists are refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.rules.categories import load_categories
from tests.training.scenes import write_set
from training.pictures import manifest
from training.pictures.corrections import (
    COLUMNS,
    Correction,
    correct,
    load_corrections,
    parse_corrections,
    start_of_sha256,
)
from training.pictures.forms import table_of_labels
from training.pictures.manifest import read_examples

NAME = "drink_can_0.jpg"


@pytest.fixture(scope="module")
def cans(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a set of three drawn pictures."""
    return write_set(tmp_path_factory.mktemp("cans"), {"drink_can": 2, "food": 1})


def correction(cans: Path, right: str, *, given: str = "drink_can") -> dict[str, Correction]:
    return {NAME: Correction(NAME, start_of_sha256(cans / NAME), given, right, "seen")}


def corrected_row(
    cans: Path, listed: dict[str, Correction], row: dict[str, str]
) -> tuple[dict[str, str], int, list[str]]:
    found = correct([{"path": NAME, **row}], cans, "form", listed)
    return {name: found.rows[0].get(name, "-") for name in row}, found.applied, found.misfits


def test_form_and_material_are_corrected_where_a_set_is_read(
    cans: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = correction(cans, "glass_jar")
    monkeypatch.setattr(manifest, "load_corrections", lambda: listed)
    said = [(e.path.name, e.form, e.material) for e in read_examples(cans)]
    assert said == [
        (NAME, "glass_jar", "glass"),
        ("drink_can_1.jpg", "drink_can", "metal"),
        ("food_0.jpg", "food", "food"),
    ]
    assert capsys.readouterr().err == "labels corrected by training/data/corrections.csv: 1\n"


def test_sets_without_a_known_picture_are_read_as_they_are(
    cans: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert [e.form for e in read_examples(cans)] == ["drink_can", "drink_can", "food"]
    assert capsys.readouterr().err == ""


def test_material_of_the_origin_stays_where_the_right_form_is_of_the_same(cans: Path) -> None:
    row = {"form": "coated_paper", "material": "cardboard"}
    listed = correction(cans, "printed_paper", given="coated_paper")
    assert corrected_row(cans, listed, row)[0] == {"form": "printed_paper", "material": "cardboard"}


def test_miscellaneous_speaks_against_no_form(cans: Path) -> None:
    row = {"form": "", "material": "miscellaneous"}
    assert corrected_row(cans, correction(cans, "coated_paper", given=""), row)[0] == {
        "form": "coated_paper",
        "material": "miscellaneous",
    }


def test_undecided_form_keeps_the_material(cans: Path) -> None:
    row = {"form": "drink_can", "material": "metal"}
    assert corrected_row(cans, correction(cans, ""), row)[0] == {"form": "", "material": "metal"}


def test_form_of_an_undecided_picture_brings_its_material(cans: Path) -> None:
    listed = correction(cans, "food", given="")
    assert corrected_row(cans, listed, {"form": "", "material": "metal"}) == (
        {"form": "food", "material": "food"},
        1,
        [],
    )


def test_material_that_nobody_gave_stays_open_to_follow_the_form(cans: Path) -> None:
    row = {"form": "drink_can", "material": ""}
    assert corrected_row(cans, correction(cans, "food"), row)[0] == {"form": "food", "material": ""}


def test_correction_of_another_label_is_named_and_left_out(cans: Path) -> None:
    row = {"form": "foil"}
    same, applied, misfits = corrected_row(cans, correction(cans, "food"), row)
    assert (same, applied) == (row, 0)
    message = f"{NAME} is labelled 'foil', not 'drink_can': its correction to 'food' was left out"
    assert misfits == [message]


def test_misfits_are_told_while_reading(
    cans: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = correction(cans, "food", given="foil")
    monkeypatch.setattr(manifest, "load_corrections", lambda: listed)
    assert [e.form for e in read_examples(cans)] == ["drink_can", "drink_can", "food"]
    assert capsys.readouterr().err == (
        f"{NAME} is labelled 'drink_can', not 'foil': its correction to 'food' was left out\n"
    )


def test_label_that_is_right_already_needs_nothing(cans: Path) -> None:
    row = {"form": "food"}
    assert corrected_row(cans, correction(cans, "food"), row) == (row, 0, [])


def test_file_of_other_content_is_another_picture(cans: Path) -> None:
    row, other = {"form": "drink_can"}, "0" * 16
    listed = {NAME: Correction(NAME, other, "drink_can", "food", "seen")}
    assert corrected_row(cans, listed, row) == (row, 0, [])


def test_file_that_is_missing_is_left_to_be_named_later(cans: Path, tmp_path: Path) -> None:
    row = {"form": "drink_can"}
    assert corrected_row(tmp_path, correction(cans, "food"), row) == (row, 0, [])


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("a.jpg,0123456789abcdef,food,wod,seen", r"unknown form 'wod'; did you mean .*wood"),
        ("a.jpg,0123456789abcdef,fod,wood,seen", r"unknown form 'fod'; did you mean .*food"),
        ("a.jpg,0123456789abcdef,food,food,seen", "is 'food' before and after"),
        ("a.jpg,0123456789abcdef,food,wood,", "without a reason"),
        ("a.jpg,0123,food,wood,seen", "needs the first 16 digits"),
        ("a.jpg,0123456789abcdef,food,wood,seen\n" * 2, "corrected twice"),
    ],
)
def test_lists_that_mean_nothing_are_refused(rows: str, message: str) -> None:
    with pytest.raises(DataFileError, match=message):
        parse_corrections(",".join(COLUMNS) + "\n" + rows)


def test_list_with_other_columns_is_refused() -> None:
    with pytest.raises(DataFileError, match="exactly the columns path, sha256, given, right"):
        parse_corrections("path,given,right\na.jpg,food,wood\n")


def test_shipped_list_is_sound_and_names_forms_that_a_table_can_hold() -> None:
    listed = load_corrections()
    assert listed
    right = {each.right for each in listed.values()} - {""}
    assert right <= set(table_of_labels(right, load_categories()).ids)
