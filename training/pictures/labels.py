"""The labels of pictures as class numbers."""

from __future__ import annotations

from dataclasses import dataclass

import torch


@dataclass(frozen=True, slots=True)
class Labels:
    """Class numbers of n pictures; -1 where nobody decided. `sources` numbers the sources."""

    forms: torch.Tensor  # (n,) int64
    materials: torch.Tensor  # (n,) int64
    sources: torch.Tensor  # (n,) int64

    def to(self, device: torch.device) -> Labels:
        """Copy to a device."""
        return Labels(self.forms.to(device), self.materials.to(device), self.sources.to(device))

    def pick(self, rows: torch.Tensor) -> Labels:
        """Return the labels of some rows."""
        return Labels(self.forms[rows], self.materials[rows], self.sources[rows])
