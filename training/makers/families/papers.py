"""Paper: crumpled and flat sheets, envelopes, newspapers, bags; tissues, napkins, rolls."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, paper
from training.makers.mesh import Mesh, box, grid, rotation, sheet, tube
from training.makers.noise import smooth_noise
from training.makers.prints import page, print_label, stained, torn
from training.makers.warps import bent, crumpled_ball, crumpled_sheet, crushed_parts


def _sheet_colour(dice: Dice) -> np.ndarray:
    return dice.pick(
        (
            dice.grey(0.88, 0.98, 0.02),
            dice.grey(0.78, 0.9, 0.02),
            dice.colour(strength=(0.1, 0.5), value=(0.75, 1)),
        ),
        (6, 2, 1),
    )


def _printed(dice: Dice, ground: np.ndarray, share: float = 0.7) -> np.ndarray:
    texture = page(dice, ground, ink=float(dice.chance(share)))
    if dice.chance(0.15):
        texture = stained(texture, dice, dice.between(0.2, 0.8))
    if dice.chance(0.15):
        texture = torn(texture, dice)
    return texture


def crumpled_paper(dice: Dice) -> Item:
    """Sheet pressed into a ball, loosely or tightly."""
    ground = _sheet_colour(dice)
    made = crumpled_ball(dice, dice.between(0.025, 0.06), loose=dice.between_apart(0, 0.7))
    texture = page(dice, ground, ink=float(dice.chance(0.35)))
    look = paper(
        (1, 1, 1), texture=texture, through=0.15, facets=dice.pick((0.0, 1.0)), back=ground
    )
    return Item("printed_paper", [Part(made, look)], detail="crumpled_paper")


def paper_sheet(dice: Dice) -> Item:
    """Sheet or page: flat, curled, folded once, or creased all over."""
    ground = _sheet_colour(dice)
    size = dice.between(0.09, 0.21)
    flat = sheet(size, size * dice.between(1.0, 1.6), 72, 72)
    amount = dice.pick((0.01, 0.05, 0.15, 0.35, 0.6), (2, 2, 3, 3, 2))
    made = crumpled_sheet(flat, dice, amount, scale=dice.between(0.06, 0.14))
    if dice.chance(0.35):
        made = bent(made, dice.between(15, 120))
    elif dice.chance(0.25):
        made = _folded(made, dice)
    look = paper((1, 1, 1), texture=_printed(dice, ground), through=0.2, back=ground)
    return Item("printed_paper", [Part(made, look)], ("stands",), "paper_sheet")


def _folded(mesh: Mesh, dice: Dice) -> Mesh:
    """Fold a sheet along a line, left a little open."""
    at, opening = dice.between(-0.03, 0.03), dice.between(0.05, 1.2)

    def change(v: np.ndarray) -> np.ndarray:
        over = np.maximum(v[:, 0] - at, 0)
        x = np.where(v[:, 0] > at, at - over * np.cos(opening), v[:, 0])
        return np.stack([x, v[:, 1], v[:, 2] + over * np.sin(opening) + 0.002 * (over > 0)], 1)

    return mesh.warped(change)


def envelope(dice: Dice) -> Item:
    """Envelope from front or back, with window, stamp or torn flap."""
    wide = dice.between(0.16, 0.23)
    tall = wide * dice.pick((0.5, 0.7))
    ground = dice.pick(
        (dice.grey(0.88, 0.97, 0.02), dice.colour((0.07, 0.1), (0.25, 0.45), (0.6, 0.8)))
    )
    ink = tuple(int(c * 235) for c in ground)
    image = Image.new("RGB", (256, 160), tuple(int(c * 255) for c in ground))
    draw = ImageDraw.Draw(image)
    if dice.chance(0.5):
        draw.line([(0, 0), (128, dice.whole(60, 100)), (256, 0)], ink, 3)
        draw.line([(0, 160), (128, 70), (256, 160)], ink, 2)
    else:
        if dice.chance(0.6):
            draw.rounded_rectangle((24, 80, 130, 125), 5, fill=tuple(int(c * 215) for c in ground))
        for row in range(4):
            draw.line([(32, 88 + 9 * row), (dice.whole(60, 120), 88 + 9 * row)], (60, 60, 60), 2)
        stamp = print_label(dice, (40, 48))
        image.paste(Image.fromarray(stamp), (206, 10))
    made = crumpled_sheet(
        sheet(wide, tall, 40, 40), dice, dice.pick((0.005, 0.03, 0.12)), scale=0.12
    )
    texture = np.asarray(image)
    if dice.chance(0.2):
        texture = torn(np.asarray(Image.fromarray(texture).resize((256, 256))), dice)
    return Item(
        "printed_paper", [Part(made, paper((1, 1, 1), texture=texture))], ("stands",), "envelope"
    )


def newspaper(dice: Dice) -> Item:
    """Folded newspaper or magazine: a stack of leaves, seen from above."""
    ground = dice.grey(0.78, 0.92, 0.03)
    wide = dice.between(0.16, 0.3)
    tall, thick = wide * dice.between(1.1, 1.5), dice.between(0.002, 0.014)
    body = box(wide, tall, thick, 24)
    texture = print_label(dice) if dice.chance(0.35) else page(dice, ground)
    cover = sheet(wide, tall, 40, 40).moved((0, 0, thick + 0.001))
    wave = 0.004 * smooth_noise(cover.v, dice.rng, frequency=8, octaves=2)
    cover = cover.moved(np.stack([0 * wave, 0 * wave, np.abs(wave)], 1))
    gloss = dice.between(0.4, 0.9)
    parts = [
        Part(body, paper(ground)),
        Part(cover, Material((1, 1, 1), texture, roughness=gloss, gloss=0.7)),
    ]
    return Item("printed_paper", parts, ("stands",), "newspaper")


def paper_bag(dice: Dice) -> Item:
    """Paper bag, standing open, lying or crumpled, or a sheet of wrapping paper."""
    kraft = dice.colour((0.06, 0.1), (0.25, 0.5), (0.5, 0.8))
    ground = dice.pick((kraft, kraft, dice.grey(0.85, 0.96), dice.colour(strength=(0.3, 0.8))))
    printed = dice.chance(0.4)
    texture = print_label(dice, ground=ground) if printed else None
    look = paper(
        (1, 1, 1) if printed else ground, texture=texture, back=ground, through=0.1, bump=0.15
    )
    if dice.chance(0.3):
        wrapped = crumpled_sheet(
            sheet(0.22, 0.26, 72, 72), dice, dice.between(0.1, 0.5), scale=0.12
        )
        return Item("paper_bag_wrap", [Part(wrapped, look)], ("stands",), "wrapping")
    if dice.chance(0.35):
        ball = crumpled_ball(dice, dice.between(0.04, 0.08), loose=dice.between(0, 0.8))
        return Item("paper_bag_wrap", [Part(ball, look)], detail="paper_bag")
    wide, tall = dice.between(0.1, 0.2), dice.between(0.14, 0.3)
    if dice.chance(0.4):
        flat = _bag(wide, dice.between(0.006, 0.03), tall, dice).turned(
            rotation((1, 0, 0), -np.pi / 2)
        )
        made = crumpled_sheet(
            flat.moved((0, -tall / 2, 0)), dice, dice.between(0.2, 0.9), scale=0.1
        )
        return Item("paper_bag_wrap", [Part(made, look)], ("stands",), "pressed_bag")
    deep = dice.between(0.05, 0.11)
    skin = _bag(wide, deep, tall, dice)
    parts = crushed_parts([Part(skin, look)], dice, dice.between(0.08, 0.45), 1.6)
    if dice.chance(0.25):
        parts += _handles(deep, tall, ground)
    return Item("paper_bag_wrap", parts, ("stands", "lies", "settles"), "paper_bag", (2, 3, 1))


def _bag(wide: float, deep: float, tall: float, dice: Dice) -> Mesh:
    """Tube of rectangular section, its sides folded inward, with a bottom."""
    angle = np.linspace(0, 2 * np.pi, 65)
    power = 12.0
    r = (np.abs(np.cos(angle)) ** power + np.abs(np.sin(angle)) ** power) ** (-1 / power)
    z = np.linspace(0, tall, 40)[:, None]
    pinch = 1 - dice.between(0, 0.9) * (z / tall) ** 1.5
    x = np.broadcast_to(r * np.cos(angle) * wide / 2, (40, 65))
    y = r * np.sin(angle) * deep / 2 * pinch
    gusset = 1 - 0.5 * (np.abs(np.cos(angle)) > 0.75) * (1 - np.abs(np.sin(angle))) * (z / tall)
    points = np.stack([x * gusset, y, np.broadcast_to(z, x.shape)], 2)
    bottom = points[:1] * [0, 0, 1.0]
    return grid(np.concatenate([bottom, points[:1], points]), around=True)


def _handles(deep: float, tall: float, colour: np.ndarray) -> list[Part]:
    turn = np.linspace(0, np.pi, 20)
    arc = np.stack([0.03 * np.cos(turn), 0 * turn, tall + 0.05 * np.sin(turn) - 0.01], 1)
    return [
        Part(tube(arc + np.array([0, side * deep * 0.3, 0]), 0.002), paper(colour * 0.9))
        for side in (-1, 1)
    ]


MAKERS = {
    "crumpled_paper": (crumpled_paper, 3.0),
    "paper_sheet": (paper_sheet, 2.0),
    "envelope": (envelope, 1.0),
    "newspaper": (newspaper, 1.0),
    "paper_bag": (paper_bag, 2.5),
}
