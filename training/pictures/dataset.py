"""Everything a run needs of its pictures: decoded, labelled with numbers, grouped and split."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch

from classifier.errors import DataFileError
from classifier.examples.similar import Merged
from classifier.examples.splits import SPLITS, split_groups
from training.network import SortNet
from training.pictures.forms import FormTable, load_forms, refuse_unknown
from training.pictures.groups import merge_groups
from training.pictures.images import Canvases, load_canvases
from training.pictures.labels import Labels
from training.pictures.manifest import Example
from training.pictures.notes import bar, tell
from training.pictures.splits import refuse_thin_labels


@dataclass(frozen=True, slots=True)
class Dataset:
    """Readable examples with their pixels, labels, merged groups and splits, row by row."""

    examples: list[Example]
    canvases: Canvases
    labels: Labels
    groups: list[str]
    splits: list[str]
    repeats: dict[str, int]
    refused: list[str]

    def rows(self, wanted: Sequence[bool]) -> torch.Tensor:
        """Row numbers where `wanted` holds."""
        return torch.from_numpy(np.flatnonzero(np.asarray(wanted)))

    def fingerprint(self, rows: torch.Tensor) -> str:
        """Name the labelled pictures of some rows, so that a later run knows them again."""
        digest = hashlib.sha256()
        for row in rows.tolist():
            example = self.examples[row]
            line = (example.source, example.path.name, example.form, example.material)
            digest.update("\t".join(line).encode() + b"\n")
        return digest.hexdigest()


def load_dataset(
    examples: Sequence[Example],
    table: FormTable,
    *,
    device: torch.device,
    workers: int,
    seed: int,
    layout: torch.memory_format = torch.contiguous_format,
) -> Dataset:
    """Decode, embed with the pretrained network to find repeats, and split by merged groups.

    Raises
    ------
    DataFileError
        No picture can be read, an unknown label or material, or a label with too few groups.
    """
    canvases, kept, refused = load_canvases([e.path for e in examples], workers=workers)
    readable = [examples[i] for i in kept]
    if not readable:
        raise DataFileError("no picture could be read: " + "; ".join(refused[:3]))
    labels = number_labels(readable, table)
    merged = _merge(readable, canvases, device, layout)
    # Pictures that a manifest keeps for training can judge nothing, however many there are.
    judged = ["" if e.split == "train" else e.form for e in readable]
    refuse_thin_labels(judged, merged.groups)
    splits = _splits(readable, merged.groups, seed)
    return Dataset(readable, canvases, labels, merged.groups, splits, merged.repeats, refused)


def _splits(examples: Sequence[Example], groups: Sequence[str], seed: int) -> list[str]:
    """Take the splits that the manifest gives and draw the others by group.

    Where near-repeats join groups of different splits the pictures keep their splits, as asked;
    how many there are is said, since they flatter the figures.
    """
    drawn = split_groups(groups, seed=seed)
    given: dict[str, set[str]] = {}
    for example, group in zip(examples, groups, strict=True):
        if example.split:
            given.setdefault(group, set()).add(example.split)
    torn = sum(len(given.get(group, ())) > 1 for group in groups)
    if torn:
        tell(
            f"{torn} pictures look like one of another split; the splits of the manifest were "
            "kept, so that the figures are a little too good\n"
        )
    # One without a split follows those that it was joined with, to be learned from if in doubt.
    return [
        example.split or min(given.get(group, {split}), key=SPLITS.index)
        for example, group, split in zip(examples, groups, drawn, strict=True)
    ]


def _merge(
    examples: Sequence[Example],
    canvases: Canvases,
    device: torch.device,
    layout: torch.memory_format,
) -> Merged:
    # Eight at a time fit the processor's cache; the answers are the same for any number.
    batch = 64 if layout is torch.contiguous_format else 8
    embeddings = pretrained_embeddings(canvases, device, batch=batch, layout=layout)
    return merge_groups([e.group for e in examples], [e.source for e in examples], embeddings)


def pretrained_embeddings(
    canvases: Canvases,
    device: torch.device,
    *,
    batch: int = 64,
    layout: torch.memory_format = torch.contiguous_format,
) -> np.ndarray:
    """Features of the network before any training on these pictures, float32 (n, 1280)."""
    net = SortNet("lite0", 1, 1, pretrained=True).eval().to(device)
    net = net.to(memory_format=layout)
    rows = []
    with torch.inference_mode():
        starts = range(0, len(canvases.extents), batch)
        for start in bar(starts, len(starts), "looking for repeats"):
            images = [
                torch.nn.functional.interpolate(
                    picture[None, :, : int(height), : int(width)].to(device).float() / 127.5 - 1,
                    size=(224, 224),
                    mode="bilinear",
                    antialias=True,
                )
                for picture, (height, width) in zip(
                    canvases.pixels[start : start + batch],
                    canvases.extents[start : start + batch].tolist(),
                    strict=True,
                )
            ]
            rows.append(net.embed(torch.cat(images)).float().cpu().numpy())
    return np.concatenate(rows)


def number_labels(examples: Sequence[Example], table: FormTable) -> Labels:
    """Turn label names into output numbers.

    An empty form becomes -1. An empty material is that of the form, if it has one; it becomes -1
    otherwise, as does one that no form of the table is made of.

    Raises
    ------
    DataFileError
        A form that the table or a material that the project does not know, with the nearest names.
    """
    made_of = {form: table.materials[m] for form, m in _materials(table)}
    forms = [e.form for e in examples]
    materials = [e.material or made_of.get(e.form, "") for e in examples]
    refuse_unknown(set(forms) - {""}, table.ids, "label")
    refuse_unknown(set(materials) - {""}, load_forms().materials, "material")
    sources = sorted({e.source for e in examples})
    return Labels(
        forms=_numbers(forms, table.ids),
        materials=_numbers(materials, table.materials),
        sources=_numbers([e.source for e in examples], sources),
    )


def _materials(table: FormTable) -> list[tuple[str, int]]:
    """Forms that are made of one material, with its number."""
    parents = zip(table.ids, table.parents("material"), strict=True)
    return [(form, material) for form, material in parents if material >= 0]


def _numbers(names: Sequence[str], known: Sequence[str]) -> torch.Tensor:
    number = {name: i for i, name in enumerate(known)}
    return torch.tensor([number.get(name, -1) for name in names])
