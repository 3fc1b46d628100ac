"""Pictures too blurred, too dark or too small to learn from, found by their pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LOOK_SIDE_PX = 256
"""Longest side at which a picture is judged: about what a network sees of it."""

# OWN: see "blurred" in the developers' notes for what they flag among sharp and blurred pictures.
BLURRED_BELOW = 40.0
BLURRED_SHARE_BELOW = 0.03
DARK_BELOW = 45.0
PALE_ABOVE = 245.0
TINY_BELOW_PX = 96


@dataclass(frozen=True, slots=True)
class Quality:
    """What the pixels say.

    `sharpness` is the variance of the Laplacian of grey values 0-255, `contrast` their own
    variance, `light` their mean.
    """

    sharpness: float
    contrast: float
    light: float
    short_side_px: int

    @property
    def flags(self) -> tuple[str, ...]:
        """What is wrong with it, in plain words."""
        found = []
        # A plain envelope on a white table has few edges too, but little contrast to begin with.
        edges = self.sharpness / max(self.contrast, 1.0)
        if self.sharpness < BLURRED_BELOW and edges < BLURRED_SHARE_BELOW:
            found.append("blurred")
        if self.light < DARK_BELOW:
            found.append("dark")
        if self.light > PALE_ABOVE:
            found.append("pale")
        if self.short_side_px < TINY_BELOW_PX:
            found.append("tiny")
        return tuple(found)


def measure(grey: NDArray[np.uint8], short_side_px: int) -> Quality:
    """Measure a picture.

    Parameters
    ----------
    grey:
        (H, W) grey values with the longest side at most `LOOK_SIDE_PX`.
    short_side_px:
        Shorter side of the picture as it was kept.

    Notes
    -----
    Variance of the Laplacian: J. L. Pech-Pacheco et al., Diatom autofocusing in brightfield
    microscopy, ICPR 2000.
    """
    x = grey.astype(np.float32)
    if min(x.shape) < 3:
        return Quality(0.0, float(x.var()), float(x.mean()), short_side_px)
    inner = x[1:-1, 1:-1]
    around = x[:-2, 1:-1] + x[2:, 1:-1] + x[1:-1, :-2] + x[1:-1, 2:]
    return Quality(
        sharpness=float((around - 4 * inner).var()),
        contrast=float(x.var()),
        light=float(x.mean()),
        short_side_px=short_side_px,
    )
