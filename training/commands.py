"""The commands `tallytare train` and `tallytare evaluate`."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

from classifier.errors import TallytareError
from training.recipe import Recipe, find_recipe

_OWN = "own"  # the recipe for one's own pictures
# Set by `torchrun`, which ends with a long report of its own: with the reason in this file it says
# why, too; without it the one line above the report is easily lost.
_LAUNCHER_REPORT = "TORCHELASTIC_ERROR_FILE"


def train_command(arguments: list[str]) -> int:
    """Train a bundle; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="tallytare train",
        description="Train a model bundle from labelled pictures: a folder per label, or a "
        "manifest CSV with the columns path and form or label (and, if known, source, material, "
        "group, split), such as the folder that `tallytare examples export` writes.",
    )
    parser.add_argument(
        "data", type=Path, nargs="+", help="folder or manifest CSV; several are read as one set"
    )
    parser.add_argument(
        "--recipe", default=_OWN, help="name of a shipped recipe or a file; default: own"
    )
    parser.add_argument("--out", type=Path, required=True, help="directory of the new bundle")
    parser.add_argument(
        "--version",
        type=_not_empty,
        default=date.today().strftime("%Y.%m.%d"),
        help="version of the new bundle; default: today's date",
    )
    parser.add_argument(
        "--workers", type=_at_least_one, default=2, help="processes that decode pictures"
    )
    parser.add_argument(
        "--frozen",
        action="store_true",
        help="laptop mode: leave the backbone as it is and fit only the head",
    )
    parser.add_argument(
        "--start",
        metavar="BUNDLE",
        help="with --frozen: take over the backbone of this bundle (name or directory), not that "
        "of ImageNet; pictures that trained it flatter the figures",
    )
    given = parser.parse_args(arguments)
    if given.start and not given.frozen:
        parser.error("--start goes with --frozen only")

    def work() -> None:
        from training.run import Job, run

        recipe = find_recipe(given.recipe)
        if given.start and given.recipe == _OWN:
            recipe = recipe_after(given.start, recipe)
        out = given.out.resolve()
        names = [path.resolve().name for path in given.data]
        names += ["--recipe", Path(given.recipe).name, "--out", out.name]
        names += ["--frozen"] * given.frozen
        names += ["--start", Path(given.start).name] if given.start else []
        command = "tallytare train " + shlex.join(names)
        job = Job(
            tuple(given.data),
            recipe,
            out,
            command,
            given.version,
            given.workers,
            given.frozen,
            given.start,
        )
        made = run(job)
        if made is None:  # another of several processes writes
            return
        sys.stdout.write(f"bundle written to {made}; see {made / 'CARD.md'}\n")
        if not given.frozen:
            sys.stdout.write(f"the networks in {job.work} are no longer needed\n")

    return _guarded(work)


def evaluate_command(arguments: list[str]) -> int:
    """Score a bundle on labelled pictures; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="tallytare evaluate",
        description="Score a bundle on labelled pictures that did not train it.",
    )
    parser.add_argument(
        "data",
        type=Path,
        help="folder per label, or manifest CSV; labels are forms or categories of the log",
    )
    parser.add_argument("--bundle", help="name or directory; default: household")
    told_as = parser.add_mutually_exclusive_group()
    told_as.add_argument("--against", help="second bundle, compared on the same pictures")
    told_as.add_argument(
        "--page", type=Path, metavar="DIR", help="write a page of charts and mistakes, and JSON"
    )
    parser.add_argument(
        "--source", action="append", default=[], help="only pictures of this source"
    )
    parser.add_argument(
        "--split", default="", help="only pictures of this split of the manifest, such as test"
    )
    parser.add_argument("--programme", default="alder_valley", help="whose routes are scored")
    parser.add_argument(
        "--by",
        choices=("form", "category"),
        help="judge by the bundle's forms, or by the categories of the log that they lead to; "
        "default: by category where labels are categories that the bundle has no form for",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    given = parser.parse_args(arguments)

    def work() -> None:
        if given.against is not None:
            from training.judging.compare import compare, compared_text

            result = compare(
                given.data,
                given.bundle,
                given.against,
                given.programme,
                sources=given.source,
                split=given.split,
                by=given.by,
            )
            text = compared_text(result)
        else:
            from training.judging.judge import judge, judged_text

            asked, result = judge(
                given.data,
                given.bundle,
                given.programme,
                sources=given.source,
                split=given.split,
                by=given.by,
            )
            text = judged_text(result)
            if given.page is not None:
                from training.judging.page import write_page

                sys.stderr.write(f"page written to {write_page(given.page, asked, result)}\n")
        sys.stdout.write(json.dumps(result) + "\n" if given.json else text)

    return _guarded(work)


def recipe_after(start: str, recipe: Recipe) -> Recipe:
    """Give a recipe the backbone and size of the bundle that it starts from, if it tells them."""
    from classifier.inference.bundle import find_bundle

    of_start = find_bundle(start) / "recipe.toml"
    if not of_start.is_file():
        return recipe
    # Only this of it: a bundle may be older than the options that recipes have today.
    before = tomllib.loads(of_start.read_text(encoding="utf-8"))
    return replace(recipe, backbone=before["backbone"], size=before["size"])


def _at_least_one(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"{text} is below 1")
    return number


def _not_empty(text: str) -> str:
    if not text.strip():
        raise argparse.ArgumentTypeError("it is empty; give one, such as 2")
    return text


def _guarded(work: Callable[[], None]) -> int:
    if _LAUNCHER_REPORT in os.environ:
        from torch.distributed.elastic.multiprocessing.errors import record

        work = record(work)
    try:
        work()
    except TallytareError as error:
        sys.stderr.write(f"{error.message}\n")
        return 1
    except OSError as error:
        where = f"{error.filename} " if error.filename else "a file "
        sys.stderr.write(
            f"{where}can't be read or written ({error.strerror or error}); free some space or see "
            "to it that it may be, then run the same command again\n"
        )
        return 1
    return 0
