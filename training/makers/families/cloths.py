"""Tea towels, rags and folded cloth."""

from __future__ import annotations

from dataclasses import replace

from training.makers.dice import Dice
from training.makers.floors import draw_floor
from training.makers.material import Item, Part
from training.makers.mesh import Mesh, merge, sheet
from training.makers.warps import soft_folds


def cloth(dice: Dice) -> Item:
    """Tea towel, rag, sock-like or folded cloth."""
    look = draw_floor(dice, dice.pick(("cloth", "checked", "stripes", "plain")))
    wide, deep = dice.between(0.2, 0.4), dice.between(0.2, 0.5)
    kind = dice.pick(("heap", "flat", "folded"))
    flat = sheet(wide, deep, 90, 90)
    if kind == "folded":
        meshes: list[Mesh] = []
        for i in range(dice.whole(2, 5)):
            layer = soft_folds(sheet(wide * 0.5, deep * 0.5, 40, 40), dice, 0.06)
            meshes.append(layer.moved((0, 0, 0.006 * i)))
        made = merge(meshes)
    else:
        made = soft_folds(
            flat, dice, dice.between(0.6, 1.2) if kind == "heap" else dice.between(0.05, 0.4)
        )
    made.uv[:] = made.uv * wide / look.tile
    return Item(
        "textile",
        [Part(made, replace(look.material, relief="weave", bump=0.25, grain=18))],
        ("stands",),
        f"cloth_{kind}",
    )


MAKERS = {
    "cloth": (cloth, 1.5),
}
