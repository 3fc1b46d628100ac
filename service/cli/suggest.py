"""`tallytare suggest`: photographs to suggestions, without a sort and without a store."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, TypedDict

import typer

from classifier.errors import TallytareError, UnknownIdError
from classifier.inference.bundle import FAST_BUNDLE, Bundle
from classifier.inference.photo import PhotoLimits, decode_photo
from classifier.inference.predict import Predictor
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.suggestion import suggest
from classifier.rules.suggestion_json import error_json, to_json
from classifier.rules.suggestion_parts import Suggestion
from service.cli.bulk_file import BulkFile
from service.cli.photo_paths import expand, read_bytes, shown
from service.cli.progress import progress
from service.cli.settings import Bundle as BundleName
from service.cli.settings import read_settings
from service.cli.table import Table
from service.loading import choose_bundle, choose_programme
from service.settings import Settings

app = typer.Typer()
_AHEAD = 4  # photographs a worker that may wait to be written
ProgrammeId = Annotated[
    str,
    typer.Option(
        "--programme", metavar="ID", help="Programme: a shipped id, or a file ending in .toml."
    ),
]


@app.command("suggest")
def suggest_command(
    files: Annotated[
        list[Path], typer.Argument(help="Photographs, or folders of them.", show_default=False)
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, for other programs.")
    ] = False,
    programme: ProgrammeId = "",
    bundle: BundleName = "",
    fact: Annotated[
        list[str] | None,
        typer.Option(
            "--fact",
            metavar="ID=ANSWER",
            help="Something known about every item, as resin=1; may be given several times.",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Append to a file: CSV if it ends in .csv, else one JSON object a line. What it "
            "holds already is not looked at again, so a stopped run goes on.",
        ),
    ] = None,
    fast: Annotated[
        bool,
        typer.Option(
            "--fast", help="Take the small model: several times faster, less often right."
        ),
    ] = False,
) -> None:
    """Say what photographs show and where each item goes; no sort and no store is needed.

    Exit code 0: all were read; 1: some were not, or the model is missing; 2: wrong arguments.
    """
    if fast and bundle:
        raise typer.BadParameter(f"--fast means --bundle {FAST_BUNDLE}; leave out one of them")
    settings = read_settings()
    try:
        suggester = make_suggester(
            settings,
            programme=programme,
            bundle=FAST_BUNDLE if fast else bundle,
            facts=_facts(fact or []),
        )
    except UnknownIdError as error:
        raise typer.BadParameter(error.message) from error
    failed = run_suggest(suggester, files, settings=settings, as_json=as_json, output=output)
    raise typer.Exit(1 if failed else 0)


def _facts(given: list[str]) -> dict[str, str]:
    facts = {}
    for text in given:
        name, equals, answer = text.partition("=")
        if not (name and equals and answer):
            raise typer.BadParameter(
                f"--fact {text!r} is no fact; allowed: ID=ANSWER, such as resin=1; give it so"
            )
        facts[name] = answer
    return facts


@dataclass(frozen=True, slots=True)
class Suggester:
    """Everything that turns one file into a suggestion; may be shared between threads."""

    predictor: Predictor
    categories: Categories
    programme: Programme
    facts: Mapping[str, str]
    limits: PhotoLimits

    @property
    def bundle(self) -> Bundle:
        """The model that speaks."""
        return self.predictor.bundle

    @property
    def made_by(self) -> Mapping[str, str]:
        """What decides the answers, in words: two files with the same words may be one."""
        facts = "".join(f", {fact} {answer}" for fact, answer in sorted(self.facts.items()))
        return {
            "model": f"{self.bundle.name} {self.bundle.version}",
            "programme": f"{self.programme.id} {self.programme.version}{facts}",
        }

    def look_at(self, path: Path) -> Suggestion | TallytareError:
        """Return the suggestion for one file, or what is wrong with the file."""
        try:
            photo = decode_photo(read_bytes(path, self.limits.max_bytes), self.limits)
        except TallytareError as error:
            return error
        return suggest(
            self.predictor.predict(photo).forms,
            self.bundle.form_categories,
            self.categories,
            self.programme,
            self.bundle.thresholds,
            facts=self.facts,
        )


class _Context(TypedDict):
    categories: Categories
    programme: Programme
    model_name: str
    model_version: str
    file: str


def make_suggester(
    settings: Settings,
    *,
    programme: str,
    bundle: str,
    facts: Mapping[str, str],
) -> Suggester:
    """Load what the arguments name.

    Raises UnknownIdError for a programme, fact or answer that is not known, DataFileError for a
    programme file with a mistake and BundleError for a bundle that can't be used.
    """
    categories = load_categories()
    chosen = choose_programme(settings, categories, programme)
    categories.known_answers(facts)
    loaded = choose_bundle(settings, categories, bundle)
    return Suggester(
        Predictor(loaded),
        categories,
        chosen,
        facts,
        PhotoLimits(max_bytes=settings.max_upload_bytes, max_pixels=settings.max_pixels),
    )


def run_suggest(
    suggester: Suggester,
    paths: Sequence[Path],
    *,
    settings: Settings,
    as_json: bool,
    output: Path | None = None,
) -> int:
    """Write a suggestion for every photograph and return how many files could not be read."""
    if output is not None:
        return _to_file(suggester, expand(paths), output, settings.inference_concurrency)
    files = expand(paths)
    table = Table(files, suggester.programme, suggester.bundle)
    failed = 0
    if not as_json:
        typer.echo(table.head())
    for path, answer in _answers(suggester, files, settings.inference_concurrency):
        failed += isinstance(answer, TallytareError)
        typer.echo(_json_line(suggester, path, answer) if as_json else table.row(path, answer))
    if not as_json:
        typer.echo(table.foot(failed))
    return failed


def _to_file(suggester: Suggester, files: Sequence[Path], output: Path, workers: int) -> int:
    """Append to a file what it doesn't hold yet; returns how many of these could not be read."""
    with BulkFile(output, made_by=suggester.made_by) as bulk:
        waiting = [path for path in files if not bulk.is_done(shown(path))]
        if len(waiting) < len(files):
            typer.echo(f"{len(files) - len(waiting)} of {len(files)} were done before.", err=True)
        failed = 0
        for path, answer in _answers(suggester, waiting, workers):
            failed += isinstance(answer, TallytareError)
            bulk.add(_as_json(suggester, path, answer))
    typer.echo(f"{len(files)} photographs in {output}; could not be read just now: {failed}.")
    return failed


def _answers(
    suggester: Suggester, files: Sequence[Path], workers: int
) -> Iterator[tuple[Path, Suggestion | TallytareError]]:
    """Give the answers in the order of the files; a few are looked at ahead, never all of them."""
    pool = ThreadPoolExecutor(workers)
    ahead: deque[Future[Suggestion | TallytareError]] = deque()

    def in_order() -> Iterator[Suggestion | TallytareError]:
        for path in files:
            ahead.append(pool.submit(suggester.look_at, path))
            if len(ahead) > _AHEAD * workers:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()

    try:
        yield from zip(files, progress(in_order(), total=len(files), unit="photo"), strict=True)
    finally:
        pool.shutdown(cancel_futures=True)


def _json_line(suggester: Suggester, path: Path, answer: Suggestion | TallytareError) -> str:
    return json.dumps(_as_json(suggester, path, answer))


def _as_json(
    suggester: Suggester, path: Path, answer: Suggestion | TallytareError
) -> dict[str, Any]:
    context: _Context = {
        "categories": suggester.categories,
        "programme": suggester.programme,
        "model_name": suggester.bundle.name,
        "model_version": suggester.bundle.version,
        "file": shown(path),
    }
    if isinstance(answer, TallytareError):
        return error_json(answer, **context)
    return to_json(answer, **context)
