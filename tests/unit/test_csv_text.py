"""What CSV makes of values that are no text."""

from __future__ import annotations

from datetime import date

from classifier.csv_text import csv_line, csv_text


def test_each_kind_of_value_has_one_form() -> None:
    values = [date(2026, 5, 1), {"b": 1, "a": [2]}, b"\x00head", "=1+1", 3, None]
    assert csv_line(values) == '2026-05-01,"{""a"": [2], ""b"": 1}",AGhlYWQ=,\'=1+1,3,\r\n'


def test_a_table_begins_with_its_header() -> None:
    assert csv_text(["a", "b"], [[1, "x"]]) == "a,b\r\n1,x\r\n"
