"""Reading labelled pictures: CSV, folder per label, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.rules.categories import load_categories
from tests.training.scenes import draw, write_set
from training.pictures.dataset import _splits, number_labels
from training.pictures.forms import load_forms, table_of_labels
from training.pictures.manifest import Example, read_examples, read_sets, require_sources


def test_csv_and_the_folder_that_holds_it_read_alike(tmp_path: Path) -> None:
    folder = write_set(tmp_path / "set", {"drink_can": 2, "food": 1}, sources=("hall", "yard"))
    examples = read_examples(folder)
    assert examples == read_examples(folder / "manifest.csv")
    assert [(e.path.name, e.source, e.form, e.material, e.group) for e in examples] == [
        ("drink_can_0.jpg", "hall", "drink_can", "metal", "hall-drink_can-0"),
        ("drink_can_1.jpg", "yard", "drink_can", "metal", "yard-drink_can-1"),
        ("food_0.jpg", "hall", "food", "food", "hall-food-0"),
    ]
    assert all(e.path.is_file() for e in examples)


def test_csv_needs_path_and_form_only(tmp_path: Path) -> None:
    listing = tmp_path / "floor" / "list.csv"
    listing.parent.mkdir()
    listing.write_text("\ufeffpath,form\nx/can.jpg,drink_can\nx/short.jpg\n", encoding="utf-8")
    full, short = read_examples(listing)
    assert full == Example(listing.parent / "x/can.jpg", "floor", "drink_can", "", "x/can.jpg")
    assert short.form == ""


def test_blocks_of_a_manifest_are_groups_within_their_source(tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path,source,form,block\na.jpg,s,food,f-1\nb.jpg,t,food,f-1\n")
    assert [e.group for e in read_examples(listing)] == ["s/f-1", "t/f-1"]


def test_folder_per_label_groups_runs_of_file_numbers(tmp_path: Path) -> None:
    for name in ("food/img_1.jpg", "food/img_24.png", "food/img_25.jpg", "wood/plank.jpg"):
        path = tmp_path / "mine" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        draw("food", 1).save(path)
    (tmp_path / "mine" / "food" / ".hidden").write_text("x")
    (tmp_path / "mine" / "notes.txt").write_text("x")
    examples = read_examples(tmp_path / "mine")
    assert [(e.form, e.source, e.group) for e in examples] == [
        ("food", "mine", "food/img-0"),
        ("food", "mine", "food/img-0"),
        ("food", "mine", "food/img-1"),
        ("wood", "mine", "wood/plank.jpg"),
    ]


def test_what_is_no_picture_stays_in_the_list_to_be_named_later(tmp_path: Path) -> None:
    (tmp_path / "food").mkdir()
    (tmp_path / "food" / "photo.heic").write_bytes(b"x")
    assert [e.path.name for e in read_examples(tmp_path)] == ["photo.heic"]


def test_missing_column_is_named(tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path,kind\na.jpg,food\n")
    with pytest.raises(DataFileError, match=r"list\.csv needs the columns path and label; it has"):
        read_examples(listing)


def test_a_picture_that_two_rows_name_counts_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path;label\nx\\a.jpg;food\nb.jpg;wood\nx/a.jpg;food\n")
    assert [e.path for e in read_examples(listing)] == [tmp_path / "x/a.jpg", tmp_path / "b.jpg"]
    assert "name a picture of an earlier row, left out: 1" in capsys.readouterr().err


def test_header_without_rows_and_empty_folder_hold_nothing(tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path,form\n")
    (tmp_path / "empty").mkdir()
    for path in (listing, tmp_path / "empty"):
        with pytest.raises(DataFileError, match="holds no labelled picture"):
            read_examples(path)


def test_neither_file_nor_folder(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match="neither a folder nor a manifest CSV"):
        read_examples(tmp_path / "none")


def test_csv_in_another_encoding_is_named(tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    listing.write_bytes("path,form\nküche.jpg,food\n".encode("latin-1"))
    with pytest.raises(DataFileError, match=r"can't be read as a CSV in UTF-8"):
        read_examples(listing)


def test_sources_are_chosen_and_unknown_ones_refused(tmp_path: Path) -> None:
    folder = write_set(tmp_path / "set", {"food": 4}, sources=("hall", "yard"))
    assert {e.source for e in read_examples(folder, sources=["yard"])} == {"yard"}
    message = "no picture comes from the source attic; there are pictures from hall, yard"
    with pytest.raises(DataFileError, match=message):
        read_examples(folder, sources=["yard", "attic"])
    with pytest.raises(DataFileError, match=message):
        require_sources(read_examples(folder), ["attic"])


def test_misspelt_label_is_refused_with_the_nearest() -> None:
    with pytest.raises(DataFileError, match=r"unknown label 'drink_cna'; did you mean drink_can\b"):
        table_of_labels(["drink_cna", "food"], load_categories())


def test_every_misspelt_label_is_named_at_once() -> None:
    labels = ["drink_cna", "fod", "xyz", "food"]
    with pytest.raises(DataFileError) as refused:
        table_of_labels(labels, load_categories())
    lines = refused.value.message.splitlines()
    assert lines[0].startswith("unknown label 'drink_cna'; did you mean drink_can")
    assert lines[1].startswith("unknown label 'fod'; did you mean food")
    assert lines[2] == "unknown label 'xyz'"
    assert lines[3].startswith("there are corrugated_cardboard, ")
    with pytest.raises(DataFileError, match="have no label besides non_item"):
        table_of_labels(["", "non_item"], load_categories())


def test_misspelt_material_is_refused_with_the_nearest(tmp_path: Path) -> None:
    examples = [Example(tmp_path, "s", "food", "metall", "g")]
    with pytest.raises(DataFileError, match=r"unknown material 'metall'; did you mean metal\b"):
        number_labels(examples, load_forms())


def test_undecided_labels_are_minus_one_and_a_form_tells_its_material(tmp_path: Path) -> None:
    table = table_of_labels(["food", "drink_can"], load_categories())
    examples = [
        Example(tmp_path, "b", "", "glass", "1"),  # a material that no form of the table has
        Example(tmp_path, "a", "food", "", "2"),
    ]
    numbered = number_labels(examples, table)
    assert numbered.forms.tolist() == [-1, table.ids.index("food")]
    assert numbered.materials.tolist() == [-1, table.materials.index("food")]
    assert numbered.sources.tolist() == [1, 0]


def test_several_sets_are_read_as_one(tmp_path: Path) -> None:
    photographs = write_set(tmp_path / "photographs", {"food": 2}, sources=("hall",))
    scenes = write_set(tmp_path / "scenes", {"food": 1}, sources=("rendered",))
    assert read_sets([photographs, scenes]) == read_examples(photographs) + read_examples(scenes)


def test_sets_that_share_a_group_are_refused(tmp_path: Path) -> None:
    """A group must lie in one split, and two sets may name theirs alike by chance."""
    ours = write_set(tmp_path / "ours", {"food": 2}, sources=("hall",))
    theirs = write_set(tmp_path / "theirs", {"food": 2}, sources=("hall",))
    with pytest.raises(DataFileError, match="both hold a group 'hall-food-0'"):
        read_sets([ours, theirs])


def test_label_does_for_form_and_splits_are_read(tmp_path: Path) -> None:
    """So the folder of `tallytare examples export` can be taken as it is."""
    listing = tmp_path / "manifest.csv"
    listing.write_text("path,label,group,split\na.jpg,food,g1,test\nb.jpg,food,g2,\n")
    said = [(e.form, e.group, e.split) for e in read_examples(tmp_path)]
    assert said == [("food", "g1", "test"), ("food", "g2", "")]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("a.jpg,food,g1,exam\n", "'exam' of a.jpg is none of train, calibrate, test"),
        ("a.jpg,food,g1,test\nb.jpg,food,g1,train\n", "'g1' lies in the splits test and train"),
        ("a.jpg,food,g1,test\nb.jpg,food,g1,\n", "'g1' lies in the splits test and none"),
    ],
)
def test_splits_that_leak_or_mean_nothing_are_refused(
    tmp_path: Path, rows: str, message: str
) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path,label,group,split\n" + rows)
    with pytest.raises(DataFileError, match=message):
        read_examples(listing)


def test_given_splits_are_kept_and_the_others_follow_their_group(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def example(group: str, split: str) -> Example:
        return Example(Path("a.jpg"), "s", "food", "", group, split)

    examples = [example("a", "test"), example("b", "train"), example("c", ""), example("d", "")]
    # Near-repeats have joined a, b and c into one group; d stands alone.
    found = _splits(examples, ["a", "a", "a", "d"], 0)
    assert found[:3] == ["test", "train", "train"]
    assert found[3] in ("train", "calibrate", "test")
    assert "3 pictures look like one of another split" in capsys.readouterr().err


def test_one_split_can_be_asked_for(tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    listing.write_text("path,label,group,split\na.jpg,food,g1,test\nb.jpg,food,g2,train\n")
    assert [e.path.name for e in read_examples(listing, split="test")] == ["a.jpg"]
    with pytest.raises(DataFileError, match="split 'calibrate'; the manifest has test, train"):
        read_examples(listing, split="calibrate")
