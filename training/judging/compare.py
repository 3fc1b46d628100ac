"""Two bundles on the same pictures: who is right more often, and could it be chance."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from classifier.errors import DataFileError
from classifier.estimators.paired import Paired, paired_accuracy
from classifier.inference.bundle import find_bundle, load_bundle
from classifier.rules.categories import load_categories
from classifier.rules.suggestion_parts import NON_ITEM
from training.judging.card import markdown_table
from training.judging.evaluate import route_matrix, share_interval
from training.judging.judge import Asked, ask, find_programme, flattery, learned_from
from training.learning.levels import fitting_level, level_named
from training.pictures.manifest import read_examples

Flags = NDArray[np.bool_]


def compare(
    data: Path,
    first_name: str | None,
    second_name: str,
    programme_id: str,
    *,
    sources: Sequence[str] = (),
    split: str = "",
    by: str | None = None,
) -> dict[str, Any]:
    """Compare two bundles on the items of labels that both know.

    `by` is one of the `LEVELS`; where it is None the labels decide (`fitting_level`). The true
    route of an item is the one that the first bundle's table of labels gives.

    Raises
    ------
    BundleError
        No such bundle, or a damaged one.
    DataFileError
        No label in common, no readable picture of one, fewer than two groups of pictures, or an
        unknown programme.
    """
    bundles = [load_bundle(find_bundle(name)) for name in (first_name, second_name)]
    categories = load_categories()
    programme = find_programme(programme_id, categories)
    examples = read_examples(data, sources=sources, split=split)
    kind = by or fitting_level({example.form for example in examples}, bundles, categories)
    levels = [level_named(kind, bundle, categories) for bundle in bundles]
    common = set(levels[0].number) & set(levels[1].number) - {NON_ITEM}
    wanted = [example for example in examples if example.form in common]
    if not wanted:
        raise DataFileError(
            f"there is no picture of a {kind} that both bundles know: {', '.join(sorted(common))}"
            + ("; with --by category they may be compared" if kind == "form" else "")
        )
    first, second = (ask(wanted, bundle, by=kind) for bundle in bundles)
    groups = first.scored.groups
    if len(set(groups)) < 2:
        raise DataFileError(
            "all pictures are of one group, so that luck and the worth of the bundles can't be "
            "separated: add pictures of other objects, or give groups in a manifest"
        )
    truth = [first.table.ids[label] for label in first.scored.labels]
    routes, names = route_matrix(first.table, categories, programme)
    true_route = [names[i] for i in routes[first.scored.labels].argmax(axis=1)]
    sent = [
        _routes(asked, *route_matrix(asked.table, categories, programme))
        for asked in (first, second)
    ]
    return {
        **{
            which: {
                "bundle": bundle.name,
                "version": bundle.version,
                "learned_from": learned_from(bundle, first.sources, split),
            }
            for which, bundle in zip(_WHICH, bundles, strict=True)
        },
        "programme": programme_id,
        "judged_by": kind,
        "pictures": len(truth),
        "groups": len(set(groups)),
        "other_pictures": len(examples) - len(truth),
        "form": _paired([_same(_forms(asked), truth) for asked in (first, second)], groups),
        "route": _paired([_same(routes, true_route) for routes in sent], groups),
        "skipped": first.skipped,
    }


def compared_text(result: dict[str, Any]) -> str:
    """Table of the figures that `compare` returns."""
    names = [f"{result[which]['bundle']} {result[which]['version']}" for which in _WHICH]
    header = ("", *names, "difference", "only first right", "only second right", "McNemar p")
    rows = [
        (
            result["judged_by"] if what == "form" else what,
            *(_told(result[what][which]) for which in _WHICH),
            _told(result[what]["difference"], sign="+"),
            result[what]["only_first"],
            result[what]["only_second"],
            f"{result[what]['p_value']:.2g}",
        )
        for what in ("form", "route")
    ]
    parts = [
        markdown_table(header, rows),
        f"{result['pictures']} pictures of items in {result['groups']} groups; "
        f"left out: {result['other_pictures']} (no item, unreadable, or a label that one of "
        f"the bundles does not know). Routes are those of {result['programme']}, no fact known. "
        "Intervals are 95 %, from resampling groups. McNemar's exact test takes pictures as "
        "independent: where groups hold several, go by the interval.",
        *(
            flattery(result[which]["bundle"], result[which]["learned_from"])
            for which in _WHICH
            if result[which]["learned_from"]
        ),
        *(["\n".join(f"skipped {line}" for line in result["skipped"])] * bool(result["skipped"])),
    ]
    return "\n\n".join(parts) + "\n"


_WHICH = ("first", "second")


def _told(share: dict[str, float], *, sign: str = "") -> str:
    value, low, high = (f"{share[key]:{sign}.3f}" for key in ("value", "low", "high"))
    return f"{value} ({low} to {high})"


def _forms(asked: Asked) -> list[str]:
    return [asked.table.ids[guess] for guess in asked.scored.probabilities.argmax(axis=1)]


def _routes(asked: Asked, routes: NDArray[np.float64], names: Sequence[str]) -> list[str]:
    return [names[i] for i in (asked.scored.probabilities @ routes).argmax(axis=1)]


def _same(guesses: Sequence[str], truth: Sequence[str]) -> Flags:
    return np.array([guess == true for guess, true in zip(guesses, truth, strict=True)])


def _paired(right: Sequence[Flags], groups: Sequence[str]) -> dict[str, Any]:
    compared: Paired = paired_accuracy(right[0], right[1], groups)
    difference = compared.difference
    return {
        "first": share_interval(right[0], groups),
        "second": share_interval(right[1], groups),
        "difference": {
            "value": round(difference.value, 4),
            "low": round(difference.low, 4),
            "high": round(difference.high, 4),
        },
        "both": compared.both,
        "only_first": compared.only_first,
        "only_second": compared.only_second,
        "neither": compared.neither,
        "p_value": compared.p_value,
    }
