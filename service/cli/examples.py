"""`tallytare examples`: the confirmed photos as a set to train on.

A group of commands: export, import, doubts, agreement, withdraw.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated
from uuid import uuid4

import typer

from service.cli.opened import find_sort, opened
from service.cli.progress import bar
from service.cli.settings import read_settings
from service.examples import reviews
from service.examples.agreement import agreement
from service.examples.export import ExampleSet, plan_set, write_set, write_zip
from service.examples.importing import ImportPlan, plan_import, run_import
from service.examples.survey import Survey, survey
from service.wiring import build_services

app = typer.Typer(
    help="Confirmed photos as a set to train on: export, import, doubts, agreement, withdraw.",
    no_args_is_help=True,
)
_MOST_LINES = 20


@app.command("export")
def export_command(
    target: Annotated[
        Path, typer.Argument(help="New folder, or a file ending in .zip.", show_default=False)
    ],
    reviewed: Annotated[
        bool, typer.Option("--reviewed", help="Only photos that a trainer has reviewed.")
    ] = False,
) -> None:
    """Write a folder per label, manifest.csv, DATASHEET.md and coco.json.

    `tallytare train FOLDER` takes it as it is. Exit code 0: written; 1: it could not be.
    """
    with opened(read_settings()) as services, bar("photo") as shown:
        planned = plan_set(services, reviewed_only=reviewed)
        write = write_zip if target.suffix.lower() == ".zip" else write_set
        write(services, target, planned, progress=shown.done)
    _say_set(planned, target)


@app.command("import")
def import_command(
    folder: Annotated[
        Path,
        typer.Argument(help="A folder per label, or one with a manifest.csv.", show_default=False),
    ],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would happen.")] = False,
    source: Annotated[
        str, typer.Option("--source", metavar="TEXT", help="Where the pictures come from.")
    ] = "",
    rename: Annotated[
        list[str] | None,
        typer.Option("--rename", metavar="LABEL=CATEGORY", help="Read a label as this category."),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="LABEL", help="Leave out the pictures of a label."),
    ] = None,
    sorter: Annotated[str, typer.Option("--sorter", help="Who labelled them.")] = "",
) -> None:
    """Take labelled pictures in as examples; they count in no report, total or list of sorts.

    Exit code 0: done, or nothing stands in the way; 1: something must be fixed first.
    """
    services = build_services(read_settings())
    try:
        with bar("picture") as shown:
            plan = plan_import(
                services,
                folder,
                source=source,
                renamed=_pairs(rename or []),
                leave_out=leave_out or [],
                progress=shown.done,
            )
        _say_plan(plan)
        if dry_run:
            raise typer.Exit(1 if plan.unknown else 0)
        with bar("photo") as shown:
            new = run_import(services, plan, sorter=sorter, progress=shown.done)
        typer.echo(f"Imported {new} photos as {plan.source!r}.")
    finally:
        services.close()


@app.command("doubts")
def doubts_command(
    most: Annotated[int, typer.Option("--most", min=1, help="How many to list.")] = _MOST_LINES,
) -> None:
    """Look for labels to check, repeats, poor pictures and gaps; the pages then show it too.

    Labels are judged by a linear head on the stored embeddings that never learned from the photo's
    own object (confident learning, Northcutt et al. 2021).
    """
    with opened(read_settings()) as services:
        with bar() as shown:
            found = survey(services, progress=shown.part)
        _say_survey(found, most)


@app.command("agreement")
def agreement_command(
    sort: Annotated[
        str, typer.Option("--sort", metavar="NAME", help="Only the photos of one sort.")
    ] = "",
) -> None:
    """Say how far two people agree who labelled the same photos blind.

    Cohen's kappa, Fleiss's kappa and Krippendorff's alpha with 95 % intervals.
    """
    with opened(read_settings()) as services:
        sort_id = find_sort(services, sort).id if sort else None
        found = agreement(services, sort_id=sort_id)
    typer.echo(f"{found.photos} photos with blind labels of two people or more.")
    if found.unnamed:
        typer.echo(f"{found.unnamed} blind labels without a name are left out.")
    if found.alpha is None:
        typer.echo(f"No coefficient: {found.why_not}.")
        return
    for name, estimate in (
        ("Krippendorff's alpha", found.alpha),
        ("Fleiss's kappa", found.fleiss),
        *((f"Cohen's kappa, {pair.first} and {pair.second}", pair.kappa) for pair in found.pairs),
    ):
        if estimate is not None:
            typer.echo(
                f"{name}: {estimate.value:.2f} ({estimate.low:.2f} to {estimate.high:.2f}), "
                f"{estimate.n} photos"
            )
    typer.echo(f"Customary word for the alpha: {found.band}. It is a convention, not a test.")


@app.command("withdraw")
def withdraw_command(
    sorter: Annotated[str, typer.Option("--sorter", help="All photos of this sorter.")] = "",
    sort: Annotated[
        str, typer.Option("--sort", metavar="NAME", help="All photos of this sort.")
    ] = "",
    photo: Annotated[
        list[str] | None, typer.Option("--photo", metavar="ID", help="One photo, by its id.")
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why; kept in the log.")] = "",
    yes: Annotated[
        bool, typer.Option("--yes", help="Do it; without it only say how many.")
    ] = False,
    finish: Annotated[
        bool, typer.Option("--finish", help="Delete what an earlier withdrawal left on the disk.")
    ] = False,
) -> None:
    """Delete photos for good: of a sorter, of a sort, or single ones. Counts stay."""
    with opened(read_settings()) as services:
        if finish:
            typer.echo(f"Deleted {reviews.remove_withdrawn(services)} files.")
            return
        chosen = tuple(photo or ())
        if sorter or sort or not chosen:
            chosen += reviews.withdrawable(
                services,
                sorter=sorter or None,
                sort_id=find_sort(services, sort).id if sort else None,
            )
        if not yes:
            typer.echo(f"This would delete {len(chosen)} photos for good; add --yes to do it.")
            return
        done = reviews.withdraw(
            services, request_id=str(uuid4()), capture_ids=chosen, reason=reason
        )
        typer.echo(f"Withdrew {done} photos; their counts stay in the log.")


def _pairs(given: list[str]) -> dict[str, str]:
    pairs = {}
    for text in given:
        old, equals, new = text.partition("=")
        if not (old.strip() and equals and new.strip()):
            raise typer.BadParameter(
                f"--rename {text!r}: allowed is LABEL=CATEGORY, such as tins=steel_cans; give it so"
            )
        pairs[old.strip()] = new.strip()
    return pairs


def _say_set(planned: ExampleSet, target: Path) -> None:
    facts = planned.facts
    splits = ", ".join(f"{name} {count}" for name, count in sorted(facts.splits.items()))
    typer.echo(f"{facts.photos} photos of {facts.objects} objects in {target}; {splits}.")
    for why, count in planned.left_out.items():
        typer.echo(f"left out: {count} {why.replace('_', ' ')}")
    typer.echo("DATASHEET.md has places to fill in before you pass the set on.")


def _say_plan(plan: ImportPlan) -> None:
    typer.echo(f"{len(plan.new)} new pictures as {plan.source!r}:")
    for category, count in sorted(plan.labels.items(), key=lambda pair: -pair[1]):
        labels = [old for old, new in plan.read_as.items() if new == category and old != new]
        typer.echo(f"  {category}: {count}" + (f" (from {', '.join(labels)})" if labels else ""))
    for label, count in plan.left_out.items():
        typer.echo(f"left out: {count} of the label {label!r}")
    for each in plan.unknown:
        near = f"nearest: {', '.join(each.nearest)}" if each.nearest else "nothing is near"
        typer.echo(f"unknown label {each.label!r}, {each.pictures} pictures; {near}")
    if plan.unknown:
        typer.echo("Give each --rename LABEL=CATEGORY or --leave-out LABEL.")
    _some("already there", [f"{path} ({where})" for path, where in plan.duplicates])
    _some("unreadable", [f"{path}: {why}" for path, why in plan.unreadable])


def _say_survey(found: Survey, most: int) -> None:
    typer.echo(f"{found.photos} photos, {found.judged} judged, in {found.seconds:.1f} s.")
    if found.note:
        typer.echo(found.note)
    if found.accuracy is not None:
        typer.echo(f"A head that had not seen them names {found.accuracy:.0%} as labelled.")
    doubted = found.doubted()
    typer.echo(f"Doubted labels: {len(doubted)}; review them at /examples?show=doubted")
    for each in doubted[:most]:
        finding = found.findings[each]
        typer.echo(
            f"  {each}  {finding.label} ({finding.p_given or 0:.2f}), others say "
            f"{finding.doubt} ({finding.p_doubt or 0:.2f})"
        )
    typer.echo(f"Look alike, labelled differently: {len(found.of_two_labels())}")
    typer.echo(f"Several shots of one object: {len(found.grouped())}")
    _some("poor", [f"{each} {', '.join(found.findings[each].poor)}" for each in found.poor()])
    for count in found.balance.labels:
        if count.thin:
            word = "training refuses it" if count.refused else "the test split may hold none"
            typer.echo(
                f"few objects: {count.label}, {count.objects} in {count.pictures} photos; {word}"
            )
    if found.balance.imbalance is not None:
        typer.echo(f"Commonest label to rarest: {found.balance.imbalance:.0f} to 1")
    typer.echo(
        f"Most useful to label next: {len(found.teaching())} photos at /examples?show=teaching"
    )


def _some(title: str, lines: list[str]) -> None:
    if not lines:
        return
    typer.echo(f"{title}: {len(lines)}")
    for line in lines[:_MOST_LINES]:
        typer.echo(f"  {line}")
    if len(lines) > _MOST_LINES:
        typer.echo(f"  and {len(lines) - _MOST_LINES} more")
