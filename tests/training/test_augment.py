"""Random crops and light: range, shape, repeatability, and pixels from the picture only."""

from __future__ import annotations

import pytest
import torch

from tests.training.conftest import CPU
from training.pictures.augment import (
    Chance,
    corner_crops,
    mix_pictures,
    plain_scenes,
    random_crops,
    random_light,
)
from training.pictures.images import CANVAS, Canvases
from training.recipe import Recipe

RECIPE = Recipe(size=64)
ALL = torch.arange(8)


def _solid(levels: list[int], height: int = 100, width: int = 60) -> Canvases:
    """Pictures of one grey each, on canvases that are black beyond them."""
    pixels = torch.zeros((len(levels), 3, CANVAS, CANVAS), dtype=torch.uint8)
    for row, level in enumerate(levels):
        pixels[row, :, :height, :width] = level
    return Canvases(pixels, torch.tensor([[height, width]] * len(levels)).float())


def test_crops_have_shape_and_range_and_repeat_by_seed(canvases: Canvases) -> None:
    crops = [random_crops(canvases, ALL, RECIPE, Chance(seed, CPU)) for seed in (1, 1, 2)]
    assert crops[0].shape == (8, 3, 64, 64)
    assert crops[0].dtype == torch.float32
    assert 0 <= crops[0].min() <= crops[0].max() <= 1
    assert torch.equal(crops[0], crops[1])
    assert not torch.equal(crops[0], crops[2])


def test_crops_never_read_beyond_the_picture(chance: Chance) -> None:
    crops = random_crops(_solid([200] * 64), torch.arange(64), RECIPE, chance)
    torch.testing.assert_close(crops, torch.full_like(crops, 200 / 255))


def test_without_turn_or_zoom_a_crop_shows_most_of_the_picture(chance: Chance) -> None:
    """A picture brighter to the right stays so, or is mirrored; it is never upside down."""
    ramp = torch.linspace(0, 255, CANVAS).round().to(torch.uint8).expand(3, CANVAS, CANVAS)
    canvases = Canvases(ramp[None].clone(), torch.tensor([[CANVAS, CANVAS]]).float())
    recipe = Recipe(size=64, turn=0.0, zoom=1.0)
    crops = random_crops(canvases, torch.zeros(32, dtype=torch.long), recipe, chance)
    assert crops.diff(dim=2).abs().max() < 1e-5
    slopes = (crops[:, 0, 32, -1] - crops[:, 0, 32, 0]).abs()
    assert slopes.min() > 0.8


def test_corner_crops_come_from_the_pictures_that_show_most_floor(chance: Chance) -> None:
    """One picture has an item in its middle, the others fill their frames."""
    canvases = _solid([90, 90, 90, 90])
    canvases.pixels[2, :, 30:70, 15:45] = 250
    crops = corner_crops(canvases, torch.arange(4), 1, RECIPE, chance)
    assert crops.shape == (1, 3, 64, 64)
    torch.testing.assert_close(crops, torch.full_like(crops, 90 / 255))


@pytest.mark.parametrize("strength", [0.5, 1.0, 2.0])
def test_light_keeps_range_and_shape(canvases: Canvases, strength: float) -> None:
    images = random_crops(canvases, ALL, RECIPE, Chance(1, CPU))
    for seed in range(8):
        lit = random_light(images, strength, Chance(seed, CPU))
        assert lit.shape == images.shape
        assert 0 <= lit.min() <= lit.max() <= 1
        assert torch.equal(lit, random_light(images, strength, Chance(seed, CPU)))
        assert not torch.equal(lit, images)


def test_no_light_changes_nothing(canvases: Canvases, chance: Chance) -> None:
    images = random_crops(canvases, ALL, RECIPE, chance)
    assert random_light(images, 0.0, chance) is images


def test_mixing_keeps_each_picture_and_its_partner_in_their_shares() -> None:
    """Every picture is one grey, so the mean of a mixed one tells how much is its own."""
    grey = torch.tensor([0.0, 0.25, 0.5, 1.0])
    images = grey.view(4, 1, 1, 1).expand(4, 3, 64, 64)
    kinds = set()
    for seed in range(12):
        mixed, partner, share = mix_pictures(images, Chance(seed, CPU))
        assert mixed.shape == images.shape
        assert sorted(partner.tolist()) == [0, 1, 2, 3]
        assert 0.5 <= share.min() <= share.max() <= 1
        expected = share * grey + (1 - share) * grey[partner]
        torch.testing.assert_close(mixed.mean(dim=(1, 2, 3)), expected, atol=1e-4, rtol=0)
        kinds.add("cutmix" if set(mixed.unique().tolist()) <= set(grey.tolist()) else "mixup")
    assert kinds == {"cutmix", "mixup"}
    assert torch.equal(images, grey.view(4, 1, 1, 1).expand(4, 3, 64, 64))


def test_plain_scenes_are_smooth_and_in_range() -> None:
    scenes = plain_scenes(6, 64, Chance(1, CPU))
    assert scenes.shape == (6, 3, 64, 64)
    assert 0 <= scenes.min() <= scenes.max() <= 1
    assert torch.equal(scenes, plain_scenes(6, 64, Chance(1, CPU)))
    assert scenes.std(dim=(2, 3)).max() < 0.2
    assert plain_scenes(0, 64, Chance(1, CPU)).shape == (0, 3, 64, 64)
