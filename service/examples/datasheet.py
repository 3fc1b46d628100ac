"""A datasheet for an exported set.

The headings follow T. Gebru et al., Datasheets for Datasets, Communications of the ACM 64 (2021)
86-92; the words are ours, the figures are counted. What the program can't know is asked of whoever
passes the set on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

_TO_FILL = "*To be filled in by whoever passes this set on:*"


@dataclass(frozen=True, slots=True)
class SetFacts:
    """What is counted of a set; `labels` holds (label, photos, objects)."""

    photos: int
    objects: int
    sorts: int
    people: int
    imported: int
    reviewed: int
    relabelled: int
    anchored: int
    first_day: date
    last_day: date
    models: tuple[str, ...]
    labels: tuple[tuple[str, int, int], ...]
    splits: Mapping[str, int]
    left_out: Mapping[str, int]
    categories_version: str


def datasheet(facts: SetFacts) -> str:
    """Return the datasheet as Markdown."""
    parts = [
        "# Datasheet",
        _motivation(),
        _composition(facts),
        _collection(facts),
        _labelling(facts),
        _uses(),
        _distribution(),
        _maintenance(),
    ]
    return "\n\n".join(parts) + "\n"


def _motivation() -> str:
    return f"""## Motivation

Photographs of discarded items, taken while discards were sorted by hand, with the category that the
sorters gave each. They were kept so that a model can learn to suggest the category.

{_TO_FILL} who made the set, for what, and who paid for it."""


def _composition(facts: SetFacts) -> str:
    table = "\n".join(
        f"| {label} | {photos} | {objects} |" for label, photos, objects in facts.labels
    )
    splits = ", ".join(f"{name} {count}" for name, count in sorted(facts.splits.items()))
    left = (
        "; left out: "
        + ", ".join(f"{count} {why}" for why, count in sorted(facts.left_out.items()))
        if facts.left_out
        else ""
    )
    photos = _counted(facts.photos, "photograph", "photographs")
    objects = _counted(facts.objects, "object", "different objects")
    sorts = _counted(facts.sorts, "sort", "sorts")
    imported = _counted(facts.imported, "photograph was", "of the photographs were")
    return f"""## Composition

{photos} of {objects}, from {sorts}{left}.
{imported} imported from elsewhere. One item a photograph, one label
a photograph, from version {facts.categories_version} of the category list. Photographs that look
alike, or were given as showing one object, share a group; splits are drawn by group and no group
is in two of them: {splits}. The set is no sample of what a place throws away: it holds what
somebody photographed and confirmed.

| label | photographs | objects |
|---|---|---|
{table}

A photograph may show print. Pages ask sorters to turn mail and prescription labels face down;
nobody has checked every picture for names, addresses or faces. Places, times of day and camera
data were removed from the files."""


def _collection(facts: SetFacts) -> str:
    models = ", ".join(facts.models) or "none"
    people = _counted(facts.people, "named sorter", "named sorters")
    return f"""## Collection process

Taken from {facts.first_day} to {facts.last_day} by {people}, with phones and
cameras of their own, in sorts that were set to keep photographs for training. Models that looked at
them: {models}.

{_TO_FILL} whether the households or businesses whose discards these are were asked, and what they
agreed to."""


def _labelling(facts: SetFacts) -> str:
    anchored = _counted(facts.anchored, "was", "were")
    reviewed = _counted(facts.reviewed, "was", "were")
    relabelled = _counted(facts.relabelled, "has", "have")
    return f"""## Preprocessing, cleaning, labelling

Each photograph was turned upright, made at most 1024 pixels long and saved again as JPEG. Labels
are those that sorters confirmed or chose; {anchored} given with a model's suggestion in
sight, which pulls labels towards the model. {reviewed} reviewed afterwards, and
{relabelled} another label than at first. `manifest.csv` holds the history of each label;
notes were left out, and people and sorts have pseudonyms."""


def _uses() -> str:
    return """## Uses

Made for training and judging models that suggest a category of discards. Figures measured on it
hold for places, floors and cameras like these. It is no basis for saying what a household or place
consumes, nor for telling who threw something away. Labels say what a thing is, never that it is
safe to touch."""


def _distribution() -> str:
    return f"""## Distribution

{_TO_FILL} the licence, who may have the set, and where it lies."""


def _maintenance() -> str:
    return f"""## Maintenance

File names are the log's own ids: a photograph that is withdrawn later can be found by its name and
deleted from every copy, and the next export no longer holds it. Of imported photographs
`manifest.csv` also tells the SHA-256 digests of the files that they were made from (`made_from`):
by these a store knows what was withdrawn from it, and takes no later copy in.

{_TO_FILL} who answers questions and takes requests to withdraw."""


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
