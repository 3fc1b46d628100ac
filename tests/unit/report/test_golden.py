from __future__ import annotations

from tests.unit.report.golden import GOLDEN, written


def test_json_of_a_fixed_sort_is_the_same_byte_for_byte() -> None:
    assert written() == GOLDEN.read_text(encoding="utf-8")
