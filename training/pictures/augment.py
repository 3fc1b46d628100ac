"""Random crops, turns and light on whole batches, on any device."""

from __future__ import annotations

import math
import random

import torch
from torch.nn import functional
from torchvision.transforms.v2 import functional as vision

from training.pictures.images import CANVAS, Canvases
from training.recipe import Recipe


class Chance:
    """Seeded random numbers on the device that trains.

    What holds for a whole batch is decided on the processor: to ask a GPU would have the program
    wait for it at every step.
    """

    def __init__(self, seed: int, device: torch.device) -> None:
        self.device = device
        self.generator = torch.Generator(device=device).manual_seed(seed)
        self._decisions = random.Random(seed)

    def uniform(self, n: int, low: float = 0.0, high: float = 1.0) -> torch.Tensor:
        """Return n numbers between low and high, shape (n,)."""
        unit = torch.rand(n, generator=self.generator, device=self.device)
        return unit * (high - low) + low

    def normal(self, *shape: int) -> torch.Tensor:
        """Return standard normal numbers of the given shape."""
        return torch.randn(*shape, generator=self.generator, device=self.device)

    def order(self, n: int) -> torch.Tensor:
        """Return a random permutation of 0 to n - 1."""
        return torch.randperm(n, generator=self.generator, device=self.device)

    def number(self, low: float = 0.0, high: float = 1.0) -> float:
        """Return one number between low and high, for a whole batch."""
        return self._decisions.uniform(low, high)

    def hit(self, share: float) -> bool:
        """Return True with the given probability."""
        return self._decisions.random() < share


def random_crops(
    canvases: Canvases, index: torch.Tensor, recipe: Recipe, chance: Chance
) -> torch.Tensor:
    """Crop, turn, flip and zoom pictures: float32 of shape (B, 3, size, size), range 0 to 1.

    Items lie on floors, so any rotation is as likely as any other. What a crop would show beyond
    the picture's edge is the edge repeated, as a floor goes on.
    """
    grid = _sampling_grid(canvases.extents[index], recipe, chance)
    return _read(canvases, index, grid)


def corner_crops(
    canvases: Canvases, index: torch.Tensor, n: int, recipe: Recipe, chance: Chance
) -> torch.Tensor:
    """Patches from corners without an item, (n, 3, size, size), range 0 to 1.

    Taken from those n pictures of `index` whose corner differs most in colour from the middle: a
    flattened box that fills its frame has no empty corner.
    """
    extents = canvases.extents[index]
    side = extents.min(dim=1).values * chance.uniform(len(index), 0.1, 0.2)
    corner = torch.stack([chance.uniform(len(index)) < 0.5, chance.uniform(len(index)) < 0.5], 1)
    centre = side[:, None] / 2 + corner.float() * (extents - side[:, None])
    patch = _square_grid(centre, side, 8)
    middle = _square_grid(extents / 2, side * 2, 8)
    colours = [_read(canvases, index, grid).mean(dim=(2, 3)) for grid in (patch, middle)]
    best = (colours[0] - colours[1]).norm(dim=1).topk(n).indices
    return _read(canvases, index[best], _square_grid(centre[best], side[best], recipe.size))


def _square_grid(centre: torch.Tensor, side: torch.Tensor, size: int) -> torch.Tensor:
    """Pixel coordinates of upright squares, (B, size, size, 2); `centre` is (B, 2) as y, x."""
    x, y = _lattice(size, centre.device)
    read_x = centre[:, 1, None, None] + x * side[:, None, None] / 2
    read_y = centre[:, 0, None, None] + y * side[:, None, None] / 2
    return torch.stack([read_x, read_y], dim=-1)


def _read(canvases: Canvases, index: torch.Tensor, grid: torch.Tensor) -> torch.Tensor:
    """Sample canvases at pixel coordinates (B, S, S, 2), never outside the picture."""
    limit = canvases.extents[index].flip(1)[:, None, None, :] - 0.5  # width, height
    grid = torch.minimum(grid.clamp(min=0.5), limit) / CANVAS * 2 - 1
    pixels = canvases.pixels[index].float().div_(255)  # (B, 3, CANVAS, CANVAS)
    return functional.grid_sample(pixels, grid, padding_mode="border", align_corners=False)


def _lattice(size: int, device: torch.device) -> tuple[torch.Tensor, torch.Tensor]:
    """Coordinates of output pixels, -1 to 1, each of shape (1, S, S)."""
    steps = (torch.arange(size, device=device) + 0.5) / size * 2 - 1
    y, x = torch.meshgrid(steps, steps, indexing="ij")
    return x[None], y[None]


def _sampling_grid(extents: torch.Tensor, recipe: Recipe, chance: Chance) -> torch.Tensor:
    """Pixel coordinates that each output pixel reads, (B, S, S, 2) as x, y."""
    n = len(extents)
    short = extents.min(dim=1).values
    side = short * chance.uniform(n, recipe.zoom, 1.3).sqrt()
    stretch = chance.uniform(n, -0.15, 0.15).exp()
    half_h, half_w = side * stretch / 2, side / stretch / 2
    half = torch.stack([half_h, half_w], dim=1)
    # The centre wanders only as far as keeps most of the crop on the picture.
    room = (extents / 2 - half).clamp(min=0) + 0.06 * short[:, None]
    wander = torch.stack([chance.uniform(n, -0.8, 0.8), chance.uniform(n, -0.8, 0.8)], dim=1)
    centre = extents / 2 + room * wander
    limit = math.radians(recipe.turn)
    angle = chance.uniform(n, -limit, limit)
    flip = torch.where(chance.uniform(n) < 0.5, -1.0, 1.0)
    x, y = _lattice(recipe.size, extents.device)
    x = x * (half_w * flip)[:, None, None]
    y = y * half_h[:, None, None]
    cos, sin = angle.cos()[:, None, None], angle.sin()[:, None, None]
    read_x = centre[:, 1, None, None] + cos * x - sin * y
    read_y = centre[:, 0, None, None] + sin * x + cos * y
    return torch.stack([read_x, read_y], dim=-1)


def random_light(images: torch.Tensor, strength: float, chance: Chance) -> torch.Tensor:
    """Change exposure, contrast, colour, white balance, sharpness and noise; range stays 0 to 1."""
    if strength == 0:
        return images
    n = len(images)
    shape = (n, 1, 1, 1)
    exposure = chance.uniform(n, -0.45, 0.45).mul(strength).exp().view(shape)
    gamma = chance.uniform(n, -0.3, 0.3).mul(strength).exp().view(shape)
    contrast = chance.uniform(n, -0.35, 0.35).mul(strength).exp().view(shape)
    saturation = (1 + chance.uniform(n, -0.6, 0.5) * strength).clamp(min=0).view(shape)
    balance = (chance.normal(n, 3, 1, 1) * 0.08 * strength).exp()
    images = (images.clamp(min=1e-4) ** gamma) * exposure * balance
    mean = images.mean(dim=(1, 2, 3), keepdim=True)
    images = (images - mean) * contrast + mean
    grey = images.mean(dim=1, keepdim=True)
    images = (images - grey) * saturation + grey
    if chance.hit(0.3 * strength):
        images = vision.gaussian_blur(images, [5, 5], [chance.number(0.3, 1.5)])
    if chance.hit(0.3 * strength):
        images = images + chance.normal(*images.shape) * 0.04
    return images.clamp(0, 1)


def mix_pictures(
    images: torch.Tensor, chance: Chance
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Blend pictures (mixup) or paste a rectangle of one on another (cutmix), half and half.

    Returns
    -------
    The pictures, the index of each one's partner (B,), and the share (B,) of its own label.

    References
    ----------
    Zhang et al., mixup, ICLR 2018; Yun et al., CutMix, ICCV 2019.
    """
    n, _, height, width = images.shape
    partner = chance.order(n)
    if chance.hit(0.5):
        share = chance.number(0.6, 1.0)
        mixed = images * share + images[partner] * (1 - share)
        return mixed, partner, torch.full((n,), share, device=images.device)
    cut = math.sqrt(chance.number(0.0, 0.5))
    box_h, box_w = int(height * cut), int(width * cut)
    top = int(chance.number() * (height - box_h + 1))
    left = int(chance.number() * (width - box_w + 1))
    images = images.clone()
    rows, columns = slice(top, top + box_h), slice(left, left + box_w)
    images[:, :, rows, columns] = images[partner][:, :, rows, columns]
    kept = 1 - box_h * box_w / (height * width)
    return images, partner, torch.full((n,), kept, device=images.device)


def plain_scenes(n: int, size: int, chance: Chance) -> torch.Tensor:
    """Smooth random surfaces with nothing on them, (n, 3, size, size), range 0 to 1."""
    coarse = chance.normal(n, 1, 4, 4) * 0.08 + chance.normal(n, 3, 4, 4) * 0.02
    fine = chance.normal(n, 1, size, size) * 0.05 * chance.uniform(n).view(n, 1, 1, 1)
    base = chance.uniform(n, 0.15, 0.95).view(n, 1, 1, 1)
    tint = chance.normal(n, 3, 1, 1) * 0.06
    smooth = functional.interpolate(coarse, size=(size, size), mode="bicubic")
    return (base + tint + smooth + fine).clamp(0, 1)
