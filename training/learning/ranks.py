"""Several processes that train one network together, started by torch's own `torchrun`."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import torch
from torch import distributed, nn

from classifier.errors import TallytareError


class UnevenBatchError(TallytareError):
    """A batch can't be dealt out evenly."""

    code = "uneven_batch"


@dataclass(frozen=True, slots=True)
class Ranks:
    """This process among `world` equal ones; alone without `torchrun`."""

    rank: int = 0
    world: int = 1

    @property
    def first(self) -> bool:
        """Whether this process reports, saves and judges."""
        return self.rank == 0

    def check(self, batch: int) -> None:
        """Raise UnevenBatchError where the processes would get unequal shares of a batch."""
        if batch % self.world:
            raise UnevenBatchError(
                f"a batch of {batch} can't be shared evenly by {self.world} processes; choose "
                "another batch in the recipe or another number of processes",
                batch=batch,
                processes=self.world,
            )

    def share(self, index: torch.Tensor) -> torch.Tensor:
        """Return this process's part of the rows of a batch."""
        return index[self.rank :: self.world]

    def average_gradients(self, net: nn.Module) -> None:
        """Replace each gradient by the mean over all processes."""
        self._average([p.grad for p in net.parameters() if p.grad is not None])

    def average_statistics(self, net: nn.Module) -> None:
        """Replace running statistics by their means, so that all processes go on alike."""
        self._average([b for b in net.buffers() if b.is_floating_point()])

    def _average(self, tensors: list[torch.Tensor]) -> None:
        if self.world == 1:
            return
        # One message for all: hundreds of small ones would cost more than the arithmetic.
        flat = torch.cat([tensor.flatten() for tensor in tensors])
        distributed.all_reduce(flat)
        flat /= self.world
        parts = torch.split(flat, [tensor.numel() for tensor in tensors])
        for tensor, part in zip(tensors, parts, strict=True):
            tensor.copy_(part.view_as(tensor))


@contextmanager
def joined_ranks() -> Iterator[tuple[Ranks, torch.device]]:
    """Join the processes that `torchrun` started; gives this one's place and its device."""
    world = int(os.environ.get("WORLD_SIZE", "1"))
    cuda = torch.cuda.is_available()
    if world == 1:
        yield Ranks(), torch.device("cuda" if cuda else "cpu")
        return
    local = int(os.environ["LOCAL_RANK"])
    device = torch.device("cuda", local) if cuda else torch.device("cpu")
    if cuda:
        torch.cuda.set_device(device)
    distributed.init_process_group("nccl" if cuda else "gloo")
    try:
        yield Ranks(distributed.get_rank(), world), device
    finally:
        distributed.destroy_process_group()
