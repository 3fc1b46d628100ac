"""Laptop mode: the backbone stays as it is, only the head for forms is fitted, on cached features.

Training becomes one logistic regression; what the backbone can't see, the head can't learn.
"""

from __future__ import annotations

from collections.abc import Mapping

import torch
from torch import nn
from torch.nn import functional

from classifier.errors import DataFileError
from classifier.inference.preprocess import Preprocessing
from training.bundle.export import round_to_half
from training.bundle.start import Start
from training.learning.train import empty_scenes, sampling_weights
from training.network import SortNet
from training.outputs import embed, embed_views
from training.pictures.augment import Chance
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.pictures.images import load_views
from training.pictures.labels import Labels
from training.recipe import Recipe

PENALTY = 0.01  # of squared weights on standardised features; common practice, no source
_BIAS_PENALTY = 1e-4  # keeps the bias of a form without pictures finite
_ROUNDS = 200  # of L-BFGS; it ends earlier where nothing moves any more


def fit_frozen(
    recipe: Recipe,
    table: FormTable,
    data: Dataset,
    rows: torch.Tensor,
    preprocessing: Preprocessing,
    *,
    start: Start | None,
    device: torch.device,
    workers: int,
) -> SortNet:
    """Fit the head for forms on the pictures of `rows`, every view of each as it is used.

    Pictures without an item are drawn as the full training draws them. Every form and source
    weighs the same.

    Raises
    ------
    DataFileError
        The start bundle's backbone is not the recipe's.
    """
    net = round_to_half(_frozen_network(recipe, table, start)).to(device)
    net = net.to(memory_format=torch.channels_last)
    rows = rows[data.labels.forms[rows] >= 0]
    paths = [data.examples[row].path for row in rows.tolist()]
    seen = embed_views(net, load_views(paths, preprocessing, workers=workers), device=device)
    chance = Chance(recipe.seed, torch.device("cpu"))
    empty = round(len(rows) * recipe.negatives)
    scenes = empty_scenes(data.canvases, rows, empty, recipe, chance)
    features = torch.cat([seen.flatten(0, 1), embed(net, scenes * 2 - 1, device=device)])
    labels = _labels_of_features(data.labels.pick(rows), len(preprocessing.views), empty, table)
    weights = sampling_weights(labels, 1.0)
    weight, bias = fit_logistic(features, labels.forms, weights, len(table.forms))
    with torch.no_grad():
        net.forms.weight.copy_(weight)
        net.forms.bias.copy_(bias)
    return net.cpu()


def _frozen_network(recipe: Recipe, table: FormTable, start: Start | None) -> SortNet:
    net = SortNet(recipe.backbone, len(table.forms), len(table.materials), pretrained=start is None)
    if start is None:
        return net.eval()
    own = net.backbone.state_dict()
    state = _with_norms(start.state, own, net.backbone.bn1.eps)
    # The head of pretraining is not served, so a bundle does not hold it; nothing here needs it.
    needed = [name for name in own if not name.startswith("classifier.")]
    needed = [name for name in needed if not name.endswith("num_batches_tracked")]
    if any(name not in state or state[name].shape != own[name].shape for name in needed):
        raise DataFileError(
            f"the backbone of {start.title} is not {recipe.backbone}: give a recipe with its "
            "backbone (recipe.toml beside the bundle names it), or another bundle"
        )
    net.backbone.load_state_dict({**own, **{name: state[name] for name in needed}})
    return net.eval()


def _with_norms(
    state: Mapping[str, torch.Tensor], own: Mapping[str, torch.Tensor], epsilon: float
) -> dict[str, torch.Tensor]:
    """Rebuild the normalisations that an export folded to a factor and a bias of each channel.

    `own` names every tensor of the backbone in order: a normalisation follows its convolution.
    """
    found, names = dict(state), list(own)
    for place, name in enumerate(names):
        if f"{name}_factor" not in state:
            continue
        norm = names[place + 1].removesuffix(".weight")
        factor = state[f"{name}_factor"].flatten()
        found[f"{norm}.weight"], found[f"{norm}.bias"] = factor, state[f"{name}_bias"]
        found[f"{norm}.running_mean"] = torch.zeros_like(factor)
        found[f"{norm}.running_var"] = torch.full_like(factor, 1 - epsilon)
    return found


def _labels_of_features(labels: Labels, views: int, empty: int, table: FormTable) -> Labels:
    """Labels of each view of each picture, then of the scenes without an item."""
    non_item = torch.full((empty,), len(table.forms) - 1)
    strange = torch.full((empty,), int(labels.sources.max()) + 1 if len(labels.sources) else 0)
    return Labels(
        forms=torch.cat([labels.forms.repeat_interleave(views), non_item]),
        materials=torch.cat([labels.materials.repeat_interleave(views), non_item * 0 - 1]),
        sources=torch.cat([labels.sources.repeat_interleave(views), strange]),
    )


def fit_logistic(
    features: torch.Tensor, labels: torch.Tensor, weights: torch.Tensor, classes: int
) -> tuple[torch.Tensor, torch.Tensor]:
    """Multinomial logistic regression with a squared penalty on standardised features.

    `features` is (n, d), `labels` (n,) of 0 to classes - 1, `weights` (n,) above 0. Returns weight
    (classes, d) and bias (classes,) for the features as given. The same input gives the same
    result: the problem is convex and starts from zero.
    """
    mean, spread = features.mean(dim=0), features.std(dim=0).clamp(min=1e-3)
    x, share = (features - mean) / spread, (weights / weights.sum()).float()
    weight = nn.Parameter(torch.zeros(classes, x.shape[1]))
    bias = nn.Parameter(torch.zeros(classes))
    solver = torch.optim.LBFGS(
        [weight, bias], max_iter=_ROUNDS, history_size=10, line_search_fn="strong_wolfe"
    )

    def closure() -> torch.Tensor:
        solver.zero_grad()
        wrong = functional.cross_entropy(x @ weight.T + bias, labels, reduction="none")
        loss = (share * wrong).sum() + PENALTY / 2 * weight.square().sum()
        loss = loss + _BIAS_PENALTY / 2 * bias.square().sum()
        loss.backward()  # type: ignore[no-untyped-call]
        return loss

    solver.step(closure)  # type: ignore[no-untyped-call]
    with torch.no_grad():
        unscaled = weight / spread
        return unscaled, bias - unscaled @ mean
