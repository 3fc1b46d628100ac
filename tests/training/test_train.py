"""The loop: one step a batch, averaged weights, and it can learn eight pictures by heart."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import torch

from tests.training.conftest import CPU
from training.learning.train import LossOf, sampling_weights, train_network, update_average
from training.network import Outputs, SortNet
from training.pictures.augment import Chance
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.recipe import Recipe

PLAIN = Recipe(size=64, batch=8, mix=0.0, light=0.0, zoom=1.0, turn=0.0, negatives=0.0)


def _recipe(**options: object) -> Recipe:
    values = {name: getattr(PLAIN, name) for name in PLAIN.__slots__}
    return Recipe(**{**values, **options})


def _loss_of(recipe: Recipe, table: FormTable, net: SortNet) -> LossOf:
    return LossOf(recipe, table, net.backbone, CPU)


def _outputs(forms: torch.Tensor, materials: torch.Tensor) -> Outputs:
    return Outputs(forms, materials, torch.zeros(1), torch.zeros(1))


def test_one_optimiser_step_and_one_average_a_batch(
    monkeypatch: pytest.MonkeyPatch, table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    steps, epochs = [], []
    step = torch.optim.AdamW.step

    def counted(self: torch.optim.AdamW, closure: None = None) -> object:
        steps.append([group["lr"] for group in self.param_groups])
        return step(self, closure)

    monkeypatch.setattr(torch.optim.AdamW, "step", counted)
    recipe = _recipe(epochs=2, batch=4)
    net = train_network(
        recipe, table, canvases, labels, device=CPU, progress=lambda *line: epochs.append(line)
    )
    assert len(steps) == 2 * (8 // 4)
    assert [number for number, _, _ in epochs] == [1, 2]
    assert all(math.isfinite(loss) and seconds > 0 for _, loss, seconds in epochs)
    *body, head = steps[0]
    assert all(head / rate == pytest.approx(5) for rate in body)
    assert not net.training


@pytest.mark.slow
def test_learns_eight_pictures_by_heart(
    table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    recipe = _recipe(epochs=20, average=0.5, rate=2e-3, smoothing=0.0)
    lines: list[tuple[int, float, float]] = []
    net = train_network(
        recipe, table, canvases, labels, device=CPU, progress=lambda *line: lines.append(line)
    )
    losses = [loss for _, loss, _ in lines]
    assert losses[-1] < 0.2 * losses[0]
    with torch.inference_mode():
        small = torch.nn.functional.interpolate(
            canvases.pixels[:, :, :80, :96].float() / 127.5 - 1, size=(64, 64), mode="bilinear"
        )
        answers = net(small)
    assert answers.forms.argmax(dim=1).tolist() == labels.forms.tolist()
    assert answers.materials.argmax(dim=1).tolist() == labels.materials.tolist()


@pytest.mark.slow
def test_the_same_seed_gives_the_same_network(
    table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    recipe = Recipe(size=64, batch=4, epochs=1, style=0.5, keep_weight=1.0)
    first, again, other = (
        train_network(r, table, canvases, labels, device=CPU).state_dict()
        for r in (recipe, recipe, _recipe(batch=4, epochs=1, seed=1))
    )
    assert all(torch.equal(value, again[name]) for name, value in first.items())
    assert any(not torch.equal(value, other[name]) for name, value in first.items())


def test_sampling_weights_by_hand() -> None:
    """Form 0 has four pictures, three of source 0; form 1 has one."""
    labels = Labels(
        forms=torch.tensor([0, 0, 0, 0, 1]),
        materials=torch.tensor([0, 0, 0, 0, 0]),
        sources=torch.tensor([0, 0, 0, 1, 0]),
    )
    assert sampling_weights(labels, 0.0).tolist() == [1.0] * 5
    full = sampling_weights(labels, 1.0)
    assert full.tolist() == pytest.approx([12**-0.5] * 3 + [4**-0.5, 1.0])
    half = sampling_weights(labels, 0.5)
    torch.testing.assert_close(half, full**0.5)


def test_fully_balanced_forms_of_one_source_are_drawn_equally_often() -> None:
    labels = Labels(
        forms=torch.tensor([0] * 9 + [1]),
        materials=torch.zeros(10, dtype=torch.long),
        sources=torch.zeros(10, dtype=torch.long),
    )
    weights = sampling_weights(labels, 1.0)
    assert weights[:9].sum() == pytest.approx(weights[9].item())


def test_the_average_forgets_its_beginning_and_leaves_whole_numbers() -> None:
    average, net = torch.nn.BatchNorm1d(1), torch.nn.BatchNorm1d(1)
    average.bias.requires_grad_(False).fill_(8.0)
    average.weight.requires_grad_(False)
    assert net.num_batches_tracked is not None
    net.num_batches_tracked.fill_(7)
    update_average(average, net, 0.5, 0)
    assert average.bias.item() == pytest.approx(8 * 0.1)  # kept: (1 + 0) / (10 + 0)
    assert average.num_batches_tracked == 0
    net.bias.data.fill_(1.0)
    update_average(average, net, 0.5, 1000)
    assert average.bias.item() == pytest.approx(0.5 * 0.8 + 0.5 * 1)  # kept: the decay itself


def test_undecided_labels_cost_nothing_and_have_no_gradient(
    table: FormTable, pretrained: SortNet
) -> None:
    loss_of = _loss_of(_recipe(material_weight=1.0, route_weight=1.0), table, pretrained)
    forms = torch.randn(3, len(table.forms), requires_grad=True)
    materials = torch.randn(3, len(table.materials), requires_grad=True)
    loss = loss_of.label_loss(
        _outputs(forms, materials), torch.tensor([-1, 0, 1]), torch.tensor([-1, -1, 0])
    )
    assert loss[0] == 0
    assert (loss[1:] > 0).all()
    loss.sum().backward()
    assert forms.grad is not None
    assert materials.grad is not None
    assert not forms.grad[0].any()
    assert not materials.grad[:2].any()
    assert materials.grad[2].any()


def test_loss_by_hand(table: FormTable, pretrained: SortNet) -> None:
    """With equal logits: ln F for the form, ln M for the material, ln(F / forms) for the stream."""
    recipe = _recipe(smoothing=0.0, material_weight=2.0, route_weight=3.0)
    loss_of = _loss_of(recipe, table, pretrained)
    form = table.ids.index("drink_can")
    stream = table.parents("stream")[form]
    alike = table.parents("stream").count(stream)
    outputs = _outputs(torch.zeros(1, len(table.forms)), torch.zeros(1, len(table.materials)))
    loss = loss_of.label_loss(outputs, torch.tensor([form]), torch.tensor([0]))
    expected = (
        math.log(len(table.forms))
        + 2 * math.log(len(table.materials))
        + 3 * math.log(len(table.forms) / alike)
    )
    assert loss.item() == pytest.approx(expected, rel=1e-5)


def test_part_of_each_batch_becomes_pictures_without_an_item(
    table: FormTable, pretrained: SortNet, canvases: Canvases, labels: Labels
) -> None:
    loss_of = _loss_of(_recipe(negatives=0.5), table, pretrained)
    images, forms, materials = loss_of.draw(canvases, labels, torch.arange(8), Chance(0, CPU))
    assert images.shape == (8, 3, 64, 64)
    assert forms[:4].tolist() == labels.forms[:4].tolist()
    assert forms[4:].tolist() == [table.ids.index("non_item")] * 4
    assert materials[4:].tolist() == [-1] * 4
    assert labels.forms.max() < table.ids.index("non_item")


def test_the_pull_to_pretraining_is_nought_at_the_start_and_grows(
    table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    net = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True).eval()
    net.drop.p = 0.0
    teacher = SortNet("lite0", 2, 2, pretrained=True).eval().backbone
    index = torch.arange(8)

    def loss(weight: float) -> float:
        loss_of = LossOf(_recipe(keep_weight=weight), table, teacher, CPU)
        with torch.no_grad():
            return float(loss_of(net, canvases, labels, index, Chance(0, CPU)))

    assert loss(10.0) == pytest.approx(loss(0.0), abs=1e-4)
    with torch.no_grad():
        net.backbone.classifier.weight.mul_(0.5)
    assert loss(10.0) > loss(0.0) + 0.1


def test_a_margin_asks_more_of_forms_that_are_taken_for_each_other(
    table: FormTable, pretrained: SortNet
) -> None:
    """Equal logits: a partner raised by m makes the loss ln(F - k + k e**m) instead of ln F."""
    recipe = _recipe(smoothing=0.0, material_weight=0.0, route_weight=0.0, margin=0.5)
    loss_of = _loss_of(recipe, table, pretrained)
    count = len(table.forms)
    near = [int(sum(row)) for row in table.near()]
    crowded, alone = near.index(max(near)), near.index(0)
    outputs = _outputs(torch.zeros(3, count), torch.zeros(3, len(table.materials)))
    loss = loss_of.label_loss(outputs, torch.tensor([crowded, alone, -1]), torch.tensor([-1] * 3))
    k = near[crowded]
    assert k > 0
    assert loss.tolist() == pytest.approx(
        [math.log(count - k + k * math.exp(0.5)), math.log(count), 0.0]
    )


def test_rates_fall_from_the_last_stage_to_the_first(
    monkeypatch: pytest.MonkeyPatch, table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    groups: list[list[float]] = []
    step = torch.optim.AdamW.step

    def noted(self: torch.optim.AdamW, closure: None = None) -> object:
        groups.append([group["lr"] for group in self.param_groups])
        return step(self, closure)

    monkeypatch.setattr(torch.optim.AdamW, "step", noted)
    train_network(_recipe(epochs=1, layer_rate=0.5), table, canvases, labels, device=CPU)
    *body, head = groups[0]
    assert [later / earlier for later, earlier in pairwise(body)] == (
        pytest.approx([2.0] * (len(body) - 1))
    )
    assert head == pytest.approx(5 * body[0])


def test_stages_hold_each_parameter_of_the_backbone_once(pretrained: SortNet) -> None:
    held = [id(p) for stage in pretrained.body_stages() for p in stage]
    assert sorted(held) == sorted(id(p) for p in pretrained.backbone.parameters())


def test_pictures_without_a_share_are_never_drawn(
    monkeypatch: pytest.MonkeyPatch, table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    drawn: list[int] = []
    draw = LossOf.draw

    def noted(self: LossOf, *args: object) -> object:
        drawn.extend(args[2].tolist())  # type: ignore[attr-defined]
        return draw(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(LossOf, "draw", noted)
    shares = torch.tensor([0.0] * 6 + [1.0, 3.0])
    train_network(_recipe(epochs=2, batch=4), table, canvases, labels, device=CPU, shares=shares)
    assert set(drawn) == {6, 7}
