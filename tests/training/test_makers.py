"""Items and scenes made by rule: every form can be seen, nothing depends on chance alone."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from classifier.errors import DataFileError
from classifier.rules.categories import load_categories
from classifier.rules.suggestion_parts import NON_ITEM
from training.pictures.forms import table_of_labels

moderngl = pytest.importorskip("moderngl", reason="the extra `render` is not installed")

from training.makers.canvas import canvas  # noqa: E402
from training.makers.compose import MOST, Place, compose, draw_place  # noqa: E402
from training.makers.dice import Dice  # noqa: E402
from training.makers.registry import groups, makers  # noqa: E402
from training.makers.write import JUDGED, SCANS, Order, write_set  # noqa: E402

SIZE = 64


def _can_draw() -> bool:
    try:
        canvas(SIZE)
    except Exception:
        return False
    return True


pytestmark = pytest.mark.skipif(not _can_draw(), reason="no OpenGL through EGL on this machine")
ITEMS = sorted(name for name, maker in makers().items() if maker.make)
EMPTY = sorted(name for name, maker in makers().items() if not maker.make)


@pytest.fixture(scope="module")
def place() -> Place:
    return draw_place(Dice([3]))


@pytest.mark.parametrize("group", groups())
def test_items_are_seen_and_have_a_form(group: str, place: Place) -> None:
    shares: dict[str, list[float]] = {}
    for maker in (m for m in makers().values() if m.group == group and m.make):
        picture = maker.picture(Dice([1, 5]), place, SIZE)
        (form,) = picture.forms
        table_of_labels({form, "food", "wood"}, load_categories())
        assert picture.pixels.shape == (SIZE, SIZE, 3)
        shares.setdefault(form, []).append(float((picture.numbers == 1).mean()))
    for form, seen in shares.items():
        assert 0.02 < np.mean(seen) < 0.9, form
        assert min(seen) > 0.002, form


@pytest.mark.parametrize("name", ITEMS)
def test_an_item_is_sound(name: str) -> None:
    for seed in range(2):
        item = makers()[name].item(Dice([seed, 11], held=seed == 1))
        for part in item.parts:
            assert len(part.mesh.f) > 0
            assert 0 <= part.mesh.f.min() <= part.mesh.f.max() < len(part.mesh.v)
            assert len(part.mesh.uv) == len(part.mesh.v)
            assert np.isfinite(part.mesh.v).all()
            places = part.mesh.v[part.mesh.f]
            assert 0.001 < np.ptp(places.reshape(-1, 3), axis=0).max() < 1.2  # m


@pytest.mark.parametrize("name", EMPTY)
def test_a_scene_without_item_has_none(name: str, place: Place) -> None:
    picture = makers()[name].picture(Dice([1, 5]), place, SIZE)
    assert picture.forms == ()
    assert not picture.numbers.any()
    assert picture.pixels.std() > 0


def test_every_group_of_judged_pictures_is_a_group() -> None:
    assert set(JUDGED) <= set(groups())
    assert SCANS not in groups()


def test_the_same_number_gives_the_same_picture(place: Place) -> None:
    one, two = (makers()["mug"].picture(Dice([4]), place, SIZE) for _ in range(2))
    other = makers()["mug"].picture(Dice([5]), place, SIZE)
    assert (one.pixels == two.pixels).all()
    assert (one.numbers == two.numbers).all()
    assert (one.pixels != other.pixels).any()


def test_held_out_pictures_keep_their_own_floors_and_ranges() -> None:
    seen, kept = (
        {draw_place(Dice([i], held=held)).floor.kind for i in range(12)} for held in (False, True)
    )
    assert not seen & kept
    train = [Dice([i]).between_apart(0, 8) for i in range(60)]
    held = [Dice([i], held=True).between_apart(0, 8) for i in range(60)]
    assert {int(x) for x in held} == {2, 6}
    assert {int(x) for x in train} == {0, 1, 3, 4, 5, 7}


def test_several_items_are_told_apart(place: Place) -> None:
    dice = Dice([9])
    names = ["mug", "crumpled_paper", "foil_ball", "drink_can", "egg_carton", "bread"]
    picture = compose([makers()[name].item(dice) for name in names], dice, place, size=128)
    assert picture.forms[0] == "glass_ceramic_other"
    assert set(np.unique(picture.numbers)) == set(range(len(names) + 1))
    assert picture.numbers.dtype == np.uint16


@pytest.mark.parametrize("count", [0, MOST + 1])
def test_no_item_or_too_many_are_refused(count: int, place: Place) -> None:
    items = [makers()["mug"].item(Dice([1]))] * count
    with pytest.raises(ValueError, match=f"{count} items"):
        compose(items, Dice([1]), place)


def test_a_set_is_written_with_its_manifest(tmp_path: Path) -> None:
    order = Order(tmp_path, 11, SIZE, only=("cups", "empty"))
    assert write_set(order) == 11
    with (tmp_path / "manifest.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert all((tmp_path / row["path"]).is_file() for row in rows)
    assert {row["source"] for row in rows} == {"made_cups", "made_empty"}
    assert {row["form"] for row in rows if row["source"] == "made_empty"} == {NON_ITEM}
    assert len({row["group"] for row in rows}) == 11
    assert {row["split"] for row in rows} <= {"train", "test"}


def test_held_out_sets_only_judge(tmp_path: Path) -> None:
    write_set(Order(tmp_path, 2, SIZE, only=("lamps",), held=True))
    text = (tmp_path / "manifest.csv").read_text(encoding="utf-8")
    assert text.count("test\n") + text.count("test\r\n") == 2


@pytest.mark.parametrize(
    "order",
    [
        Order(Path(), 0),
        Order(Path(), 1, size=20),
        Order(Path(), 1, first=-1),
        Order(Path(), 1, only=("cutlery",)),
        Order(Path(), 1, only=(SCANS,)),
    ],
)
def test_orders_that_cannot_be_filled_are_refused(order: Order) -> None:
    with pytest.raises(DataFileError):
        write_set(order)
