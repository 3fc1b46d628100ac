"""`tallytare plan`: from the shipped table, from reports of ours, from a spreadsheet."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.cli.conftest import Run

SAMPLES = """sample,category,weight
monday,Food,2.0
monday,Cans,0.2
tuesday,Food,3.0
tuesday,Cans,0.1
wednesday,Food,2.0
wednesday,Glass,0.5
"""
REPORT_HEADER = "sort_id,sort_name,level,name,measure,basis,value\n"


def report_of(sort: str, food: float, cans: float, unweighed: int = 0) -> str:
    return (
        REPORT_HEADER
        + f"{sort},Sort {sort},total,Total,net_weight,measured,{food + cans}\n"
        + f"{sort},Sort {sort},category,Food,net_weight,measured,{food}\n"
        + f"{sort},Sort {sort},category,Cans,net_weight,measured,{cans}\n"
        + f"{sort},Sort {sort},category,Cans,net_weight,estimated,999\n"
        + f"{sort},Sort {sort},category,Cans,unweighed_objects,counted,{unweighed}\n"
    )


@pytest.fixture
def pilot(tmp_path: Path) -> Path:
    file = tmp_path / "pilot.csv"
    file.write_text(SAMPLES, "utf-8")
    return file


def test_from_the_shipped_table(run: Run) -> None:
    ran = run("plan")
    assert ran.code == 0
    assert "3317 sorting samples: Yard waste decides (± 10 % of each mean, 90 % conf" in ran.out
    assert "Corrugated         14.00%    6.00%         52" in ran.out
    assert "confidence code C" in ran.out
    assert "Precision by number" not in ran.out


def test_one_category_and_its_curve(run: Run) -> None:
    ran = run("plan", "--category", "corrugated", "--curve")
    assert ran.out.startswith("52 sorting samples: Corrugated decides")
    assert "Yard waste" not in ran.out
    row = ran.out.splitlines()[-1].split()
    assert row[0] == "Corrugated"
    half = stats.t.ppf(0.95, 49) * 0.06 / 0.14 / np.sqrt(50)
    assert row[5] == f"{half:.1%}"


def test_json_of_the_table(run: Run) -> None:
    answer = json.loads(run("plan", "--json", "--level", 95).out)
    assert (answer["samples"], answer["deciding"], answer["level"]) == (4709, "Yard waste", 0.95)
    assert answer["source"]["code"] == "C"
    assert len(answer["categories"]) == 12
    assert "curve" not in answer
    paper = json.loads(run("plan", "--json", "--precision", 20, "--curve").out)
    assert paper["categories"][0]["samples"] == 6
    assert paper["categories"][0]["settled"] is False
    assert paper["curve"][0]["samples"] == 5
    assert set(paper["curve"][0]["half_width"]) >= {"Glass", "Wood"}


def test_points_of_the_sample(run: Run) -> None:
    answer = json.loads(run("plan", "--json", "--points", 2, "--category", "Glass").out)
    assert answer["precision"] == {
        "value": 0.02, "basis": "absolute", "text": "± 2 percentage points"
    }  # fmt: skip
    assert answer["samples"] == 19
    assert "(percentage points)" in run("plan", "--points", 2, "--curve").out


def test_the_masses_of_a_study_are_a_pilot(run: Run, tmp_path: Path) -> None:
    masses = tmp_path / "masses.csv"
    masses.write_text(
        "sort,category,name,net_g,low_g,high_g,objects,unweighed\n"
        "1,food,Food,600,599,601,3,false\n1,cans,Cans,400,399,401,2,false\n"
        "2,food,Food,800,799,801,3,false\n2,cans,Cans,200,199,201,9,true\n"
        "3,food,Food,0,0,0,1,true\n",
        encoding="utf-8",
    )
    ran = run("plan", masses, "--json")
    assert ran.code == 0, ran.err
    stated = json.loads(ran.out)
    by_name = {each["name"]: each for each in stated["categories"]}
    assert by_name["Food"]["mean"] == pytest.approx(0.7)
    assert by_name["Cans"]["sd"] == pytest.approx(0.2 / 2**0.5)
    said = " ".join(stated["notes"])
    assert "sorts without any weight are left out: 1" in said
    assert "too low here: Cans, Food" in said


def test_pilot_of_weights(run: Run, pilot: Path) -> None:
    ran = run("plan", pilot, "--json")
    assert ran.code == 0
    answer = json.loads(ran.out)
    food = np.array([2 / 2.2, 3 / 3.1, 2 / 2.5])
    assert answer["categories"][0]["mean"] == pytest.approx(food.mean())
    assert answer["categories"][0]["sd"] == pytest.approx(food.std(ddof=1))
    assert answer["deciding"] == "Glass"
    assert answer["source"] == {"text": "pilot of 3 samples (pilot.csv)", "code": None}
    assert answer["notes"][-1].startswith(
        "A pilot of 3 samples knows each standard deviation only to about ± 50%"
    )


def test_pilot_of_reports(run: Run, tmp_path: Path) -> None:
    for name, text in (("a", report_of("a", 900, 100)), ("b", report_of("b", 850, 150, 4))):
        (tmp_path / f"{name}.csv").write_text(text, "utf-8")
    ran = run("plan", tmp_path / "a.csv", tmp_path / "b.csv", "--json")
    answer = json.loads(ran.out)
    assert [each["mean"] for each in answer["categories"]] == pytest.approx([0.875, 0.125])
    assert answer["notes"][0] == "Sort b: some objects were not weighed and count as 0 here: Cans"
    twice = run("plan", tmp_path / "a.csv", tmp_path / "a.csv")
    assert twice.code == 1
    assert "the same file was given twice: a.csv" in twice.said


def test_pilot_in_columns_of_a_spreadsheet(run: Run, tmp_path: Path) -> None:
    """Semicolons, decimal commas, percentages, no column of samples; a category never found."""
    file = tmp_path / "mine.csv"
    file.write_text(
        "Category;Percent\nFood;40,5\nFood;35,5\n\nCans;1,2\nCans;0\nWood;0\nWood;\n", "utf-8-sig"
    )
    ran = run("plan", file)
    assert ran.code == 0
    assert ["Food", "38.00%", "3.54%"] in [line.split()[:3] for line in ran.out.splitlines()]
    assert "Not in any sample, so left out: Wood." in ran.out
    answer = json.loads(run("plan", file, "--json").out)
    assert answer["left_out"] == ["Wood"]


@pytest.mark.parametrize(
    ("rows", "mean", "note"),
    [
        ("food,40\nfood,30\nglass,0.5\nglass,0.7\n", 0.35, "per cent"),
        ("food,0.4\nfood,0.3\nglass,0.5\nglass,0.6\n", 0.35, "fractions"),
    ],
)
def test_values_without_a_unit_are_told_how_they_were_read(
    run: Run, tmp_path: Path, rows: str, mean: float, note: str
) -> None:
    file = tmp_path / "mine.csv"
    file.write_text("category,value\n" + rows, "utf-8")
    answer = json.loads(run("plan", file, "--json").out)
    assert answer["categories"][0]["mean"] == pytest.approx(mean)
    assert answer["notes"][0] == f"values were read as {note} of a sample"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "pilot.csv holds no rows under its header"),
        ("category,value\n", "pilot.csv holds no rows under its header"),
        ("kind,amount\na,1\n", "has the columns kind, amount: give category and one of value, sh"),
        ("category,share,percent\na,1,1\n", "give category and one of value, share"),
        ("category,weight\na,1\na,2\n", "has weights without a column sample"),
        ("category,value\na,1,2\n", "line 2: 3 cells under 2 columns: give one for each"),
        ("category,value\n,1\n", "line 2: category or sample is empty: fill it in"),
        ("category,value\na,1\na,many\n", "line 3: 'many' is no number from 0 upwards"),
        ("category,value\na,-1\na,1\n", "line 2: '-1' is no number from 0 upwards"),
        ("category,value\na,nan\na,1\n", "line 2: 'nan' is no number from 0 upwards"),
        ('category,value\na,"1,250"\n', "line 2: value '1,250' can be read in two ways"),
        ("category,value\na,1\na,2\nb,1\n", "a has 2 values and b 1: write 0 where a category"),
        ("category,value\na,1\n", "the files hold 1 sample with weights or shares"),
        ("sample,category,share\n1,a,0.5\n1,a,0.4\n", "line 3: a of this sample stands already in"),
        ("sample,category,weight\n1,a,0\n2,a,4\n", "sample pilot.csv 1 weighs nothing"),
        ("category,percent\na,80\na,90\nb,30\nb,5\n", "add to 110%: they can't be over 100 %"),
        ("category,percent\na,0\na,0\n", "no number can be given: no category has a mean above 0"),
        (REPORT_HEADER + "s,S,total,T,items,counted,3\n", "the files hold 0 sample with weights"),
    ],
)
def test_pilots_that_can_not_be_used(run: Run, tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "pilot.csv"
    file.write_text(text, "utf-8")
    ran = run("plan", file)
    assert ran.code == 1
    assert ran.out == ""
    assert message in ran.said


def test_files_of_two_kinds_missing_and_not_text(run: Run, pilot: Path, tmp_path: Path) -> None:
    shares = tmp_path / "shares.csv"
    shares.write_text("category,share\nFood,0.5\nFood,0.6\n", "utf-8")
    mixed = run("plan", pilot, shares)
    assert (mixed.code, "some files hold weights and others shares" in mixed.said) == (1, True)
    shares.write_bytes(b"category,share\nf\xff,1\n")
    assert "shares.csv is not UTF-8 text: save it as CSV UTF-8" in run("plan", shares).said
    missing = run("plan", tmp_path / "gone.csv")
    assert (missing.code, "No such file" in missing.said) == (1, True)


def test_more_samples_than_anyone_can_sort(run: Run) -> None:
    ran = run("plan", "--precision", "0.0001")
    assert ran.code == 1
    assert "needs more than 1000000000 samples: ask for less precision" in ran.said


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--precision", 5, "--points", 1), "--precision and --points were both given"),
        (("--precision", 0), "a precision of 0 was given: give a number above 0"),
        (("--points", -1), "a precision of -1 was given"),
        (("--level", 0.9), "--level 0.9 is not from 50 to 99.9: write 90 for 90 %"),
        (("--level", "nan"), "--level nan is not from 50 to 99.9"),
        (("--level", "high"), "Invalid value for '--level'"),
    ],
)
def test_wrong_arguments(run: Run, options: tuple[object, ...], message: str) -> None:
    ran = run("plan", *options)
    assert ran.code == 2
    assert message in ran.said


def test_unknown_category(run: Run) -> None:
    ran = run("plan", "--category", "Unobtainium")
    assert ran.code == 1
    assert "category 'Unobtainium' is not there; allowed: Mixed paper, Newsprint" in ran.said
