from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from classifier.errors import DataFileError
from classifier.report.planning_table import SHIPPED_PLANNING_TABLE, load_planning_table


def test_the_shipped_table_is_whole() -> None:
    table = load_planning_table()
    assert len(table.components) == 12
    assert sum(each.mean for each in table.components) == 1
    assert (table.id, table.code) == ("astm_d5231", "C")
    corrugated = next(each for each in table.components if each.id == "corrugated")
    assert (corrugated.mean, corrugated.sd) == (Decimal("0.14"), Decimal("0.06"))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('mean = "0.22"', 'mean = "22"', "the means add to 22.78. Write mass fractions"),
        ('mean = "0.22"', 'mean = "-1"', '"mean" is not a number above 0'),
        ('sd = "0.05"', 'spread = "0.05"', 'unknown key "spread"'),
        ('code = "C"', 'code = "X"', 'unknown confidence code "X"'),
    ],
)
def test_mistakes_are_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "table.toml"
    path.write_text(SHIPPED_PLANNING_TABLE.read_text("utf-8").replace(old, new, 1), "utf-8")
    with pytest.raises(DataFileError, match=message):
        load_planning_table(path)
