"""The model card: what a bundle was made from, what it can do and where it fails."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from classifier.errors import DataFileError
from training.pictures.sources import load_origins, origin_of
from training.recipe import Recipe, find_recipe, is_lite

MEASURES = {
    "form_top1": "form, first guess",
    "form_top3": "form, first three",
    "material_top1": "material, first guess",
    "material_top3": "material, first three",
    "route": "route",
    "form_macro_f1": "macro-F1",
    "ece": "ECE",
    "accuracy_at_70_coverage": "surest 70 %",
}
_CHOSEN = (
    " The recipe was chosen by these rows (`python -m training.trials table`), so they flatter it "
    "a little."
)
_DIGITS = {"ece": 3}  # an error of 0.014 is not one of 0.006


def measures_of(kind: str) -> dict[str, str]:
    """Name the measures of a bundle that is judged by "form" or by "category"."""
    return {key: words.replace("form", kind) for key, words in MEASURES.items()}


def write_card(directory: Path, description: dict[str, Any], recipe: Recipe, learning: str) -> Path:
    """Write CARD.md from the same figures as bundle.json."""
    evaluation = description["evaluation"]
    parts = [
        f"# {description['name']} {description['version']}",
        f"Made on {description['created']} with `{description['training']['command']}` "
        + _spent(description["training"])
        + " "
        + _note(description["training"])
        + f"{_backbone(recipe)}, {recipe.size} px, {learning} "
        "Every option stands in recipe.toml beside this card; the figures below are those of "
        "the shipped network, whose weights are stored in half precision.",
        "## Pictures it learned from",
        _sources(description["training"]["sources"]),
        "The weights carry no picture. Whoever passes them on should pass on this table too.",
        "## How it was judged",
        "Pictures are grouped by runs of file numbers of one origin and by likeness (cosine of "
        "pretrained features at least 0.92); a group lies in one split only: 75 % train, 10 % set "
        "temperature and thresholds, 15 % are the test. Near-repeats joined: "
        + ", ".join(f"{name} {n}" for name, n in evaluation["repeats_joined"].items())
        + ". Intervals are 95 %, from resampling groups; ECE has 15 bins, on materials; "
        f"routes are those of the programme {evaluation['programme']} with no fact known."
        + _corrected(evaluation["labels_mended"]),
        "### Unseen pictures of sources that it learned from",
        score_table(evaluation["test_split"]),
    ]
    if evaluation["unseen_source"]:
        parts += [
            "### A source that it never saw: somebody else's floor",
            score_table(evaluation["unseen_source"]),
            "Each row of a source that the table of pictures lists comes from a sister network "
            "trained by the same recipe without that source (sources that recipe.toml joins by + "
            "are left out together), and is as sure as the calibration split and the other unseen "
            "sources say that it may be. This is the table to go by in a new place."
            + _CHOSEN
            * _is_shipped(recipe),
        ]
    names = [each["name"] for each in description["training"]["sources"]]
    if published := _published([*names, *evaluation["unseen_source"]]):
        parts += ["### What the authors of the sets report", published]
    parts += [
        "### Material by material (test split, all sources)",
        class_table("material", evaluation["by_material"]),
        "### Form by form (test split, all sources)",
        class_table("form", evaluation["by_form"]),
        *_non_items(evaluation["non_item_auroc"]),
        "## Hazards and empty pictures, as shown in use",
        _in_use(evaluation["in_use"]),
        "## Confidence",
        f"Temperature {description['temperature']}{_slope(evaluation)}; thresholds: "
        + ", ".join(f"{name} {value}" for name, value in description["thresholds"].items())
        + ". They were set on the calibration split"
        + (" and on the unseen sources together." if recipe.sisters else ".")
        + f" ONNX and torch differ by at most {evaluation['onnx_parity']:.1g} in probability.",
        "## Use",
        "A suggestion for a person who then decides. It cannot see a resin number, a liner, "
        "leftovers or whether a can is under pressure, and it must not replace the caution for "
        "sharps, batteries, pressurised cans, chemicals, medicines and broken glass. Quote no "
        "accuracy from here for your own place: measure it with audits.",
    ]
    path = directory / "CARD.md"
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    return path


def _slope(evaluation: dict[str, Any]) -> str:
    """Tell how the temperature grows with strangeness, where it does."""
    slope = evaluation["strangeness_slope"]
    if not slope:
        return ""
    return (
        f", times e to the power of {slope} for each deviation by which a picture is stranger than "
        "unseen ones of known floors (what lies outside the principal directions of the training "
        "pictures' features; part of the network file)"
    )


def _is_shipped(recipe: Recipe) -> bool:
    """Whether a recipe is one of ours, unchanged."""
    try:
        return find_recipe(recipe.name) == recipe
    except DataFileError:
        return False


def _spent(training: dict[str, Any]) -> str:
    """Say how long it took and on what; a run without networks fitted a head only."""
    took = f"{_duration(training['seconds'])} on {training['machine']}"
    networks = training["networks"]
    if not networks:
        return f"in {took}."
    whose = "its network" if networks == 1 else f"its {networks} networks, those of sisters too,"
    return f"(training {whose} took {took} in all; judging and the time before a stop come on top)."


def _backbone(recipe: Recipe) -> str:
    name = recipe.backbone.partition("@")[0]
    return f"EfficientNet-{name.capitalize()}" if is_lite(name) else name


def _note(training: dict[str, Any]) -> str:
    """What else to know of how the pictures were prepared, if anything."""
    return f"{training['note']} " if training.get("note") else ""


def _duration(seconds: int) -> str:
    """Write a time as a person would."""
    if seconds < 120:
        return f"{seconds} s"
    minutes = round(seconds / 60)
    return f"{minutes} minutes" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"


def markdown_table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in line) + " |" for line in lines)


def _sources(sources: Sequence[dict[str, Any]]) -> str:
    rows = []
    for source in sources:
        origin = origin_of(source["name"])
        words = f"{origin.title}: {origin.shows} ({origin.authors})" if origin else ""
        rows.append((source["name"], source["pictures"], words, source["licence"]))
    return markdown_table(("source", "pictures", "what", "licence"), rows)


def _non_items(auroc: dict[str, float] | None) -> list[str]:
    if auroc is None:
        return []
    return [
        "Test pictures without an item against items: AUROC "
        f"{interval_text(auroc)}; 0.5 tells nothing, 1 everything."
    ]


_IN_USE = {
    "hazards_warned": "hazards warned of",
    "hazards_stopped": "hazards that stop",
    "false_stops": "other items that stop",
    "false_cautions": "other items that bear a caution of a hazard",
    "non_items_named": "pictures without an item that are named",
}


def _in_use(shown: dict[str, dict[str, dict[str, float]]]) -> str:
    """Table of shares with how many pictures each is of."""
    rows = [
        (
            name,
            *(
                f"{interval_text(figures[key])} of {figures[key]['pictures']}"
                if key in figures
                else ""
                for key in _IN_USE
            ),
        )
        for name, figures in shown.items()
    ]
    return (
        "Hazards are aerosol cans, broken glass, loose batteries and lamps; a warning is a stop or "
        "a caution beside the answer. No fact is known.\n\n"
        + markdown_table(("pictures", *_IN_USE.values()), rows)
    )


def _corrected(labels: int) -> str:
    if not labels:
        return ""
    return (
        f" {labels} labels that are wrong or were missing by eye were corrected first, in every "
        "split alike (training/data/corrections.csv)."
    )


def _published(names: Iterable[str]) -> str:
    """List what is published about the accuracy on the sets."""
    origins = load_origins()
    known = [origins[name] for name in sorted(set(names)) if name in origins]
    return "\n".join(f"- {each.title}: {each.published}." for each in known if each.published)


def score_table(scores: dict[str, dict[str, Any]], kind: str = "form") -> str:
    """Markdown table of scores, a line a source; `kind` is what the labels are."""
    measures = measures_of(kind)
    rows = [
        (
            name,
            f"{score['pictures']} ({score['groups']})",
            *(interval_text(score[key], _DIGITS.get(key, 2)) for key in measures),
        )
        for name, score in scores.items()
    ]
    return markdown_table(("source", "pictures (groups)", *measures.values()), rows)


def interval_text(figure: dict[str, float], digits: int = 2) -> str:
    """Write a figure with its interval, if it has one: a single group of pictures gives none."""
    value, *ends = (
        f"{figure[key]:.{digits}f}" for key in ("value", "low", "high") if key in figure
    )
    return f"{value} ({'-'.join(ends)})" if ends else value


def class_table(kind: str, lines: Sequence[dict[str, Any]], shown: str = "") -> str:
    """Markdown table of the forms or materials (`kind`), a line each; `shown` heads the first."""
    rows = [
        (
            line[kind],
            line["pictures"],
            f"{line['right'] / line['pictures']:.2f} ({line['low']:.2f}-{line['high']:.2f})",
            line["taken_for"],
        )
        for line in lines
    ]
    return markdown_table((shown or kind, "pictures", "right", "mostly taken for"), rows)
