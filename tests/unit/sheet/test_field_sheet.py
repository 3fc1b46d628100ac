"""Filled field sheets as spreadsheets write them, and every mistake named by line and column."""

from __future__ import annotations

import csv
from io import StringIO

import pytest

from classifier.errors import InvalidEntryError, UnknownIdError
from classifier.rules.categories import load_categories
from classifier.sheet.category_names import CategoryNames
from classifier.sheet.lines import Scale
from classifier.sheet.read import FieldSheet, read_sheet, sheet_template
from classifier.sheet.table import COLUMNS, MAX_BYTES, MAX_ROWS, read_table

CATEGORIES = load_categories()
HEAD = "category,count,gross,tare,unit,resolution,method,bucket,contents_left,note\n"
GOOD = "steel_cans,3,1.25,0.25,kg,0.01,,,,\n"


def sheet(
    text: str, *, decimal_comma: bool | None = None, scale: Scale | None = None
) -> FieldSheet:
    data = (HEAD + text).encode()
    return read_sheet(data, CATEGORIES, scale=scale, decimal_comma=decimal_comma)


def problem(text: str) -> tuple[str, str, str]:
    (found,) = sheet(text).problems
    assert found.line == 2
    return found.column, found.given, found.message


def test_a_line_is_read_as_typed() -> None:
    (row,) = sheet("steel_cans,3,1.250,0.25,KG,0.01,container,blue tub,yes, wet \n").rows
    assert (row.line, row.category, row.name, row.count) == (2, "steel_cans", "Steel cans", 3)
    assert (row.gross, row.tare, row.unit, row.resolution) == ("1.250", "0.25", "kg", "0.01")
    assert (row.method, row.bucket, row.contents_left, row.note) == (
        "container", "blue tub", True, "wet",
    )  # fmt: skip


def test_counted_only_weighed_only_and_too_light() -> None:
    found = sheet(
        "food,7,,,,,,,,\nfood,,2.5,,kg,0.01,,,,\nfood,4,,,kg,0.01,too light,,,\n"
        "food,,80,78.5,kg,0.1,Difference,,n,\n"
    )
    assert found.problems == ()
    assert [(row.count, row.method, row.unit) for row in found.rows] == [
        (7, None, ""),
        (None, "container", "kg"),
        (4, "below_resolution", "kg"),
        (None, "difference", "kg"),
    ]


def test_the_letters_of_the_printed_sheet_are_read() -> None:
    found = sheet("food,,2.5,,kg,0.01,C,,,\nfood,,80,78.5,kg,0.1,d,,,\nfood,4,,,kg,0.01,L,,,\n")
    assert [row.method for row in found.rows] == ["container", "difference", "below_resolution"]


def test_the_template_is_blank_and_reads_back() -> None:
    text = sheet_template(CATEGORIES, scale=Scale("kg", "0.02"))
    rows = list(csv.DictReader(StringIO(text)))
    assert [row["category"] for row in rows] == [each.id for each in CATEGORIES.categories]
    assert (rows[0]["unit"], rows[0]["resolution"]) == ("kg", "0.02")
    found = read_sheet(text.encode(), CATEGORIES)
    assert (found.rows, found.problems, len(found.blank)) == ((), (), len(rows))
    assert sheet_template(CATEGORIES).splitlines()[0] == ",".join(COLUMNS)


def test_lines_with_nothing_found_are_blank() -> None:
    found = sheet("food,0,,,kg,0.01,,,,\n,,,,,,,,,\n\nfood,,,,,,,,,\n" + GOOD)
    assert (found.blank, [row.line for row in found.rows]) == ((2, 5), [6])


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_every_way_to_write_a_file(encoding: str, separator: str, ends: str) -> None:
    text = (HEAD + "steel_cans,3,1.25,0.25,kg,0.01,,,,Müllers café\n").replace(",", separator)
    found = read_sheet(text.replace("\n", ends).encode(encoding), CATEGORIES)
    (row,) = found.rows
    assert (row.line, row.gross, row.note) == (2, "1.25", "Müllers café")
    assert found.separator == {",": "comma", ";": "semicolon", "\t": "tab"}[separator]
    said = {"utf-8": "UTF-8", "utf-8-sig": "UTF-8", "cp1252": "Windows-1252"}
    assert found.encoding == said.get(encoding, "UTF-16")


def test_the_separator_line_of_a_spreadsheet_is_no_row() -> None:
    text = "sep=;\n\n" + (HEAD + GOOD).replace(",", ";")
    (row,) = read_sheet(text.encode(), CATEGORIES).rows
    assert row.line == 4


def test_separators_inside_quotation_marks_do_not_cut() -> None:
    text = 'category;"a, b, c, d, e, f";count\nfood;;3\n'
    assert read_sheet(text.encode(), CATEGORIES).separator == "semicolon"


def test_a_text_over_two_lines_keeps_the_numbers_of_the_file() -> None:
    found = sheet('food,2,,,,,,,,"first\nsecond"\nnonsense,1,,,,,,,,\n')
    assert found.rows[0].note == "first\nsecond"
    assert found.problems[0].line == 4


@pytest.mark.parametrize(
    ("text", "comma", "gross"),
    [
        ('food,,"1,250","0,25",kg,"0,01",,,,\n', True, "1.250"),
        ('food,,"1,25",0.25,kg,0.01,,,,\n', False, "1,25"),
        ("food,,1.250,,kg,0.005,,,,\n", False, "1.250"),
        ("food,,12,,kg,1,,,,\n", False, "12"),
    ],
)
def test_the_decimal_mark_is_that_of_the_file(text: str, comma: bool, gross: str) -> None:
    found = sheet(text)
    assert found.decimal_comma is comma
    assert found.rows[0].gross == gross


def test_semicolons_and_no_point_mean_a_decimal_comma() -> None:
    text = "category;gross;unit;resolution\nfood;1,250;kg;1\n"
    found = read_sheet(text.encode(), CATEGORIES)
    assert (found.decimal_comma, found.rows[0].gross) == (True, "1.250")


def test_a_number_with_two_meanings_is_refused_until_the_mark_is_told() -> None:
    text = 'food,,"1,250",,kg,1,,,,\n'
    assert "can be read in two ways: write 1.250 or 1250" in problem(text)[2]
    assert sheet(text, decimal_comma=True).rows[0].gross == "1.250"
    assert "two ways" in sheet(text, decimal_comma=False).problems[0].message


def test_the_scale_of_the_head_stands_in() -> None:
    scale = Scale("g", "0,5")
    rows = sheet('food,,"12,5",,,,,,,\nfood,,3,,kg,"0,01",,,,\n', scale=scale).rows
    assert [(row.unit, row.resolution) for row in rows] == [("g", "0.5"), ("kg", "0.01")]


@pytest.mark.parametrize(
    ("line", "column", "message"),
    [
        (",3,,,,,,,,", "category", "names no category"),
        ("spoons,3,,,,,,,,", "category", "'spoons' is not in the list: write the name or id"),
        ("food,x,,,,,,,,", "count", "is not a whole number"),
        ("food,0,1.2,,kg,0.1,,,,", "count", "leave count empty if they were not counted"),
        ("food,,,,,,,tub,,", "count", "nothing was counted and nothing weighed"),
        ("food,,,,,,,,,a note", "count", "nothing was counted and nothing weighed"),
        ("food,,,0.2,kg,0.1,,,,", "gross", "a tare and no gross weight"),
        ("food,,a,,kg,0.1,,,,", "gross", "is not a plain number"),
        ("food,,1.2,b,kg,0.1,,,,", "tare", "is not a plain number"),
        ("food,,-1,,kg,0.1,,,,", "gross", "zero the scale"),
        ("food,,1,2,kg,0.1,,,,", "gross", "the tare is above the gross weight"),
        ("food,,1,1,kg,0.1,,,,", "gross", "the net weight is 0"),
        ("food,,1,,kg,0.1,too light,,,", "gross", "has no reading"),
        ("food,,,,kg,0.1,difference,,,", "gross", "there is no gross weight"),
        ("food,,1,,kg,0.1,difference,,,", "gross", "needs two readings"),
        (
            "food,,1,,kg,0.1,guess,,,",
            "method",
            "write container (C), difference (D) or too light (L)",
        ),
        ("food,,1,,,0.1,,,,", "unit", "the unit is missing"),
        ("food,,1,,stone,0.1,,,,", "unit", "use one of kg, g, lb, oz"),
        ("food,,1,,kg,,,,,", "resolution", "the resolution is missing"),
        ("food,,1,,kg,0,,,,", "resolution", "must be above 0"),
        ("food,,1,,kg,fine,,,,", "resolution", "is not a plain number"),
        ("food,1,,,,,,,perhaps,", "contents_left", "write yes, or leave it empty"),
        (f"food,1,,,,,,{'x' * 121},,", "bucket", "shorten it to 120"),
        (f"food,1,,,,,,,,{'x' * 1001}", "note", "shorten it to 1000"),
        ("food,1,,,,,,,,a\x07b", "note", "can't be shown"),
        ("food,1,,,,,,,,note,and more", "", "more cells than columns"),
    ],
)
def test_a_mistake_is_named_by_its_column(line: str, column: str, message: str) -> None:
    found, _, said = problem(line + "\n")
    assert found == column
    assert message in said


def test_what_was_given_is_told_as_it_was_typed() -> None:
    (found,) = sheet('food,,"1,25,0","0,2",kg,"0,1",,,,\n').problems
    assert (found.column, found.given) == ("gross", "1,25,0")


def test_every_mistake_of_a_line_is_told() -> None:
    found = sheet("spoons,x,1,,stone,,,,maybe,\n").problems
    assert [each.column for each in found] == ["category", "count", "unit", "contents_left"]


def test_category_and_name_must_agree() -> None:
    head = "category,name,count\n"
    good = read_sheet(f"{head}food,Foods,1\n,Steel can,2\n".encode(), CATEGORIES)
    assert [row.category for row in good.rows] == ["food", "steel_cans"]
    (found,) = read_sheet(f"{head}food,Steel cans,1\n".encode(), CATEGORIES).problems
    assert (found.column, found.given) == ("name", "Steel cans")
    assert "category says Food and name says Steel cans" in found.message
    (found,) = read_sheet(f"{head}food,Spoons,1\n".encode(), CATEGORIES).problems
    assert found.column == "name"


@pytest.mark.parametrize(
    ("written", "category"),
    [
        ("steel_cans", "steel_cans"),
        ("STEEL CAN", "steel_cans"),
        (" Steel-cans ", "steel_cans"),
        ("Glass bottles and jars", "glass_bottles_jars"),
        ("Glass bottle and jar", "glass_bottles_jars"),
        ("Battery and power pack", "batteries"),
        ("Paper bags and wraps", "paper_bags"),
        ("Other rigid plastics", "rigid_plastics"),
        ("Other rigid plastics (tubs, trays, cups)", "rigid_plastics"),
        ("lamps and tubes", "lamps"),
        ("Drink & food cartons", ""),
    ],
)
def test_a_category_by_what_people_write(written: str, category: str) -> None:
    names = CategoryNames(CATEGORIES)
    if category:
        assert names.find(written).id == category
    else:
        with pytest.raises(UnknownIdError, match="did you mean Drink and food cartons"):
            names.find(written)


@pytest.mark.parametrize(
    ("written", "near"),
    [
        ("aluminum cans", "Aluminium cans"),
        ("bateries", "Batteries and power packs"),
        ("cans", "Aluminium cans or Steel cans or Aerosol cans"),
    ],
)
def test_a_near_miss_is_told_and_not_guessed(written: str, near: str) -> None:
    with pytest.raises(UnknownIdError, match=f"did you mean {near}"):
        CategoryNames(CATEGORIES).find(written)


def test_every_category_is_found_by_its_own_words() -> None:
    names = CategoryNames(CATEGORIES)
    for category in CATEGORIES.categories:
        for written in (category.id, category.name, category.name.upper()):
            assert names.find(written).id == category.id
    with pytest.raises(UnknownIdError, match="is not in the list: write the name"):
        names.find("!?")


@pytest.mark.parametrize("word", ["glass", "gas", "boxes", "dishes", "classes", "ties", "as"])
def test_odd_words_are_only_compared(word: str) -> None:
    with pytest.raises(UnknownIdError):
        CategoryNames(CATEGORIES).find(f"{word} thing")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the file is empty"),
        (b"\n\n  \n", "the file is empty"),
        (b"x" * (MAX_BYTES + 1), "at most 300,000"),
        (b"PK\x03\x04" + b"\x00\xff\x81\x8d" * 50, "is no text"),
        (b"category,count\nfood,\x81\n", "is no text"),
        (b"\xff\xfea", "is no text"),
        (b"category,count\n" + b"food,1\n" * 40 + b"\x00", "is no text"),
        (b"food,3\n", "it must hold the names of the columns, with category among them"),
        (b"category,count,count\nfood,1,2\n", "column count is there 2 times"),
        (b"category,cuont\nfood,3\n", r"column 'cuont' is not known \(did you mean count\?\)"),
        (b"category,count,\nfood,3,4\n", "column 'without a name' is not known: allowed are"),
        (b'category,count\n"food,3\n', "line 2 is no CSV"),
        (b"category,count\n" + b"food,1\n" * (MAX_ROWS + 1), "the file has 501 filled lines"),
    ],
)
def test_files_that_can_not_be_read_as_a_whole(data: bytes, message: str) -> None:
    with pytest.raises(InvalidEntryError, match=message):
        read_table(data)


def test_an_unknown_column_without_a_cell_does_no_harm() -> None:
    text = "Category,Count,Remarks,\nfood,3,,\n"
    (row,) = read_sheet(text.encode(), CATEGORIES).rows
    assert row.count == 3
