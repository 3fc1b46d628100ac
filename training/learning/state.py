"""What a stopped training needs to go on to the same result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import torch
from torch import nn


class StateStore(Protocol):
    """Where the state after the last finished epoch is kept."""

    def load(self) -> Mapping[str, Any] | None:
        """Return what was kept, or None."""

    def save(self, state: Mapping[str, Any]) -> None:
        """Keep a state instead of the one before."""


@dataclass(frozen=True, slots=True)
class TrainingState:
    """The parts of a training that change as it goes on.

    Random numbers are not among them: they are seeded again for every epoch.
    """

    net: nn.Module
    average: nn.Module
    optimizer: torch.optim.Optimizer
    schedule: torch.optim.lr_scheduler.LRScheduler

    def dump(self, epoch: int) -> dict[str, Any]:
        """Everything after an epoch."""
        return {
            "epoch": epoch,
            "net": self.net.state_dict(),
            "average": self.average.state_dict(),
            "optimizer": self.optimizer.state_dict(),
            "schedule": self.schedule.state_dict(),
        }

    def restore(self, kept: Mapping[str, Any] | None) -> int:
        """Go back to a kept state, if any; returns how many epochs are done."""
        if kept is None:
            return 0
        self.net.load_state_dict(kept["net"])
        self.average.load_state_dict(kept["average"])
        self.optimizer.load_state_dict(kept["optimizer"])
        self.schedule.load_state_dict(kept["schedule"])
        return int(kept["epoch"])
