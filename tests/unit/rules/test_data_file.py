"""Data files: every mistake is named with file, line and mend."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.rules.data_file import TomlFile, read_toml
from classifier.rules.data_table import did_you_mean

TEXT = '''\
# [[ghost]] in a comment
title = "a # no comment, no [[table]]"
story = """
[[ghost]]
key = "not a key"
"""
list = [
    "one",  # ]
    "two",
]
pairs = [
    [1],
    [2],
]
after = 1
literal = \'\'\'
[[ghost]]
\'\'\'
[[box]]
name = "first"
[[box.pin]]
size = "s"
[box.inside]
deep.er = "x"
[[box]]
name = "second"
[[box.pin]]
size = "m"
[[box.pin]]
size = "l"
"quoted key" = "v"
[plain.deep]
z = "z"
'''


def test_lines_of_keys_are_found_past_strings_lists_and_comments() -> None:
    file = TomlFile(TEXT, "x.toml")
    assert file.line(("title",)) == 2
    assert file.line(("list",)) == 7
    assert file.line(("after",)) == 15
    assert file.line(("box", 0, "name")) == 20
    assert file.line(("box", 0, "pin", 0, "size")) == 22
    assert file.line(("box", 0, "inside", "deep", "er")) == 24
    assert file.line(("box", 1, "name")) == 26
    assert file.line(("box", 1, "pin", 1)) == 29
    assert file.line(("plain", "deep", "z")) == 33
    assert file.end == 33


def test_an_unknown_place_falls_back_to_the_table_around_it() -> None:
    file = TomlFile(TEXT, "x.toml")
    assert file.line(("box", 1, "pin", 1, "quoted key")) == 29
    assert file.line(("nowhere",)) == 1
    assert file.root.tables("box")[1].line == 25
    assert list(file.root.tables("box")[1].names()) == ["name", "pin"]


@pytest.mark.parametrize(
    ("text", "line"),
    [("a = 1\nb = = 2\n", 2), ("a = 1\na = 2\n", 2), ('a = 1\n\nb = "open', 3)],
)
def test_broken_toml_names_its_line(text: str, line: int) -> None:
    with pytest.raises(DataFileError, match=rf"^x\.toml, line {line}: this is no valid TOML") as e:
        TomlFile(text, "x.toml")
    assert e.value.details["line"] == line
    assert e.value.details["file"] == "x.toml"


def test_toml_of_endless_brackets_is_refused() -> None:
    with pytest.raises(DataFileError, match=r"^x\.toml, line 1: brackets stand in brackets"):
        TomlFile("a = " + "[" * 20_000, "x.toml")


def test_toml_that_breaks_off_at_the_end_names_the_last_line() -> None:
    with pytest.raises(DataFileError, match=r"line 2: this is no valid TOML"):
        TomlFile("a = 1\nb = [", "x.toml")


@pytest.mark.parametrize(
    ("read", "what", "mend"),
    [
        (lambda t: t.text("number"), '"number" is not a text', 'Write number = "..." in quotes'),
        (lambda t: t.text("blank"), '"blank" is missing or empty', 'Add blank = "..."'),
        (lambda t: t.text("absent"), '"absent" is missing or empty', 'Add absent = "..."'),
        (lambda t: t.identifier("odd"), '"No Id" is no id', "small letters"),
        (lambda t: t.texts("mixed"), '"mixed" holds something else than texts', "in quotes"),
        (lambda t: t.texts("empty", needed=True), '"empty" is missing or empty', "Add empty"),
        (lambda t: t.flag("number"), '"number" is neither true nor false', "number = true"),
        (lambda t: t.day("number"), '"number" is not a date', "number = 2026-01-31"),
        (lambda t: t.day("moment"), '"moment" is not a date', "unquoted"),
        (lambda t: t.day("absent", needed=True), '"absent" is missing', "Add absent = 2026"),
        (lambda t: t.table("number"), '"number" is not a table', "number = { key = value }"),
        (lambda t: t.tables("number"), '"number" is not a list of tables', "[[number]]"),
        (lambda t: t.tables("mixed"), '"mixed" is not a list of tables', "[[mixed]]"),
        (lambda t: t.only(["number"]), 'unknown key "blank"', "Use one of: number"),
        (lambda t: t.one_of("odd", ["abc"], "thing"), 'unknown thing "No Id"', "Use one of: abc"),
        (lambda t: t.one_of("near", ["kerbside"], "route"), '"kerbsied"', 'mean "kerbside"?'),
    ],
)
def test_each_reader_names_what_is_wrong(read, what: str, mend: str) -> None:  # type: ignore[no-untyped-def]
    file = TomlFile(
        'number = 1\nblank = " "\nodd = "No Id"\nmixed = ["a", 2]\nempty = []\n'
        'moment = 2026-01-01T10:00:00\nnear = "kerbsied"\n',
        "x.toml",
    )
    read(file.root)
    with pytest.raises(DataFileError, match=re.escape(what)) as error:
        file.problems.raise_any()
    assert mend in error.value.message


def test_readers_return_what_is_there() -> None:
    file = TomlFile(
        'id = "a_1"\nday = 2026-01-31\nyes = true\nmany = ["a", "b"]\none = "c"\nsub.x = "y"\n',
        "x.toml",
    )
    root = file.root
    assert root.identifier() == "a_1"
    assert root.day("day") == date(2026, 1, 31)
    assert root.day("no_day") is None
    assert (root.flag("yes"), root.flag("no")) == (True, False)
    assert (root.texts("many"), root.texts("one"), root.texts("none")) == (("a", "b"), ("c",), ())
    assert root.table("sub").text("x") == "y"
    assert root.text("absent", needed=False) == ""
    assert root.one_of("one", ["c", "d"], "letter") == "c"
    assert root.tables("absent") == ()
    file.problems.raise_any()


def test_all_mistakes_come_at_once_in_the_order_of_their_lines() -> None:
    file = TomlFile("a = 1\nb = 2\n", "x.toml")
    file.root.text("b")
    file.root.text("a")
    with pytest.raises(DataFileError) as error:
        file.problems.raise_any()
    assert [line[:16] for line in error.value.message.splitlines()] == [
        "x.toml, line 1: ",
        "x.toml, line 2: ",
    ]
    assert error.value.details["line"] == 1
    assert error.value.details["problems"] == [
        {"line": 1, "what": '"a" is not a text', "mend": 'Write a = "..." in quotes'},
        {"line": 2, "what": '"b" is not a text', "mend": 'Write b = "..." in quotes'},
    ]


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match=r"^gone\.toml, line 1: .*No such file.*Check its name"):
        read_toml(tmp_path / "gone.toml")
    latin = tmp_path / "latin.toml"
    latin.write_bytes('name = "caf\xe9"\n'.encode("latin-1"))
    with pytest.raises(DataFileError, match=r"^latin\.toml, line 1: .*not UTF-8.*save it as UTF-8"):
        read_toml(latin)


def test_a_byte_order_mark_from_a_windows_editor_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "bom.toml"
    path.write_bytes(b'\xef\xbb\xbfname = "x"\r\nother = "y"\r\n')
    file = read_toml(path)
    assert file.root.text("name") == "x"
    assert file.line(("other",)) == 2


def test_did_you_mean_offers_the_nearest_or_the_list() -> None:
    assert did_you_mean("cartos", ["cartons", "wood"]) == (
        'Did you mean "cartons"? Correct the spelling'
    )
    assert did_you_mean("zzz", ["b", "a"]) == "Use one of: a, b"
