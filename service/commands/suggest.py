"""`tallytare suggest`: photographs to suggestions, without a sort and without a store."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

import typer

from classifier.domain.categories import Categories, load_categories
from classifier.domain.errors import TallytareError
from classifier.domain.programme import Programme
from classifier.domain.suggestion import Suggestion, suggest
from classifier.domain.suggestion_json import error_json, to_json
from classifier.inference.bundle import Bundle
from classifier.inference.photo import PhotoLimits, decode_photo
from classifier.inference.predict import Predictor
from service.commands.photo_paths import expand, read_bytes, shown
from service.commands.progress import progress
from service.commands.table import Table
from service.loading import choose_bundle, choose_programme
from service.settings import Settings


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
    settings: Settings, *, programme: str, bundle: str, facts: Mapping[str, str]
) -> Suggester:
    """Load what the arguments name.

    Raises UnknownIdError for a programme, fact or answer that nothing bears, DataFileError for a
    programme file with a mistake and BundleError for a bundle that can't be used.
    """
    categories = load_categories()
    chosen = choose_programme(settings, categories, programme)
    categories.known_answers(facts)
    return Suggester(
        Predictor(choose_bundle(settings, categories, bundle)),
        categories,
        chosen,
        facts,
        PhotoLimits(max_bytes=settings.max_upload_bytes, max_pixels=settings.max_pixels),
    )


def run_suggest(
    suggester: Suggester, paths: Sequence[Path], *, settings: Settings, as_json: bool
) -> int:
    """Write a suggestion for every photograph and return how many files could not be read."""
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


def _answers(
    suggester: Suggester, files: Sequence[Path], workers: int
) -> Iterator[tuple[Path, Suggestion | TallytareError]]:
    """Give the answers in the order of the files."""
    pool = ThreadPoolExecutor(workers)
    try:
        answers = pool.map(suggester.look_at, files)
        yield from zip(files, progress(answers, total=len(files), unit="photo"), strict=True)
    finally:
        pool.shutdown(cancel_futures=True)


def _json_line(suggester: Suggester, path: Path, answer: Suggestion | TallytareError) -> str:
    context: _Context = {
        "categories": suggester.categories,
        "programme": suggester.programme,
        "model_name": suggester.bundle.name,
        "model_version": suggester.bundle.version,
        "file": shown(path),
    }
    if isinstance(answer, TallytareError):
        return json.dumps(error_json(answer, **context))
    return json.dumps(to_json(answer, **context))
