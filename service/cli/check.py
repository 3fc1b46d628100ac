"""`tallytare check`: the data files, the bundles and the store, one line each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from classifier.errors import BundleError, TallytareError
from classifier.inference.bundle import (
    Bundle,
    check_bundle_categories,
    find_bundle,
    list_bundles,
    load_bundle,
)
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_programme
from service.bundles.folder import BundleFolder
from service.cli.opened import opened
from service.cli.settings import Bundle as BundleName
from service.cli.settings import read_settings
from service.examples.upload import KEPT_HOURS, left_uploads
from service.keeping.upkeep import StoreCheck, check_store
from service.loading import known_programmes
from service.private import open_to_others
from service.settings import Settings

app = typer.Typer()
T = TypeVar("T")
_MOST_NAMED = 20


class Checklist:
    """Runs checks, writes a line for each and remembers whether all went well."""

    def __init__(self) -> None:
        self.well = True

    def run(self, check: Callable[[], T], said: Callable[[T], str]) -> T | None:
        """Run `check`; write what is `said` of its result, or what must be fixed."""
        try:
            result = check()
        except TallytareError as error:
            self.fix(error.message)
            return None
        self.good(said(result))
        return result

    def good(self, message: str) -> None:
        """Write one thing that is well."""
        typer.echo(f"OK    {message}")

    def fix(self, message: str) -> None:
        """Write what must be fixed."""
        self.well = False
        for line in message.splitlines():
            typer.echo(f"FIX   {line}")


@app.command("check")
def check_command(
    programme: Annotated[
        list[Path] | None,
        typer.Option("--programme", metavar="FILE", help="A programme file to check as well."),
    ] = None,
    bundle: BundleName = "",
) -> None:
    """Check the categories, programmes, model bundles and the store; say what to fix.

    Exit code 0: all is well; 1: something must be fixed; 2: wrong arguments.
    """
    checklist = Checklist()
    settings = read_settings()
    categories = checklist.run(load_categories, _of_categories)
    if categories is not None:
        _check_programmes(checklist, settings, categories, programme or [])
        _check_bundles(checklist, categories, bundle or settings.bundle)
    _check_store(checklist, settings)
    _check_rights(checklist, settings)
    for folder in left_uploads(settings.data_dir):
        checklist.fix(
            f"examples: {folder} is left of an import that was given up over {KEPT_HOURS} hours "
            "ago, and its pictures may show where they were taken; delete it, or start the service "
            "again, which does"
        )
    raise typer.Exit(0 if checklist.well else 1)


def _of_categories(categories: Categories) -> str:
    return (
        f"categories {categories.version}: {len(categories.categories)} categories, "
        f"{len(categories.facts)} facts"
    )


def _check_programmes(
    checklist: Checklist, settings: Settings, categories: Categories, files: Sequence[Path]
) -> None:
    known = partial(known_programmes, settings, categories)
    checklist.run(known, lambda found: f"programmes: {', '.join(found)}")
    for file in files:
        checklist.run(partial(load_programme, file, categories), partial(_of_programme, file))


def _of_programme(file: Path, programme: Programme) -> str:
    return (
        f"programme file {file}: {programme.id}, version {programme.version}, "
        f"{len(programme.rules)} rules, valid from {programme.valid_from}"
    )


def _check_bundles(checklist: Checklist, categories: Categories, wanted: str) -> None:
    names = [wanted] if wanted else [*list_bundles()]
    if not names:
        checklist.run(find_bundle, str)  # says that there is none, and what to do
    for name in names:
        checklist.run(partial(_whole_bundle, name, categories), _of_bundle)


def _whole_bundle(name: str, categories: Categories) -> Bundle:
    bundle = load_bundle(find_bundle(name))
    check_bundle_categories(bundle, {category.id for category in categories.categories})
    return bundle


def _of_bundle(bundle: Bundle) -> str:
    return f"bundle {bundle.name} {bundle.version}: {len(bundle.labels)} forms"


def _check_store(checklist: Checklist, settings: Settings) -> None:
    if not settings.database_url and not settings.data_dir.exists():
        checklist.good(f"store: none yet; it will be made in {settings.data_dir}")
        return
    photos = settings.photos_place
    checked = checklist.run(partial(_store, settings), lambda _: f"store: {settings.data_dir}")
    if checked is None:
        return
    found, promoted = checked
    if promoted:
        _check_promoted(checklist, settings, promoted)
    for problem in found.problems:
        checklist.fix(f"store: {problem}; restore the database from a backup")
    for name in found.missing_photos:
        checklist.fix(f"store: photo {name} is missing from {photos}; restore it from a backup")
    for name in found.damaged_photos:
        checklist.fix(f"store: photo {name} in {photos} is damaged; restore it from a backup")
    for risk in found.risks:
        checklist.fix(f"store: {risk}")
    for name in found.withdrawn_photos:
        checklist.fix(
            f"store: the withdrawn photo {name} is still there; delete it with "
            "'tallytare examples withdraw --finish'"
        )
    strays = len(found.orphan_photos) + len(found.unfinished_photos)
    if strays:
        checklist.good(
            f"store: photo files that no entry names: {strays}; left by a crash, harmless"
        )


def _check_rights(checklist: Checklist, settings: Settings) -> None:
    """Name what other users of this machine can read, after what is ours was closed to them."""
    places = {settings.data_dir}
    if "://" not in settings.photos_place:
        places.add(Path(settings.photos_place))
    if settings.database_url.startswith("sqlite:///"):
        places.add(Path(settings.database_url.removeprefix("sqlite:///")))
    found = sorted({path for place in places for path in open_to_others(place)})
    for path in found[:_MOST_NAMED]:
        checklist.fix(f"store: others can read {path}; take that away with chmod go= {path}")
    if found[_MOST_NAMED:]:
        checklist.fix(f"store: others can read {len(found) - _MOST_NAMED} more in these folders")


def _store(settings: Settings) -> tuple[StoreCheck, str]:
    """Return what was found, and the bundle that was promoted, "" for none."""
    with opened(settings) as services:
        found = check_store(services)
        return found, "" if found.problems else services.log.promoted_bundle()


def _check_promoted(checklist: Checklist, settings: Settings, name: str) -> None:
    folder = BundleFolder(settings.bundles_dir)
    try:
        folder.read(name)
    except BundleError as error:
        checklist.fix(
            f"promoted bundle {name}: {error.message}; until then another answers: promote it "
            "again with 'tallytare bundles promote FOLDER', or restore it from a backup"
        )
    else:
        checklist.good(f"promoted bundle {name}")
