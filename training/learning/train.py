"""The training loop: labelled canvases in, a network with averaged weights out."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable, Iterator
from itertools import chain

import torch
from torch import nn
from torch.nn import functional
from torch.optim.swa_utils import update_bn

from classifier.rules.suggestion_parts import NON_ITEM
from training.learning.ranks import Ranks
from training.learning.state import StateStore, TrainingState
from training.network import Outputs, SortNet, StyleMix
from training.pictures.augment import (
    Chance,
    corner_crops,
    mix_pictures,
    plain_scenes,
    random_crops,
    random_light,
)
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.recipe import Recipe

_UNKNOWN = -1
_REFRESHING = 10  # batches that statistics are worked out from
_DECAY = 0.02  # of weights, by AdamW
_HEADS_FASTER = 5  # times the learning rate of the backbone; heads start from nothing
_KEPT_EVERY_S = 60.0  # a state is some hundred megabytes; to write each would take long
_TAUGHT = 1.0  # weight of the teacher's answers beside the labels
ALONE = Ranks()
Progress = Callable[[int, float, float], None]  # number of the epoch, mean loss, seconds


def sampling_weights(labels: Labels, balance: float) -> torch.Tensor:
    """Weight of each picture: n(form) and n(form, source) to the power of -balance / 2 each."""
    pairs = labels.forms * 1000 + labels.sources
    weight = torch.ones(len(labels.forms), dtype=torch.float64)
    for keys in (labels.forms, pairs):
        _, inverse, count = torch.unique(keys.cpu(), return_inverse=True, return_counts=True)
        weight *= count.double()[inverse] ** (-balance / 2)
    return weight


def train_network(
    recipe: Recipe,
    table: FormTable,
    canvases: Canvases,
    labels: Labels,
    *,
    device: torch.device,
    progress: Progress | None = None,
    store: StateStore | None = None,
    ranks: Ranks = ALONE,
    teacher: SortNet | None = None,
    shares: torch.Tensor | None = None,
) -> SortNet:
    """Train by a recipe and return the network with the running average of its weights.

    `shares` (n,) says how often each picture is drawn beside what the balance of the recipe says.

    `progress` is called after each epoch with its number (from 1), mean loss and seconds. With a
    `store`, a training that was stopped goes on after its last finished epoch, to the result that
    it would have had. Each of `ranks` takes its share of every batch. A `teacher` answers every
    picture as it was drawn, and the network learns its answers beside the labels.
    """
    ranks.check(recipe.batch)
    torch.manual_seed(recipe.seed)  # every process begins with the same heads
    net = SortNet(
        recipe.backbone,
        len(table.forms),
        len(table.materials),
        style=recipe.style,
        pretrained=True,
        size=recipe.size,
    ).to(device)
    net = net.to(memory_format=torch.channels_last)
    before = copy.deepcopy(net.backbone).eval().requires_grad_(False)
    average = copy.deepcopy(net).requires_grad_(False)
    optimizer = torch.optim.AdamW(
        [
            *(
                {"params": stage, "lr": recipe.rate * recipe.layer_rate**depth}
                for depth, stage in enumerate(net.body_stages())
            ),
            {"params": net.head_parameters(), "lr": recipe.rate * _HEADS_FASTER},
        ],
        weight_decay=_DECAY,
        fused=device.type == "cuda",
    )
    per_epoch = max(1, len(labels.forms) // recipe.batch)
    schedule = torch.optim.lr_scheduler.LambdaLR(
        optimizer, lambda step: _rate_factor(step, per_epoch * recipe.epochs)
    )
    loss_of = LossOf(recipe, table, before, device, teacher=teacher)
    weights = sampling_weights(labels, recipe.balance)
    if shares is not None:
        weights *= shares
    canvases, labels = canvases.to(device), labels.to(device)
    state = TrainingState(net, average, optimizer, schedule)
    done = state.restore(store.load() if store else None)
    net.train()
    steps, kept_at = done * per_epoch, time.perf_counter()
    for epoch in range(done + 1, recipe.epochs + 1):
        began, total = time.perf_counter(), torch.zeros((), device=device)
        picker = torch.Generator().manual_seed(epoch_seed(recipe.seed, epoch))
        order = torch.multinomial(weights, per_epoch * recipe.batch, True, generator=picker)
        chance = Chance(epoch_seed(recipe.seed, epoch, ranks.rank), device)
        torch.manual_seed(chance.generator.initial_seed())  # dropout and style mixing
        for index in order.to(device).view(per_epoch, recipe.batch):
            loss = loss_of(net, canvases, labels, ranks.share(index), chance)
            optimizer.zero_grad(set_to_none=True)
            loss.backward()  # type: ignore[no-untyped-call]
            ranks.average_gradients(net)
            nn.utils.clip_grad_norm_(net.parameters(), 5.0)
            optimizer.step()
            schedule.step()
            update_average(average, net, recipe.average, steps)
            steps += 1
            total += loss.detach()
        ranks.average_statistics(net)
        if store and ranks.first and time.perf_counter() - kept_at >= _KEPT_EVERY_S:
            store.save(state.dump(epoch))
            kept_at = time.perf_counter()
        if progress:
            progress(epoch, total.item() / per_epoch, time.perf_counter() - began)
    ranks.average_statistics(average)
    return average.eval()


def refresh_statistics(
    net: SortNet, recipe: Recipe, canvases: Canvases, device: torch.device
) -> None:
    """Work out the statistics of the normalisations again, in place.

    Averaged weights answer with other statistics than the mean of those that each network had.

    References
    ----------
    Izmailov et al., Averaging weights leads to wider optima and better generalization, UAI 2018.
    """
    chance, canvases = Chance(recipe.seed, device), canvases.to(device)

    def batches() -> Iterator[torch.Tensor]:
        for _ in range(_REFRESHING):
            index = torch.randint(
                len(canvases.extents), (recipe.batch,), generator=chance.generator, device=device
            )
            crops = random_crops(canvases, index, recipe, chance)
            yield random_light(crops, recipe.light, chance) * 2 - 1

    for part in net.modules():
        if isinstance(part, StyleMix):
            part.share = 0.0  # in use no styles are mixed
    update_bn(batches(), net.to(device), device=device)
    net.eval()


def epoch_seed(seed: int, epoch: int, rank: int = 0) -> int:
    """Seed of one epoch on one process, so that a stopped run draws the same numbers again."""
    return (seed * 10_007 + epoch) * 1_009 + rank


def update_average(average: nn.Module, net: nn.Module, decay: float, steps: int) -> None:
    """Move the running average of weights and statistics towards a network, in place.

    After n steps the decay is the smaller of `decay` and (1 + n) / (10 + n): an average that
    forgets its untrained beginning. A constant decay would leave a short run half way between
    pretraining and what it learned.
    """
    kept = min(decay, (1 + steps) / (10 + steps))
    pairs = zip(
        chain(average.parameters(), average.buffers()),
        chain(net.parameters(), net.buffers()),
        strict=True,
    )
    floats = [(old, new.detach()) for old, new in pairs if old.is_floating_point()]
    # One call for all: hundreds of small ones would take longer than the arithmetic.
    torch._foreach_lerp_([old for old, _ in floats], [new for _, new in floats], 1 - kept)


def _rate_factor(step: int, steps: int) -> float:
    """Linear rise over the first twentieth, then half a cosine down to a hundredth."""
    rise = max(1, steps // 20)
    if step < rise:
        return (step + 1) / rise
    return 0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * (step - rise) / max(1, steps - rise)))


def empty_scenes(
    canvases: Canvases, index: torch.Tensor, n: int, recipe: Recipe, chance: Chance
) -> torch.Tensor:
    """Pictures without an item, (n, 3, size, size), range 0 to 1: half corners, half surfaces."""
    corners = (n + 1) // 2
    scenes = corner_crops(canvases, index, corners, recipe, chance)
    return torch.cat([scenes, plain_scenes(n - corners, recipe.size, chance)])


class LossOf:
    """The loss of one batch: forms, materials, streams and what other networks see in it.

    `before` is the pretrained backbone, `teacher` a network that was trained for these forms.
    """

    def __init__(
        self,
        recipe: Recipe,
        table: FormTable,
        before: nn.Module,
        device: torch.device,
        *,
        teacher: SortNet | None = None,
    ) -> None:
        self.recipe, self.before, self.device = recipe, before, device
        self.teacher = teacher.eval().requires_grad_(False).to(device) if teacher else None
        self.non_item = table.ids.index(NON_ITEM)
        self.stream_of = torch.tensor(table.parents("stream"), device=device)
        self.streams = len(table.streams)
        self.near = torch.tensor(table.near(), device=device)

    def __call__(
        self,
        net: SortNet,
        canvases: Canvases,
        labels: Labels,
        index: torch.Tensor,
        chance: Chance,
    ) -> torch.Tensor:
        """Draw the pictures of `index` again and return their loss."""
        images, forms, materials = self.draw(canvases, labels, index, chance)
        mixed = chance.hit(self.recipe.mix)
        if mixed:
            images, partner, share = mix_pictures(images, chance)
        images = (images * 2 - 1).contiguous(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=self.device.type == "cuda"):
            outputs = net(images)
            with torch.no_grad():
                seen = self.before(images) if self.recipe.keep_weight else None
                taught = self._taught(images)
        loss = self.label_loss(outputs, forms, materials)
        if mixed:
            other = self.label_loss(outputs, forms[partner], materials[partner])
            loss = share * loss + (1 - share) * other
        total = loss.mean()
        if seen is not None:
            total = total + self.recipe.keep_weight * _distance(outputs.kept, seen)
        if taught is not None:
            total = total + _TAUGHT * _distance(outputs.forms, taught)
        return total

    def _taught(self, images: torch.Tensor) -> torch.Tensor | None:
        """What the teacher says, who may look at another size; (B, F), None without one."""
        if self.teacher is None:
            return None
        size = self.teacher.size or images.shape[-1]
        if size != images.shape[-1]:
            images = functional.interpolate(images, size=(size, size), mode="bilinear")
        logits: torch.Tensor = self.teacher(images).forms
        return logits

    def draw(
        self, canvases: Canvases, labels: Labels, index: torch.Tensor, chance: Chance
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Pictures of a batch, its last ones replaced by pictures without an item."""
        recipe = self.recipe
        images = random_crops(canvases, index, recipe, chance)
        forms, materials = labels.forms[index].clone(), labels.materials[index].clone()
        empty = round(len(index) * recipe.negatives)
        if empty:
            images[-empty:] = empty_scenes(canvases, index, empty, recipe, chance)
            forms[-empty:], materials[-empty:] = self.non_item, _UNKNOWN
        return random_light(images, recipe.light, chance), forms, materials

    def label_loss(
        self, outputs: Outputs, forms: torch.Tensor, materials: torch.Tensor
    ) -> torch.Tensor:
        """Loss of each picture, (B,); undecided labels cost nothing."""
        recipe = self.recipe
        logits = outputs.forms.float()
        if recipe.margin:
            decided = (forms >= 0)[:, None]
            logits = logits + recipe.margin * decided * self.near[forms.clamp(min=0)]
        loss = functional.cross_entropy(
            logits, forms, ignore_index=_UNKNOWN, reduction="none", label_smoothing=recipe.smoothing
        )
        if recipe.material_weight:
            loss = loss + recipe.material_weight * functional.cross_entropy(
                outputs.materials.float(), materials, ignore_index=_UNKNOWN, reduction="none",
                label_smoothing=recipe.smoothing,
            )  # fmt: skip
        if recipe.route_weight:
            streams = torch.where(forms >= 0, self.stream_of[forms], _UNKNOWN)
            loss = loss + recipe.route_weight * functional.nll_loss(
                self._stream_log_probabilities(logits), streams, ignore_index=_UNKNOWN,
                reduction="none",
            )  # fmt: skip
        return loss

    def _stream_log_probabilities(self, logits: torch.Tensor) -> torch.Tensor:
        log_p = logits.log_softmax(dim=1)  # (B, F)
        columns = [log_p[:, self.stream_of == s].logsumexp(dim=1) for s in range(self.streams)]
        return torch.stack(columns, dim=1)  # (B, S)


def _distance(logits: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    """Kullback-Leibler distance of softened distributions (Hinton et al., 2015), a mean."""
    t = 2.0
    p = (target.float() / t).log_softmax(dim=1)
    q = (logits.float() / t).log_softmax(dim=1)
    return functional.kl_div(q, p, log_target=True, reduction="batchmean") * t * t
