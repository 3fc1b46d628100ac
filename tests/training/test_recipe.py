"""Recipes: strict reading, ranges, round trip, and no more options than a person can read."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from classifier.errors import DataFileError
from training.recipe import Recipe, dump_recipe, find_recipe, load_recipe, make_recipe


def test_at_most_30_options() -> None:
    assert len(dataclasses.fields(Recipe)) <= 30


def test_dumped_recipe_loads_to_the_same(tmp_path: Path) -> None:
    recipe = make_recipe(
        {
            "name": 'über "alles"',
            "sources": ["a", "b"],
            "sisters": ["a"],
            "views": [0, 0.7],
            "rate": 1e-5,
            "negatives": 0,
        }
    )
    file = tmp_path / "recipe.toml"
    file.write_text(dump_recipe(recipe), encoding="utf-8")
    assert load_recipe(file) == recipe
    assert [line.split(" = ")[0] for line in dump_recipe(recipe).splitlines()] == [
        field.name for field in dataclasses.fields(Recipe)
    ]


def test_unknown_option_is_refused_with_the_allowed_ones() -> None:
    with pytest.raises(DataFileError, match=r"unknown option epoch; allowed are name, backbone"):
        make_recipe({"epoch": 3})


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("backbone", "lite9"),
        ("name", ""),
        ("size", 32),
        ("size", 226),
        ("epochs", 0),
        ("batch", 1),
        ("blend", 1.1),
        ("turn", 181.0),
        ("views", []),
        ("views", [1.2]),
        ("smoothing", -0.1),
        ("mix", 1.5),
        ("average", float("nan")),
        ("rate", 0.0),
        ("rate", float("inf")),
        ("members", 0),
        ("keep_weight", float("nan")),
        ("light", -0.5),
    ],
)
def test_value_out_of_range_is_named(option: str, value: object) -> None:
    with pytest.raises(DataFileError, match=rf"recipe: {option} = .* is out of range"):
        make_recipe({option: value})


def test_sisters_must_leave_a_source() -> None:
    with pytest.raises(DataFileError, match="sisters"):
        make_recipe({"sources": ["a"], "sisters": ["a"]})
    with pytest.raises(DataFileError, match="sisters"):
        make_recipe({"sources": ["a", "b"], "sisters": ["c"]})
    assert make_recipe({"sources": ["a", "b"], "sisters": ["a", "b"]}).sisters == ("a", "b")


@pytest.mark.parametrize(
    ("option", "value", "wanted"),
    [
        ("epochs", 2.5, "int"),
        ("epochs", True, "int"),
        ("rate", "fast", "float"),
        ("rate", True, "float"),
        ("views", 0.7, "list"),
        ("views", ["whole"], "float"),
        ("sources", [3], "str"),
    ],
)
def test_wrong_type_is_named(option: str, value: object, wanted: str) -> None:
    with pytest.raises(DataFileError, match=rf"{option} must be a {wanted}"):
        make_recipe({option: value})


def test_missing_or_broken_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match="does not exist"):
        load_recipe(tmp_path / "none.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("epochs = = 3\n")
    with pytest.raises(DataFileError, match=r"broken\.toml: .*line 1"):
        load_recipe(broken)


@pytest.mark.parametrize("name", ["household", "household_open", "household_small", "own"])
def test_shipped_recipes_load_and_bear_their_name(name: str) -> None:
    assert find_recipe(name).name == name


def test_unknown_recipe_names_the_shipped_ones() -> None:
    with pytest.raises(DataFileError, match=r"no recipe 'housold'; shipped are .*household"):
        find_recipe("housold")


def test_weights_of_sources_are_written_and_read_as_a_table(tmp_path: Path) -> None:
    recipe = Recipe(name="heavy", weights={"phones": 2.0, "hall": 0.5})
    (tmp_path / "heavy.toml").write_text(dump_recipe(recipe), encoding="utf-8")
    assert load_recipe(tmp_path / "heavy.toml") == recipe
    with pytest.raises(DataFileError, match=r"weights.phones must be a float"):
        make_recipe({"weights": {"phones": "much"}})
    with pytest.raises(DataFileError, match="weights"):
        make_recipe({"weights": {"phones": -1}})


def test_sisters_may_leave_out_several_sources_and_have_fewer_members() -> None:
    recipe = Recipe(sisters=("a+b", "c"), members=3, sister_members=1)
    assert recipe.left_out == ("a", "b", "c")
    assert recipe.members_for(()) == 3
    assert recipe.members_for(["c"]) == 1
    assert Recipe(members=3).members_for(["c"]) == 3
