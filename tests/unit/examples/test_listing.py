"""Lists of labelled pictures, as people's spreadsheets write them."""

from __future__ import annotations

from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.examples.listing import read_listing

ROWS = [("tins/1.jpg", "steel_cans", "a"), ("tins/2.jpg", "food", "")]


def _read(folder: Path, data: bytes | str) -> list[tuple[str, str, str]]:
    file = folder / "manifest.csv"
    file.write_bytes(data if isinstance(data, bytes) else data.encode())
    return [(each.path, each.label, each.cells.get("group", "")) for each in read_listing(file)]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_spreadsheets_write_is_read(
    tmp_path: Path, separator: str, encoding: str, end: str
) -> None:
    lines = [("Path", " Label ", "GROUP"), *ROWS, ("", "", "")]
    text = end.join(separator.join(cells) for cells in lines) + end
    assert _read(tmp_path, text.encode(encoding)) == ROWS


def test_backslashes_of_windows_lead_to_the_picture(tmp_path: Path) -> None:
    assert _read(tmp_path, "path,label\ntins\\1.jpg,food\n") == [("tins/1.jpg", "food", "")]


def test_a_file_whose_name_holds_a_backslash_is_that_file(tmp_path: Path) -> None:
    name = "tins\\1.jpg"
    try:
        (tmp_path / name).write_bytes(b"x")
    except OSError:
        pytest.skip("this system keeps no such name")
    assert _read(tmp_path, f"path,label\n{name},food\n")[0][0] == name


def test_quoted_cells_may_hold_the_separator(tmp_path: Path) -> None:
    text = 'path;"label;odd";label\n"a;b.jpg";x;food\n'
    assert _read(tmp_path, text) == [("a;b.jpg", "food", "")]


def test_short_rows_lack_their_last_cells_and_long_ones_lose_theirs(tmp_path: Path) -> None:
    text = "path,label,group\na.jpg\nb.jpg,food,g,more,still more\n"
    assert _read(tmp_path, text) == [("a.jpg", "", ""), ("b.jpg", "food", "g")]


def test_form_comes_before_label_and_label_before_category(tmp_path: Path) -> None:
    text = "path,category,label,form\na.jpg,1,2,3\n"
    assert _read(tmp_path, text)[0][1] == "3"
    assert read_listing(tmp_path / "manifest.csv", label_columns=("label",))[0].label == "2"


def test_lines_are_those_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_text('path,label\n\n"a\nb.jpg",food\nc.jpg,food\n')
    assert [each.line for each in read_listing(tmp_path / "m.csv")] == [4, 5]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "needs the columns path and label; it has none"),
        ("path,kind\na.jpg,food\n", "needs the columns path and label; it has path, kind"),
        ("label\nfood\n", "needs the columns path and label; it has label"),
        ("path,label,label\na.jpg,food,wood\n", "has the column label 2 times; keep one"),
        ('path,label\n"a.jpg,food\n', "line 2 is no CSV .*; look for a quotation mark"),
        ("path,label\na.jpg,food\na.jpg,wood\n", "line 3: a.jpg has the label 'wood', and 'food'"),
        ("path,label\na.jpg,food\na.jpg,\n", "has the label 'nothing', and 'food' in line 2"),
        ("path,label,split\na.jpg,food,test\na.jpg,food,train\n", "has the split 'train', and"),
        ("path,label,group\na.jpg,food,1\na.jpg,food,2\n", "has the group '2', and '1' in line 2"),
    ],
)
def test_what_a_list_must_not_be(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(DataFileError, match=message):
        _read(tmp_path, text)


def test_other_encodings_and_unreadable_files_are_named(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match="can't be read as a CSV in UTF-8"):
        _read(tmp_path, "path,label\nküche.jpg,food\n".encode("latin-1"))
    with pytest.raises(DataFileError, match=r"can't be read \(.*\)"):
        read_listing(tmp_path)


def test_messages_can_name_the_list_otherwise_than_by_its_path(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_text("path\na.jpg\n", "utf-8")
    with pytest.raises(DataFileError, match=r"^in the archive, m\.csv needs the columns") as caught:
        read_listing(tmp_path / "m.csv", called="in the archive, m.csv")
    assert str(tmp_path) not in caught.value.message
    assert caught.value.details["file"] == "in the archive, m.csv"


def test_more_lines_than_are_allowed_are_refused_with_the_line(tmp_path: Path) -> None:
    file = tmp_path / "manifest.csv"
    file.write_text("path,label\n" + "a.jpg,food\n" * 9, encoding="utf-8")
    assert len(read_listing(file, most_lines=10)) == 9
    with pytest.raises(DataFileError, match="line 10: allowed are 9 lines"):
        read_listing(file, most_lines=9)
